"""Go now or wait: against brute-force dynamic programming and against play."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.decide.waiting import (
    AHEAD,
    DAY_COST,
    DEFAULT_DAYS,
    GOOD_ENOUGH,
    STILL_TO_COME,
    best_by_day,
    go_threshold,
    threshold_table,
    wanted_by_hour,
)

some_days = st.lists(st.floats(0.01, 0.99), min_size=2, max_size=3).map(tuple)


def best_by_trying_all(days, left, cost):
    """Value of waiting with `left` days to come: the best of all threshold rules, by enumeration of every sequence."""
    if left == 0:
        return 0.0
    best = 0.0
    for rule in itertools.product((*days, 2.0), repeat=left - 1):  # a least chance for each day but the last
        value = 0.0
        for sequence in itertools.product(days, repeat=left):
            for day, chance in enumerate(sequence):
                if day == left - 1 or chance >= rule[day]:
                    value += (chance - cost * (day + 1)) / len(days) ** left
                    break
        best = max(best, value)
    return best


@settings(max_examples=40, deadline=None)
@given(some_days, st.integers(0, 4), st.sampled_from([0.0, 0.015]))
def test_climate_threshold_is_the_best_rule_of_all(days, left, cost):
    assert go_threshold(left, days, cost) == pytest.approx(best_by_trying_all(days, left, cost), abs=1e-9)


def test_the_threshold_falls_as_the_days_run_out():
    # optimal stopping on the shipped days without a cost of delay: about 0.68 with 18 days left, 0.20 with one
    free = [go_threshold(left, DEFAULT_DAYS, 0.0) for left in range(19)]
    assert free[0] == 0.0 and free == sorted(free)
    assert free[1] == pytest.approx(0.20, abs=0.02) and free[18] == pytest.approx(0.69, abs=0.03)
    shipped = [go_threshold(left) for left in range(19)]
    assert shipped == sorted(shipped) and all(a <= b for a, b in zip(shipped, free, strict=True))


def test_playing_by_the_threshold_earns_what_it_promises():
    rng, games, left = np.random.default_rng(11), 40_000, 8
    draws = rng.choice(DEFAULT_DAYS, (games, left))
    wanted = np.array([go_threshold(left - 1 - day) for day in range(left)])
    day = np.argmax(draws >= wanted, axis=1)
    chance = draws[np.arange(games), day]
    success = rng.random(games) < chance
    earned = success - DAY_COST * (day + 1)
    assert abs(earned.mean() - go_threshold(left)) < 4 * earned.std() / math.sqrt(games)


def becomes(chance, days, to_come):
    """Plain Bayes: the values a chance may take on its day, and how likely each is."""
    if math.isnan(chance):
        return [(day, 1 / len(days)) for day in days]
    mean = sum(days) / len(days)
    likely = []
    for day in days:
        ratio = (day / (1 - day)) / (mean / (1 - mean))
        odds = mean / (1 - mean) * ratio**to_come
        likely.append(odds / (1 + odds))
    if_success = [x / sum(likely) for x in likely]
    if_failure = [(1 - x) / sum(1 - y for y in likely) for x in likely]
    out = []
    for s, f in zip(if_success, if_failure, strict=True):
        weight = chance * s + (1 - chance) * f
        out.append((chance * s / weight, weight))
    return out


def wait_by_tree(by_day, day, left, days, cost, ahead=1):
    """Value of waiting, one day at a time, by walking the whole tree."""
    if left == 0:
        return 0.0
    if ahead > AHEAD:
        outlook, known = days, math.nan
    else:
        known = by_day[day + ahead] if day + ahead < len(by_day) else math.nan
        outlook = None
    options = becomes(known, days, STILL_TO_COME[ahead - 1]) if outlook is None else becomes(known, days, 1.0)
    later = wait_by_tree(by_day, day, left - 1, days, cost, ahead + 1)
    value = sum(weight * (chance if left == 1 else max(chance, later)) for chance, weight in options) - cost
    return max(value, 0.0)


one_chance = st.one_of(st.floats(0.0, 1.0), st.sampled_from([0.0, 1.0, math.nan]))


@settings(max_examples=60, deadline=None)
@given(st.lists(one_chance, min_size=1, max_size=9), st.integers(0, 9), some_days)
def test_threshold_table_equals_the_tree(by_day, most_left, days):
    table = threshold_table(np.array(by_day), most_left, days, 0.015)
    assert table.shape == (len(by_day), most_left + 1)
    for day, left in np.ndindex(table.shape):
        expected = wait_by_tree(by_day, day, left, days, 0.015)
        assert table[day, left] == pytest.approx(expected, abs=1e-9)


def test_without_a_forecast_the_table_is_the_climate_threshold():
    table = threshold_table(np.full(4, math.nan), 12)
    for left in range(13):
        np.testing.assert_allclose(table[:, left], go_threshold(left), atol=1e-9)


@given(st.floats(0, 1), st.sampled_from([0.1, 0.5, 0.9]))
def test_what_will_be_learned_does_not_move_the_mean(chance, to_come):
    values = becomes(chance, DEFAULT_DAYS, to_come)
    assert sum(w for _, w in values) == pytest.approx(1.0)
    assert sum(v * w for v, w in values) == pytest.approx(chance)


def test_a_likelier_day_ahead_is_worth_waiting_for_and_a_bleak_week_is_not():
    hopeful = np.array([0.31, 0.05, 0.05, 0.62, 0.1, 0.1])
    bleak = np.array([0.31, 0.02, 0.02, 0.02, 0.02, 0.02])
    assert threshold_table(hopeful, 6)[0, 6] > 0.31
    assert threshold_table(bleak, 6)[0, 6] < 0.31


@given(st.lists(st.floats(0, 1), min_size=6, max_size=6), st.integers(1, 5), st.floats(0, 0.5))
def test_a_better_day_ahead_never_lowers_the_threshold(by_day, ahead, more):
    chances = np.array(by_day)
    better = chances.copy()
    better[ahead] = min(1.0, better[ahead] + more)
    assert (threshold_table(better, 8)[0] >= threshold_table(chances, 8)[0] - 1e-9).all()


def test_many_places_at_once_equal_one_at_a_time():
    chances = np.random.default_rng(2).random((3, 2, 7))
    together = threshold_table(chances, 5)
    for i, j in np.ndindex(3, 2):
        np.testing.assert_allclose(together[i, j], threshold_table(chances[i, j], 5), atol=1e-12)


def test_hours_take_the_best_of_each_later_day():
    day = np.repeat([100, 101, 103], 3)
    chance = np.array([0.2, math.nan, 0.3, 0.1, 0.6, 0.0, math.nan, math.nan, math.nan])
    dates, best = best_by_day(chance, day)
    assert list(dates) == [100, 101, 102, 103]
    np.testing.assert_array_equal(best, [0.3, 0.6, math.nan, math.nan])
    wanted = wanted_by_hour(chance, day, latest=103)
    table = np.minimum(threshold_table(best, 3), GOOD_ENOUGH)
    np.testing.assert_array_equal(wanted, np.repeat([table[0, 3], table[1, 2], 0.0], 3))
    np.testing.assert_array_equal(wanted_by_hour(chance, day, latest=99), np.zeros(9))
