"""The chance kernels against plain loops, enumeration, random walks and observed weather."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.weather.chance import (
    band_chance,
    members_from_run,
    members_window_chance,
    mix_climate,
    rho_for,
    window_chance,
)
from scheduler.weather.rolling import rolling_max, rolling_product, rolling_sum, whole_hours
from tests.scheduler.weather import chance_oracle as oracle

probability = st.one_of(st.floats(0, 1), st.sampled_from([0.0, 1.0, 0.05, 0.5]))
amount = st.one_of(st.just(0.0), st.floats(0.1, 12).map(lambda x: round(x, 1)), st.just(math.nan))


def periods(draw, hours):
    """Rain periods of 1, 3 or 6 hours, the first perhaps cut short."""
    starts = []
    while len(starts) < hours:
        starts += [len(starts)] * draw(st.sampled_from([1, 1, 3, 6]))
    return np.array(starts[:hours])


@st.composite
def hourly(draw):
    hours = draw(st.integers(1, 10))
    starts = periods(draw, hours)
    return np.array([draw(probability) for _ in range(hours)])[starts], starts  # one period, one chance


@given(hourly(), st.integers(1, 10), st.floats(0, 1))
def test_window_chance_is_the_sum_over_every_path_of_the_chain(case, hours, rho):
    p, starts = case
    got = window_chance(p, starts, hours, rho)
    for t in range(len(p)):
        if t + hours > len(p):
            assert math.isnan(got[t])
            continue
        expected, _ = oracle.window_by_enumeration(p, starts, t, hours, rho)
        assert got[t] == pytest.approx(expected, abs=1e-9)


@given(hourly(), st.floats(0, 1))
def test_the_chain_keeps_each_period_s_own_chance_and_stays_within_the_laws_of_chance(case, rho):
    p, starts = case
    got = window_chance(p, starts, len(p), rho)[0]
    _, own = oracle.window_by_enumeration(p, starts, 0, len(p), rho)
    first = [t for t in range(len(p)) if t == 0 or starts[t] != starts[t - 1]]
    assert own == pytest.approx(list(p[first]), abs=1e-9)
    independent = 1 - np.prod(1 - p[first])
    assert max(p[first]) - 1e-9 <= got <= independent + 1e-9


@given(hourly(), st.floats(0, 1), st.floats(0, 1))
def test_closer_tied_hours_give_a_lower_chance(case, one, other):
    p, starts = case
    loose, tied = sorted([one, other])
    assert window_chance(p, starts, len(p), tied)[0] <= window_chance(p, starts, len(p), loose)[0] + 1e-9


def test_window_chance_against_random_walks_of_the_chain():
    p = np.array([0.1, 0.3, 0.6, 0.4, 0.4, 0.4, 0.2, 0.05])
    starts = np.array([0, 1, 2, 3, 3, 3, 6, 7])
    rng = np.random.default_rng(20130101)
    walks = 40_000
    seen = sum(oracle.walk(p, starts, 8, 0.76, rng) for _ in range(walks)) / walks
    expected = window_chance(p, starts, 8, 0.76)[0]
    assert abs(seen - expected) < 4 * math.sqrt(expected * (1 - expected) / walks)


def test_independent_hours_follow_the_product():
    # facts of chance: hours 10, 10, 20, 30, 20, 10 % are 67 % together if they are independent
    p = np.array([0.1, 0.1, 0.2, 0.3, 0.2, 0.1])
    got = window_chance(p, np.arange(6), 6, 0.0)[0]
    assert got == pytest.approx(1 - 0.9 * 0.9 * 0.8 * 0.7 * 0.8 * 0.9, abs=1e-12)
    assert 0.3 < window_chance(p, np.arange(6), 6, 0.76)[0] < 0.45


def test_one_block_is_one_event_however_many_of_its_hours_the_window_takes():
    p, starts = np.full(12, 0.3), np.repeat([0, 6], 6)
    got = window_chance(p, starts, 6, 0.76)
    assert got[0] == pytest.approx(0.3)
    assert got[3] > 0.3  # touches both blocks
    assert window_chance(p, starts, 2, 0.76)[4] == pytest.approx(0.3)


def test_a_part_of_an_hour_counts_as_a_whole_one():
    p, starts = np.linspace(0.05, 0.4, 12), np.arange(12)
    np.testing.assert_array_equal(window_chance(p, starts, 6.2, 0.76), window_chance(p, starts, 7, 0.76))
    assert whole_hours(6.0) == 6 and whole_hours(0.3) == 1
    for bad in (0, -1, math.nan, math.inf):
        with pytest.raises(ValueError, match="positive number of hours"):
            whole_hours(bad)


@given(st.integers(0, 9), st.integers(1, 4))
def test_a_missing_hour_leaves_every_window_that_holds_it_unknown(hole, hours):
    p, starts = np.full(10, 0.2), np.repeat([0, 3, 6, 9], [3, 3, 3, 1])
    p[hole] = math.nan
    got = window_chance(p, starts, hours, 0.76)
    unknown = [t for t in range(10) if t + hours > 10 or t <= hole < t + hours]
    assert list(np.flatnonzero(np.isnan(got))) == unknown


def test_many_cells_at_once_equal_one_cell_at_a_time():
    rng = np.random.default_rng(7)
    p, starts = rng.random((3, 4, 30)), np.repeat(np.arange(0, 30, 3), 3)
    together = window_chance(p, starts, 8, 0.76)
    for i, j in np.ndindex(3, 4):
        np.testing.assert_allclose(together[i, j], window_chance(p[i, j], starts, 8, 0.76), rtol=0, atol=1e-15)
    assert window_chance(np.empty(0), np.empty(0, dtype=int), 8, 0.76).shape == (0,)


@given(st.lists(amount, min_size=1, max_size=40), st.integers(1, 41))
def test_rolling_windows_equal_a_loop(values, width):
    x = np.array(values)
    for got, combine in ((rolling_sum, sum), (rolling_max, max), (rolling_product, math.prod)):
        np.testing.assert_allclose(got(x, width), oracle.rolling(values, width, combine), rtol=1e-9, atol=1e-12)


def test_rho_grows_with_the_amount_and_stays_a_correlation():
    amounts = np.geomspace(0.1, 20, 60)
    for hours in (1, 2, 6, 8, 24, 48):
        rho = [rho_for(mm, hours) for mm in amounts]
        assert rho == sorted(rho) and rho[0] >= 0.7 and rho[-1] <= 1.0
    # Effective correlations measured on 20 years of Boston Logan (NOAA): any wet hour 0.76, 0.5 mm in 8 h 0.83
    assert rho_for(0.2) == pytest.approx(0.76, abs=0.01)
    assert rho_for(0.5) == pytest.approx(0.83, abs=0.01)


@st.composite
def ensemble(draw):
    members, hours = draw(st.integers(1, 6)), draw(st.integers(1, 60))
    data = draw(st.lists(st.lists(amount, min_size=hours, max_size=hours), min_size=members, max_size=members))
    weights = draw(st.lists(st.floats(0.1, 5), min_size=members, max_size=members))
    return np.array(data), np.array(weights)


@settings(max_examples=60)
@given(ensemble(), st.sampled_from([1, 6, 8, 24, 30, 48]), st.sampled_from([0.1, 0.5, 2.0]))
def test_member_shares_equal_a_loop(case, hours, wet_mm):
    members, weights = case
    got = members_window_chance(members, weights, hours, wet_mm)
    expected = oracle.share(members, weights, hours, lambda window: sum(window) >= wet_mm - 1e-9)
    np.testing.assert_allclose(got, expected, rtol=0, atol=1e-9)
    equal = members_window_chance(members, None, hours, wet_mm)
    np.testing.assert_allclose(equal, members_window_chance(members, np.ones(len(members)), hours, wet_mm), atol=1e-12)


@settings(max_examples=60)
@given(ensemble(), st.sampled_from([6, 24, 30, 48]), st.sampled_from([(2, 12), (5, 30)]), st.sampled_from([4.0, 8.0]))
def test_band_chances_equal_a_loop_and_sum_to_one(case, hours, limits, heavy_mm_h):
    members, weights = case
    got = band_chance(members, weights, hours, *limits, heavy_mm_h, 25.0)
    for chance, name in zip(got, ("dissolved", "dry", "heavy"), strict=True):
        expected = oracle.share(
            members, weights, hours, lambda w, name=name: oracle.band(w, *limits, heavy_mm_h, 25.0) == name
        )
        np.testing.assert_allclose(chance, expected, rtol=0, atol=1e-9)
    total = sum(got)
    np.testing.assert_allclose(total[~np.isnan(total)], 1.0, atol=1e-12)


def test_tenths_that_add_up_to_the_threshold_reach_it():
    members = np.full((1, 5), 0.1)  # 0.1 five times is 0.5 but for rounding
    assert members_window_chance(members, None, 5, 0.5)[0] == 1.0
    assert members_window_chance(np.full((1, 3), 0.1), None, 3, 0.3)[0] == 1.0  # 0.30000000000000004
    assert band_chance(np.full((1, 3), 0.1), None, 3, 0.1, 0.3)[2][0] == 0.0


def test_a_fifth_of_the_ensemble_may_be_missing_and_no_more():
    members = np.ones((10, 6))
    members[:2, 3] = math.nan
    assert members_window_chance(members, None, 6, 0.5)[0] == 1.0
    members[2, 0] = math.nan
    assert math.isnan(members_window_chance(members, None, 6, 0.5)[0])
    assert np.isnan(band_chance(members, None, 6, 2, 12)).all(axis=0)[0]


run_rain = st.lists(st.one_of(st.just(0.0), st.floats(0.1, 9)), min_size=30, max_size=60)


@given(run_rain, st.integers(0, 120))
def test_members_of_a_run_equal_rain_moved_by_minutes(rain, first_lead):
    lead = first_lead + np.arange(len(rain))
    members, weights, _ = members_from_run(np.array(rain), lead, shifts=3, scales=1)
    assert weights.sum() == pytest.approx(1.0)
    z = math.sqrt(1.5)  # three midpoint quantiles of unit variance: -z, 0, z
    for member, k in zip(members, (-z, 0.0, z), strict=True):
        shift = [k * (1 + 5 * min(1, hour / 168)) for hour in lead]
        expected = oracle.moved(rain, shift)
        known = ~np.isnan(expected) & ~np.isnan(member)
        assert known.sum() >= len(rain) - 10
        # the oracle steps by minutes: an error of one step at each hour edge
        np.testing.assert_allclose(member[known], np.array(expected)[known], atol=2 * max(rain) / 60 + 1e-9)


def test_a_run_keeps_its_rain_as_it_is_moved_and_scaled():
    rain = np.zeros(120)
    rain[[40, 41, 60, 70]] = [3.0, 1.2, 0.6, 5.0]
    members, weights, _ = members_from_run(rain, np.arange(120.0), shifts=7, scales=1)
    assert np.nansum(members, axis=1) == pytest.approx(np.full(7, 9.8), abs=1e-9)
    centre = np.nansum(members * np.arange(120), axis=1) / 9.8
    assert list(centre) == sorted(centre, reverse=True)  # looking further ahead means rain comes earlier
    assert weights @ (centre - centre[3]) == pytest.approx(0.0, abs=0.3)


def test_spread_and_doubt_grow_with_lead_as_measured():
    # 1 h to 6 h, log amount 0.3 to 0.6, no skill 0.12 + 0.43 sqrt(lead / 168): the cautious setting of the simulation
    rain = np.zeros(200)
    rain[3], rain[160] = 4.0, 4.0
    members, weights, doubt = members_from_run(rain, np.arange(200.0))
    hours = np.arange(200)
    for centre, timing, log_amount in ((3, 1.1, 0.305), (160, 5.76, 0.586)):
        around = np.abs(hours - centre) < 12 if centre > 12 else hours < 15
        amounts = np.nansum(members[:, around], axis=1)
        middle = np.nansum(members[:, around] * hours[around], axis=1) / amounts
        assert np.sqrt(weights @ (middle - weights @ middle) ** 2) == pytest.approx(timing, rel=0.1)
        logs = np.log(amounts / 4.0)
        assert np.sqrt(weights @ (logs - weights @ logs) ** 2) == pytest.approx(log_amount, rel=0.1)
    assert doubt[0] == pytest.approx(0.12) and doubt[168] == pytest.approx(0.55) and doubt[199] == doubt[168]


def test_a_missing_hour_of_a_run_invents_neither_rain_nor_dryness():
    rain = np.zeros(60)
    rain[30] = math.nan
    members, _, _ = members_from_run(rain, np.full(60, 84.0))
    unknown = np.isnan(members)
    assert unknown[:, 30].any() and unknown[:, 24].any() and not unknown[:, 5:15].any()
    assert np.nansum(members) == 0.0
    nothing, _, _ = members_from_run(np.full(20, math.nan), np.arange(20.0))
    assert np.isnan(nothing).all()


def test_the_first_hours_of_a_run_are_known_and_the_last_are_not():
    members, weights, _ = members_from_run(np.full(72, 1.0), np.arange(72.0))
    assert not np.isnan(members[:, :60]).any()
    assert np.isnan(members_window_chance(members, weights, 8, 0.5)[-8:]).all()


def test_many_runs_at_once_equal_one_at_a_time():
    rain = np.random.default_rng(3).exponential(0.5, (4, 50))
    together, _, doubt = members_from_run(rain, np.arange(50.0))
    assert together.shape == (4, 35, 50) and doubt.shape == (4, 50)
    for i in range(4):
        np.testing.assert_allclose(together[i], members_from_run(rain[i], np.arange(50.0))[0], rtol=0, atol=1e-12)


def test_doubt_pulls_a_chance_to_the_climate():
    assert mix_climate(np.array([0.0, 1.0]), np.array([0.2, 0.2]), 0.15) == pytest.approx([0.03, 0.83])
    assert math.isnan(mix_climate(np.array([math.nan]), np.array([0.2]), 0.15)[0])
