"""Scores against the `scores` library, the published arithmetic, and plain loops."""

import math

import numpy as np
import pytest
import scores.probability as reference
import xarray as xr
from hypothesis import assume, given
from hypothesis import strategies as st

from scheduler.verify import scores

pair_lists = st.lists(
    st.tuples(st.one_of(st.floats(0, 1), st.sampled_from([0.0, 0.1, 0.2, 0.5, 1.0])), st.sampled_from([0.0, 1.0])),
    min_size=1,
    max_size=60,
)


def arrays(pairs):
    return np.array([p for p, _ in pairs]), np.array([o for _, o in pairs])


def test_published_example():
    p, o = np.array([0.1, 0.3, 0.6, 0.9, 0.2]), np.array([0.0, 0, 1, 1, 1])
    # worked from the definition in the AMS Glossary: BS .182, climate .240, skill .2417
    assert scores.brier(p, o) == pytest.approx(0.182, abs=1e-12)
    assert scores.brier_climate(o) == pytest.approx(0.24, abs=1e-12)
    assert scores.skill(p, o) == pytest.approx(0.2417, abs=5e-5)


@pytest.mark.parametrize(
    ("h", "f", "s", "a", "value"),
    [
        (0.8, 0.2, 0.3, 0.3, 0.6),
        (0.8, 0.2, 0.3, 0.1, 0.0286),
        (0.8, 0.2, 0.3, 0.5, 0.3333),
        (0.9, 0.1, 0.25, 0.2, 0.7667),
    ],
)
def test_value_from_rates(h, f, s, a, value):
    # computed from Richardson 2000, QJRMS 126:649-667
    assert scores.value_from_rates(h, f, s, a) == pytest.approx(value, abs=5e-5)
    assert scores.value_from_rates(1.0, 0.0, s, a) == pytest.approx(1.0)


def test_value_as_money():
    # 24 hits, 6 false alarms, 14 misses... cost 3, loss 10: 1.74 spent, 3.00 by climate, 0.90 if perfect, so V = 0.600
    hits, misses, alarms, quiet = 24, 6, 14, 56
    o = np.array([1.0] * hits + [1.0] * misses + [0.0] * alarms + [0.0] * quiet)
    p = np.array([0.9] * hits + [0.1] * misses + [0.9] * alarms + [0.1] * quiet)
    spent = ((hits + alarms) * 3 + misses * 10) / 100
    assert spent == pytest.approx(1.74)
    assert scores.economic_value(p, o, 0.3) == pytest.approx((3.0 - spent) / (3.0 - 0.9), abs=1e-12)


@given(pair_lists)
def test_brier_and_skill_equal_the_scores_library(pairs):
    p, o = arrays(pairs)
    expected = float(reference.brier_score(xr.DataArray(p, dims="t"), xr.DataArray(o, dims="t")))
    assert scores.brier(p, o) == pytest.approx(expected, abs=1e-9)
    base = np.full(len(o), o.mean())
    climate = float(reference.brier_score(xr.DataArray(base, dims="t"), xr.DataArray(o, dims="t")))
    assert scores.brier_climate(o) == pytest.approx(climate, abs=1e-9)
    if climate > 0:
        assert scores.skill(p, o) == pytest.approx(1 - expected / climate, rel=1e-9, abs=1e-9)
    else:
        assert math.isnan(scores.skill(p, o))


@given(pair_lists, st.sampled_from([0.05, 0.1, 0.2, 0.5]))
def test_economic_value_equals_the_scores_library(pairs, ratio):
    p, o = arrays(pairs)
    assume(0 < o.mean() < 1)
    expected = reference.relative_economic_value(
        xr.DataArray(p, dims="t"),
        xr.DataArray(o, dims="t"),
        cost_loss_ratios=[ratio],
        probability_thresholds=[ratio],
    )
    assert scores.economic_value(p, o, ratio) == pytest.approx(float(expected.squeeze()), rel=1e-9, abs=1e-9)


@given(pair_lists)
def test_calibration_equals_the_scores_library_and_the_min_max_formula(pairs):
    p, o = arrays(pairs)
    fitted = scores.calibrate(p, o)
    expected = reference.isotonic_fit(p, o)
    np.testing.assert_allclose(fitted.apply(expected["fcst_sorted"]), expected["regression_values"], atol=1e-9)
    # Robertson, Wright & Dykstra 1988: fit_i = max over j <= i of min over k >= i of the mean of j..k
    for i, x in enumerate(fitted.x):
        lower = [
            min(o[(p >= fitted.x[j]) & (p <= fitted.x[k])].mean() for k in range(i, len(fitted.x)))
            for j in range(i + 1)
        ]
        assert fitted.apply(np.array([x]))[0] == pytest.approx(max(lower), abs=1e-9)


def test_reliability_equals_a_loop():
    rng = np.random.default_rng(5)
    p = np.concatenate([rng.random(500).round(2), [0.3, 0.7, 0.0, 1.0]])
    o = (rng.random(len(p)) < p).astype(float)
    table = scores.reliability(p, o)
    assert sum(b.n for b in table) == len(p)
    for k, row in enumerate(table):
        low, high = k / 10, (k + 1) / 10
        inside = [(x, y) for x, y in zip(p, o, strict=True) if low <= round(x, 2) < high or (k == 9 and x == 1.0)]
        assert row.n == len(inside)
        assert row.forecast == pytest.approx(np.mean([x for x, _ in inside]))
        assert row.observed == pytest.approx(np.mean([y for _, y in inside]))


def test_leaving_a_year_out_never_lets_its_own_outcomes_in():
    rng = np.random.default_rng(8)
    year = np.repeat([2001, 2002, 2003], 200)
    p = rng.random(600)
    o = (rng.random(600) < 0.5 * p).astype(float)  # over-forecast twofold
    got = scores.leave_one_out(p, o, year)
    changed = np.where(year == 2002, 1 - o, o)
    np.testing.assert_array_equal(got[year == 2002], scores.leave_one_out(p, changed, year)[year == 2002])
    assert scores.brier(got, o) < scores.brier(p, o) - 0.05
    report = scores.verify(p, o, year)
    assert report.calibrated_brier == pytest.approx(scores.brier(got, o))
    assert report.calibrated_skill > report.skill
    alone = scores.verify(p, o, np.zeros(600, dtype=np.int64))
    assert alone.calibrated_brier is None and alone.calibrated_skill is None


def test_incomplete_pairs_are_left_out_and_nonsense_is_refused():
    p, o = np.array([0.2, math.nan, 0.8, 0.5]), np.array([0.0, 1.0, 1.0, math.nan])
    assert scores.brier(p, o) == pytest.approx(0.04)
    assert scores.verify(p, o, np.arange(4)).n == 2
    for bad_p, bad_o, word in (
        ([1.2], [1.0], "outside 0 to 1"),
        ([0.2], [0.5], "neither 0 nor 1"),
        ([math.nan], [1.0], "no pair"),
        ([0.1, 0.2], [1.0], "one length"),
    ):
        with pytest.raises(ValueError, match=word):
            scores.brier(np.array(bad_p), np.array(bad_o))


def test_one_outcome_only_leaves_skill_and_value_undefined():
    p, o = np.array([0.1, 0.2]), np.zeros(2)
    assert math.isnan(scores.skill(p, o)) and math.isnan(scores.economic_value(p, o, 0.2))
    assert scores.calibrate(p, o).apply(np.array([0.5, math.nan]))[0] == 0.0
