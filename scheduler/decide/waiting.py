"""Go now or wait: how good a day must be while there are days left to wait for a better one (optimal stopping).

For liquids waiting is bounded by risk alone: go when the chance of a wash-off is within the accepted one. Granules want
a rarer thing, and how choosy one may be falls as the days run out. The value of waiting is found by backward
induction: over the days that the forecast covers with what it says of them, beyond it with the climate's days.
"""

from functools import cache, lru_cache

import numpy as np

from scheduler.weather.forecast import Floats, Ints

# Chance of a good granule day (2-12 mm in 48 h from 09:00, no hour above 8 mm, March to November) as an ensemble gives
# it on the day itself: 10 equally likely days, the mid-decile values of the cautious simulated forecast
# (scheduler.verify.simulate, "low") over Boston Logan 1996-2015, NOAA hourly observations (public domain).
DEFAULT_DAYS = (0.01, 0.03, 0.03, 0.06, 0.07, 0.10, 0.13, 0.29, 0.55, 0.74)

# What a day's delay costs, in chance of success: waiting must promise more than this. Engineering default: at Boston
# it keeps the mean delay near two days for less than a hundredth of success.
DAY_COST = 0.015

# Share of the day's evidence that a forecast 1, 2, ... days ahead has not seen yet; beyond, the climate's days.
# Engineering default, chosen by replay at Boston, New York and Beijing at both skills; the result is flat around it.
STILL_TO_COME = (0.4, 0.55, 0.7, 0.8, 0.9)
AHEAD = len(STILL_TO_COME)

# A day this likely is not passed over for one that may be better still: who waits on a good day is not understood. At
# Boston, low skill, it costs 0.9 points of success (63.4 against 64.2 %) and saves a fifth of a day's delay.
GOOD_ENOUGH = 0.70


@cache
def go_threshold(days_left: int, days: tuple[float, ...] = DEFAULT_DAYS, cost: float = DAY_COST) -> float:
    """Smallest chance of success worth taking with `days_left` days to wait, knowing the climate alone.

    V(0) = 0: the last day is taken as it comes; V(1) = mean(P) - cost; V(d) = mean(max(P, V(d - 1))) - cost.
    """
    return float(_climate_values(days_left, days, cost)[max(0, days_left)])


@lru_cache(maxsize=512)
def _climate_values(most_left: int, days: tuple[float, ...], cost: float) -> Floats:
    """V(0) .. V(most_left), (most_left + 1,)."""
    value = np.zeros(max(0, most_left) + 1)
    for left in range(1, len(value)):
        value[left] = np.mean(np.maximum(days, value[left - 1])) - cost
    kept = np.maximum(value, 0.0)
    kept.flags.writeable = False
    return kept


def threshold_table(
    by_day: Floats, most_left: int, days: tuple[float, ...] = DEFAULT_DAYS, cost: float = DAY_COST
) -> Floats:
    """Smallest chance worth taking on each forecast day, by the number of days left after it.

    Args:
        by_day: (..., D) chance of success on each coming day as the forecast gives it now; 0 where the day cannot be
            used, NaN where the forecast says nothing.
        most_left: largest number of days left that is asked for.
        days: equally likely chances of the climate's days, each within 0..1.
        cost: what a day's delay costs, in chance of success.

    Returns (..., D, most_left + 1): entry [x, left] is the value of waiting on day x with `left` days after it; 0 with
    none left. The days after x enter with their chance now, blurred by what will still be learned of them.
    """
    left = np.arange(most_left + 1)
    beyond = _climate_values(most_left, days, cost)
    value = np.broadcast_to(beyond[np.maximum(left - AHEAD, 0)], (*by_day.shape, most_left + 1))
    for ahead in range(AHEAD, 0, -1):
        chance, weight = _as_it_may_become(_later_day(by_day, ahead), days, STILL_TO_COME[ahead - 1])
        taken = np.where(
            (left == ahead)[:, None], chance[..., None, :], np.maximum(chance[..., None, :], value[..., None])
        )
        step = np.maximum(np.sum(weight[..., None, :] * taken, axis=-1) - cost, 0.0)
        value = np.where(left >= ahead, step, value)
    return np.where(left == 0, 0.0, value)


