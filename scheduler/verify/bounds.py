"""A rate and how far it can be trusted."""

from dataclasses import dataclass

import numpy as np

from scheduler.weather.forecast import Floats, Ints

RESAMPLES = 2000


@dataclass(frozen=True)
class Rate:
    """A share with its 95 % bounds; NaN when nothing could be judged."""

    value: float
    low: float
    high: float


def bootstrap(values: Floats, block: Ints, rng: np.random.Generator, resamples: int = RESAMPLES) -> Rate:
    """Mean of the known values, (n,), with 95 % bounds from drawing whole blocks, `block` (n,), with replacement.

    Whole years (or months) are drawn because neighbouring days share their weather (Efron & Tibshirani 1993, ch. 8).
    """
    known = ~np.isnan(values)
    if not known.any():
        return Rate(float("nan"), float("nan"), float("nan"))
    _, place = np.unique(block[known], return_inverse=True)
    count = np.bincount(place).astype(np.float64)
    total = np.bincount(place, weights=values[known])
    drawn = rng.integers(0, len(count), (resamples, len(count)))
    means = total[drawn].sum(axis=1) / count[drawn].sum(axis=1)
    low, high = np.quantile(means, (0.025, 0.975))
    return Rate(float(total.sum() / count.sum()), float(low), float(high))
