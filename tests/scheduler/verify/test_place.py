"""Learning from pairs of a place: enough or none, nearer to what came, and not fooled by an honest feed."""

from collections.abc import Iterable

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from scheduler.verify.place import HONEST_DAYS, LEAST_DAYS, LEAST_WET_DAYS, learn
from scheduler.verify.scores import brier
from scheduler.weather.calibration import Event

EVENT = Event("met-norway", "members", 6, 0.5, 0)


def pairs(days: int, seed: int, power: float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Two pairs a day: chances p ** power where the truth comes with frequency p; one window in five is wet."""
    rng = np.random.default_rng(seed)
    p = rng.beta(0.3, 1.2, 2 * days)
    return np.repeat(np.arange(days), 2), p**power, (rng.random(2 * days) < p).astype(float)


@pytest.mark.parametrize(("days", "enough"), [(LEAST_DAYS - 1, False), (LEAST_DAYS, True)])
def test_too_few_mornings_teach_nothing(days: int, enough: bool) -> None:
    assert (learn(EVENT, *pairs(days, 1)) is not None) is enough


def test_mornings_count_and_not_pairs() -> None:
    day, p, o = pairs(LEAST_DAYS, 1)
    assert learn(EVENT, day // 2, p, o) is None


def test_too_few_wet_mornings_teach_nothing() -> None:
    day, p, o = pairs(400, 1)
    wet = np.unique(day[o == 1.0])
    assert len(wet) > LEAST_WET_DAYS
    o[np.isin(day, wet[LEAST_WET_DAYS - 1 :])] = 0.0
    assert learn(EVENT, day, p, o) is None


def test_pairs_that_are_not_known_do_not_count() -> None:
    day, p, o = pairs(LEAST_DAYS, 1)
    o[:2] = np.nan
    assert learn(EVENT, day, p, o) is None


def test_the_map_is_isotonic_regression_drawn_towards_the_feeds_own_word() -> None:
    day, p, o = pairs(300, 2, 0.5)
    found = learn(EVENT, day, p, o)
    assert found is not None
    order = np.argsort(p)
    reference = isotonic_regression(o[order]).x  # no chance occurs twice
    wanted = (300 * reference + HONEST_DAYS * p[order]) / (300 + HONEST_DAYS)
    np.testing.assert_allclose(found.fit.apply(p[order]), wanted, atol=1e-9)
    assert (found.fit.days, found.fit.wet_days) == (300, len(np.unique(day[o == 1.0])))


def runs(power: float) -> Iterable[tuple[bool, float]]:
    """For 30 places: whether the map of 200 mornings is used, and what it gains on 400 other mornings (Brier)."""
    for seed in range(30):
        found = learn(EVENT, *pairs(200, seed, power))
        assert found is not None
        _, p, o = pairs(400, 1000 + seed, power)
        yield found.helps, brier(p, o) - brier(found.fit.apply(p), o)


def test_a_feed_that_says_too_much_is_found_out_and_the_map_helps_on_other_mornings() -> None:
    used, gains = zip(*runs(0.5), strict=True)
    assert np.mean(used) > 0.9
    assert min(gains) > 0.0


def test_an_honest_feed_is_mostly_left_alone() -> None:
    used, gains = zip(*runs(1.0), strict=True)
    assert np.mean(used) < 0.3
    assert np.mean([gain if is_used else 0.0 for is_used, gain in zip(used, gains, strict=True)]) > -0.001