def worth_taking(value_of_waiting: Floats) -> Floats:
    """Smallest chance that is acted on, of any shape: the value of waiting, but never more than GOOD_ENOUGH."""
    return np.minimum(value_of_waiting, GOOD_ENOUGH)


def _later_day(by_day: Floats, ahead: int) -> Floats:
    """The chance `ahead` days later, (..., D); NaN past the end."""
    out = np.full(by_day.shape, np.nan)
    if ahead < by_day.shape[-1]:
        out[..., :-ahead] = by_day[..., ahead:]
    return out


def _as_it_may_become(chance: Floats, days: tuple[float, ...], to_come: float) -> tuple[Floats, Floats]:
    """What a chance (..., D) may have become on its day: values and their weights, (..., D, K) each.

    Bayes: the climate's days, drawn nearer to their mean by the evidence already in, tell success from failure with
    likelihood ratio r; the chance moves to chance r / (chance r + 1 - chance), and its mean over the draws is itself.
    A chance that is not known (NaN) becomes one of the climate's days.
    """
    draws, success, failure = _evidence(days, to_come)
    unknown = np.isnan(chance)[..., None]
    p = np.where(unknown, float(np.mean(draws)), chance[..., None])
    weight = p * success + (1.0 - p) * failure
    become = np.where(unknown, draws, p * success / weight)
    return become, np.where(unknown, 1.0 / len(draws), weight)


@lru_cache(maxsize=64)
def _evidence(days: tuple[float, ...], to_come: float) -> tuple[Floats, Floats, Floats]:
    """The climate's days, and how likely each is to show itself before a success and before a failure, (K,) each."""
    draws = np.clip(np.asarray(days, dtype=np.float64), 0.001, 0.999)
    mean = float(np.mean(draws))
    odds = mean / (1.0 - mean) * (draws / (1.0 - draws) * (1.0 - mean) / mean) ** to_come
    tempered = odds / (1.0 + odds)
    made = draws, tempered / tempered.sum(), (1.0 - tempered) / (1.0 - tempered).sum()
    for array in made:
        array.flags.writeable = False
    return made


def best_by_day(chance: Floats, day: Ints) -> tuple[Ints, Floats]:
    """The days of (H,) hours in order, without a gap, and the best known chance of each, (D,); NaN if none is known."""
    first, last = int(day.min()), int(day.max())
    best = np.full(last - first + 1, -np.inf)
    known = ~np.isnan(chance)
    np.maximum.at(best, day[known] - first, chance[known])
    return np.arange(first, last + 1), np.where(np.isinf(best), np.nan, best)


class Waiting:
    """What is worth taking at each hour, for any last date: the days of one forecast are gone through once.

    `chance` (H,) is each hour's chance of success (0 where nobody can work), `day` (H,) its local date as an ordinal
    that never falls.
    """

    def __init__(
        self, chance: Floats, day: Ints, days: tuple[float, ...] = DEFAULT_DAYS, cost: float = DAY_COST
    ) -> None:
        self.day, self._climate = day, (days, cost)
        self._dates, self._best = best_by_day(chance, day)
        self._table = np.empty((len(self._dates), 0))

    def wanted_by_hour(self, latest: int) -> Floats:
        """Smallest chance worth taking, (H,), with `latest` as the last date; hours on it and after take any chance."""
        first = int(self._dates[0])
        most = max(0, latest - first)
        if most >= self._table.shape[-1]:
            self._table = threshold_table(self._best, most, *self._climate)
        return worth_taking(self._table[self.day - first, np.maximum(0, latest - self.day)])


def wanted_by_hour(
    chance: Floats, day: Ints, latest: int, days: tuple[float, ...] = DEFAULT_DAYS, cost: float = DAY_COST
) -> Floats:
    """Smallest chance worth taking at each hour, (H,), for one last date; see `Waiting`."""
    return Waiting(chance, day, days, cost).wanted_by_hour(latest)
