"""Growth potential, degree days and gates, against published values."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from scheduler.agronomy import growth
from scheduler.agronomy.units import c_from_f, degree_days_f_from_c

JAN_1 = date(2026, 1, 1)


def days(n: int, first: date = JAN_1) -> list[date]:
    return [first + timedelta(days=i) for i in range(n)]


@pytest.mark.parametrize(
    ("t", "share"),
    [(5, 0.0243), (8, 0.0925), (10, 0.1915), (12, 0.3472), (15, 0.6615), (18, 0.9360), (20, 1.0)]
    + [(22.5, 0.9019), (25, 0.6615), (28, 0.3472), (30, 0.1915), (31, 0.1353), (35, 0.0243)],
)
def test_cool_season_growth_potential(t, share):
    # Gelernter & Stowell 2005 as restated by Woods 2014: optimum 20 C, spread 5.5 C
    assert growth.growth_potential(t, "cool") == approx(share, abs=5e-5)


@pytest.mark.parametrize(
    ("t", "share"),
    [(5, 0.0010), (8, 0.0045), (10, 0.0111), (12, 0.0251), (15, 0.0734), (18, 0.1783), (20, 0.2909)]
    + [(22.5, 0.4784), (25, 0.6926), (28, 0.9123), (30, 0.9898), (31, 1.0), (35, 1.0)],
)
def test_warm_season_growth_potential(t, share):
    # Gelernter & Stowell 2005 as restated by Woods 2014: optimum 31 C, spread 7 C, held at 1 above
    assert growth.growth_potential(t, "warm") == approx(share, abs=5e-5)


def test_published_marks_of_the_curves():
    # Woods 2014: 0.90 lies 2.5 C from the optimum; Woods 2023: both curves meet near 24.8 C
    assert growth.growth_potential([17.5, 22.5], "cool") == approx([0.90, 0.90], abs=3e-3)
    t = np.linspace(21, 29, 8001)
    gap = growth.growth_potential(t, "cool") - growth.growth_potential(t, "warm")
    assert t[np.argmin(np.abs(gap))] == approx(24.8, abs=0.05)
    assert growth.growth_potential([20 - 4.17, 20 + 4.17], "cool") == approx([0.75, 0.75], abs=1e-3)


def test_the_fahrenheit_form_is_another_curve():
    # Gelernter & Stowell in F: 68 F and spread 10 F (5.56 C), not the 5.5 C of the C form
    fahrenheit_form = np.exp(-0.5 * ((50 - 68) / 10) ** 2)
    ours = float(growth.growth_potential(c_from_f(50), "cool"))
    assert ours == approx(fahrenheit_form, abs=0.01)
    assert ours != approx(fahrenheit_form, abs=1e-3)


WORKED_YEAR = [4.0, 4.5, 6.5, 9.0, 12.0, 15.0, 17.0, 16.5, 14.0, 10.5, 7.0, 4.5]


def test_a_years_nitrogen_by_growth():
    # worked from the published curve (Woods 2014): monthly growth potential, N at 3 g/m2/month, 20 g spread by growth
    potential = growth.growth_potential(WORKED_YEAR, "cool")
    assert potential == approx(
        [0.015, 0.019, 0.049, 0.135, 0.347, 0.662, 0.862, 0.817, 0.552, 0.225, 0.061, 0.019], abs=1e-3
    )
    assert potential.sum() == approx(3.762, abs=2e-3)
    assert growth.monthly_n(WORKED_YEAR, "cool", 3.0).sum() == approx(11.29, abs=5e-3)
    assert growth.spread_year(20.0, WORKED_YEAR, "cool") == approx(
        [0.08, 0.10, 0.26, 0.72, 1.85, 3.52, 4.58, 4.34, 2.93, 1.20, 0.33, 0.10], abs=6e-3
    )


@given(
    temperatures=st.lists(st.floats(-10, 38), min_size=12, max_size=12),
    n=st.floats(0.1, 60),
    grass=st.sampled_from(["cool", "warm"]),
)
def test_a_spread_year_keeps_its_sum(temperatures, n, grass):
    temperatures[0] = 20.0
    months = growth.spread_year(n, temperatures, grass)
    assert months.sum() == approx(n)
    assert (months >= 0).all()


def test_a_year_without_growth_or_with_gaps_is_refused():
    with pytest.raises(ValueError, match="warm enough"):
        growth.spread_year(20, [-40.0] * 12, "warm")
    with pytest.raises(ValueError, match="twelve"):
        growth.spread_year(20, [10.0] * 11, "cool")
    with pytest.raises(ValueError, match="twelve"):
        growth.spread_year(20, [10.0] * 11 + [float("nan")], "cool")


@given(n=st.floats(0, 50), cap=st.floats(0.1, 10))
def test_doses_keep_the_cap_and_sum_to_the_month(n, cap):
    doses = growth.split_above_cap(n, cap)
    assert sum(doses) == approx(n)
    assert all(0 < dose <= cap * (1 + 1e-8) for dose in doses)
    assert len(doses) <= n / cap + 1


def test_a_month_above_the_legal_cap_is_split():
    # Maryland Agriculture Code 6-224: 0.9 lb/1000 ft2 = 4.394 g/m2; July's 4.58 g of the worked year needs two
    assert growth.split_above_cap(4.58, 4.394) == approx((2.29, 2.29))
    assert growth.split_above_cap(4.394, 4.394) == (4.394,)


def test_degree_days_of_extension_sheets():
    # Virginia Tech: 75/27 F over base 50 F -> 1; Washington State: 70/40 F -> 5
    for high, low, f_days in [(75, 27, 1), (70, 40, 5), (50, 30, 0)]:
        got = growth.degree_days(c_from_f(high), c_from_f(low), c_from_f(50))
        assert degree_days_f_from_c(float(got)) == approx(f_days, abs=1e-9)
    assert np.isnan(growth.degree_days(20.0, np.nan, 0))


def test_temperature_sum_reaches_200():
    # Oregon State Extension CCES 202: 200 C.d (360 F.d) above 0 C since 1 January
    found = growth.temperature_sum(days(60), np.full(60, 5.0))
    assert found.reached == date(2026, 2, 9)  # the fortieth day
    assert found.total_c_days == 300
    assert degree_days_f_from_c(growth.TSUM_TARGET) == approx(360)


def test_frost_takes_nothing_off_the_sum():
    found = growth.temperature_sum(days(80), np.array([5.0, -5.0] * 40))
    assert found.reached == date(2026, 3, 20)  # the fortieth mild day
    assert found.total_c_days == 200


def test_weighted_sum():
    # grassland temperature: January x 0.5, February x 0.75, full from March
    found = growth.temperature_sum(days(90), np.full(90, 4.0), weighted=True)
    january, february = 31 * 4 * 0.5, 28 * 4 * 0.75
    assert found.total_c_days == approx(january + february + 31 * 4)
    assert found.reached == date(2026, 3, 14)  # 146 by the end of February, 54 more at 4 a day


def test_the_southern_year_starts_in_july():
    run = days(120, date(2026, 5, 1))
    found = growth.temperature_sum(run, np.full(120, 10.0), southern=True)
    assert found.reached == date(2026, 7, 20)
    assert growth.temperature_sum(run, np.full(120, 10.0)).reached is None


def test_missing_days_are_counted_and_add_nothing():
    t = np.full(60, 5.0)
    t[[3, 7]] = np.nan
    found = growth.temperature_sum(days(60), t)
    assert (found.missing_days, found.reached) == (2, date(2026, 2, 11))


def test_thermal_season():
    # Defra/Met Office: from the first of five days above 5 C to the day before five below
    t = np.concatenate([np.full(30, 2.0), np.full(4, 6.0), np.full(3, 2.0), np.full(200, 12.0), np.full(4, 3.0)])
    t = np.concatenate([t, np.full(2, 7.0), np.full(20, 1.0)])
    assert growth.thermal_season(days(len(t)), t) == (JAN_1 + timedelta(days=37), JAN_1 + timedelta(days=242))
    assert growth.thermal_season(days(50), np.full(50, 5.0)) is None
    assert growth.thermal_season(days(50), np.full(50, 8.0)) == (JAN_1, None)


def test_the_longest_season_counts():
    mild_spell = [8.0] * 10 + [1.0] * 10
    t = np.array(mild_spell + [15.0] * 100 + [1.0] * 10)
    assert growth.thermal_season(days(len(t)), t) == (JAN_1 + timedelta(days=20), JAN_1 + timedelta(days=119))


def test_seeding_soil():
    # extension sheets: cool-season 50-65 F (10-18 C), warm-season 65-70 F and above
    assert [growth.seeding_gate(t, "cool") for t in (9, 10, 18, 19)] == ["too early", "open", "open", "too late"]
    assert [growth.seeding_gate(t, "warm") for t in (17, 18, 25)] == ["too early", "open", "open"]
    assert growth.seeding_gate(float("nan"), "cool") == "unknown"


def test_pre_emergence_soil():
    # University of Maryland Extension: crabgrass germinates at about 55 F (12.8 C) soil over 7-10 days
    assert growth.pre_emergence_gate([6.0] * 10) == "too early"
    assert growth.pre_emergence_gate([6.0] * 10 + [10.5]) == "open"
    assert growth.pre_emergence_gate([13.0] * 6) == "open"
    assert growth.pre_emergence_gate([13.0] * 7 + [9.0] * 5) == "too late"
    assert growth.pre_emergence_gate([11.0, 11.0, float("nan"), 11.0]) == "unknown"
    assert growth.pre_emergence_gate([11.0, float("nan")]) == "unknown"
    assert growth.pre_emergence_gate([]) == "unknown"


def test_monthly_means_of_days():
    run = days(59)
    means = growth.monthly_means(run, np.array([3.0] * 31 + [6.0] * 27 + [np.nan]))
    assert means[:2] == approx([3.0, 6.0])
    assert np.isnan(means[2:]).all()
