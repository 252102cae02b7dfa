"""Advisory hints against their papers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from scheduler.agronomy import hints
from scheduler.agronomy.hint_words import words


@pytest.mark.parametrize(
    ("t", "rh", "chance"),
    [(15, 80, 0.2052), (18, 75, 0.2277), (20, 70, 0.2172), (20, 80, 0.4042), (22, 85, 0.6095), (25, 80, 0.6406)]
    + [(25, 90, 0.8133)],
)
def test_dollar_spot_model(t, rh, chance):
    # Smith, Kerns et al. 2018, PLoS ONE 13(3): e0194216
    assert hints.dollar_spot_chance(t, rh) == approx(chance, abs=5e-5)


def test_dollar_spot_threshold():
    # Smith, Kerns et al. 2018: 20 % is reached at RH 80 % with 14.83 C and at RH 85 % with 12.52 C
    assert hints.dollar_spot_chance([14.83, 12.52], [80, 85]) == approx([0.20, 0.20], abs=5e-4)
    assert hints.dollar_spot([14.9] * 5, [80.0] * 5).level == "act"
    assert hints.dollar_spot([14.7] * 5, [80.0] * 5).level == "none"


def test_dollar_spot_takes_the_last_five_days_and_no_guess():
    assert hints.dollar_spot([5.0] * 20 + [20.0] * 5, [80.0] * 25).value == approx(0.4042, abs=5e-5)
    assert hints.dollar_spot([20.0] * 4, [80.0] * 4).value is None
    assert hints.dollar_spot([20.0] * 4 + [np.nan], [80.0] * 5).value is None
    assert hints.dollar_spot([5.0] * 5, [95.0] * 5).value is None  # below the model's range


@given(t=st.floats(10, 34), rh=st.floats(0, 99))
def test_dollar_spot_rises_with_warmth_and_damp(t, rh):
    here = hints.dollar_spot_chance(t, rh)
    assert 0 < here < 1
    assert hints.dollar_spot_chance(t + 1, rh) > here
    assert hints.dollar_spot_chance(t, rh + 1) > here


def test_nights_are_told_apart():
    dark = np.array([1, 1, 0, 0, 1, 1, 1, 0], dtype=bool)
    low, wet = hints.nights([20.0, 19, 25, 26, 18, 17, np.nan, 22], [1, 0, 0, 0, 1, 1, 1, 0], dark)
    assert low == approx([19, np.nan], nan_ok=True)
    assert wet == approx([1, 3])


def test_brown_patch_nights():
    # University of Illinois Extension: nights above 68 F (20 C) and wet leaves; Schumann et al. 1994: from 61 F
    assert hints.brown_patch([20.0, 15.0], [12.0, 12.0]).level == "act"
    assert hints.brown_patch([16.0], [10.0]).level == "watch"
    assert hints.brown_patch([22.0], [9.0]).level == "none"
    assert hints.brown_patch([15.9], [12.0]).level == "none"
    assert hints.brown_patch([np.nan], [12.0]).value is None
    assert hints.brown_patch([], []).value is None


def test_growth_regulator_degree_days():
    # Kreuser & Soldat 2011; Soldat 2013: every 200 C.d, base 0, on bentgrass greens
    assert [hints.growth_regulator([20.0] * n).level for n in (7, 8, 9, 10, 15)] == [
        "none",
        "watch",
        "watch",
        "act",
        "act",
    ]
    assert hints.growth_regulator([20.0] * 10, interval=250).level == "watch"
    assert hints.growth_regulator([20.0, np.nan]).value is None


def test_snow_mould_caution_on_late_nitrogen():
    # Ohio State and Nebraska: wet 0-15 C favours it, soft late N raises it
    wet_cool = {"mean_c": [6.0] * 5, "wet_share": 0.8}
    assert hints.snow_mould(**wet_cool, n_g_m2=3, late=True).level == "watch"
    assert hints.snow_mould(**wet_cool, n_g_m2=0, late=True).level == "none"
    assert hints.snow_mould(**wet_cool, n_g_m2=3, late=False).level == "none"
    assert hints.snow_mould([6.0] * 5, 0.2, 3, late=True).level == "none"
    assert hints.snow_mould([19.0] * 5, 0.8, 3, late=True).level == "none"
    assert hints.snow_mould([6.0, np.nan], 0.8, 3, late=True).value is None


def test_late_season_by_hemisphere():
    assert [m for m in range(1, 13) if hints.late_season(m)] == [1, 2, 10, 11, 12]
    assert [m for m in range(1, 13) if hints.late_season(m, southern=True)] == [4, 5, 6, 7, 8]


def test_words_only_where_there_is_something_to_say():
    assert "64 %" in words(hints.dollar_spot([25.0] * 5, [80.0] * 5))
    assert words(hints.dollar_spot([12.0] * 5, [50.0] * 5)) == ""
    assert words(hints.dollar_spot([np.nan] * 5, [50.0] * 5)) == ""
    for hint in (
        hints.brown_patch([21.0], [12.0]),
        hints.brown_patch([17.0], [12.0]),
        hints.growth_regulator([210.0]),
        hints.growth_regulator([160.0]),
        hints.snow_mould([6.0], 0.9, 3, late=True),
    ):
        assert hint.source in words(hint)
