"""Scores of probability forecasts against what happened: Brier, skill, reliability, economic value, calibration.

Throughout, p is (n,) chances 0..1 and o is (n,) outcomes 0 or 1; a pair with a NaN is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.forecast import Floats

COST_LOSS_RATIOS = (0.05, 0.1, 0.15, 0.2, 0.3, 0.5)
BINS = 10


@dataclass(frozen=True)
class Bin:
    """One row of a reliability table: mean forecast, observed frequency, number of pairs."""

    forecast: float
    observed: float
    n: int


@dataclass(frozen=True)
class Calibration:
    """A monotone map from forecast to observed frequency: knots x and y, straight lines between, flat outside."""

    x: Floats
    y: Floats

    def apply(self, p: Floats) -> Floats:
        """Calibrated chances, shape as p; NaN stays NaN."""
        return np.asarray(np.where(np.isnan(p), np.nan, np.interp(p, self.x, self.y)), dtype=np.float64)


@dataclass(frozen=True)
class Verification:
    """All scores of one set of forecasts; `calibrated_*` None when it has one group only."""

    n: int
    base_rate: float
    brier: float
    brier_climate: float
    skill: float
    reliability: tuple[Bin, ...]
    value: dict[float, float]
    calibrated_brier: float | None
    calibrated_skill: float | None


def pairs(p: Floats, o: Floats) -> tuple[Floats, Floats]:
    """The complete pairs; ValueError if there are none, p leaves 0..1 or o is not 0 or 1."""
    p, o = np.asarray(p, dtype=np.float64), np.asarray(o, dtype=np.float64)
    if p.shape != o.shape or p.ndim != 1:
        raise ValueError(f"chances {p.shape} and outcomes {o.shape} must be two lists of one length")
    known = ~(np.isnan(p) | np.isnan(o))
    p, o = p[known], o[known]
    if not p.size:
        raise ValueError("no pair of forecast and outcome is complete")
    if p.min() < 0 or p.max() > 1:
        raise ValueError("a chance lies outside 0 to 1")
    if not np.isin(o, (0.0, 1.0)).all():
        raise ValueError("an outcome is neither 0 nor 1")
    return p, o


def brier(p: Floats, o: Floats) -> float:
    """Mean squared error of the chances, 0 best (AMS Glossary of Meteorology, "Brier score")."""
    p, o = pairs(p, o)
    return float(np.mean((p - o) ** 2))


def brier_climate(o: Floats) -> float:
    """Brier score of always saying the base rate s of these outcomes: s (1 - s)."""
    rate = float(np.mean(o))
    return rate * (1.0 - rate)


def skill(p: Floats, o: Floats) -> float:
    """Brier skill score 1 - BS / BS_climate; NaN when the outcome never varies."""
    p, o = pairs(p, o)
    reference = brier_climate(o)
    return 1.0 - brier(p, o) / reference if reference > 0 else float("nan")


def reliability(p: Floats, o: Floats, bins: int = BINS) -> tuple[Bin, ...]:
    """Observed frequency by equal bins of the forecast, empty bins left out."""
    p, o = pairs(p, o)
    place = np.minimum((p * bins + 1e-9).astype(np.int64), bins - 1)
    count = np.bincount(place, minlength=bins)
    forecast, observed = (np.bincount(place, weights=x, minlength=bins) for x in (p, o))
    return tuple(Bin(float(forecast[k] / n), float(observed[k] / n), int(n)) for k, n in enumerate(count) if n)


def economic_value(p: Floats, o: Floats, ratio: float) -> float:
    """Relative value to one who protects whenever p >= cost / loss = `ratio`: 1 perfect, 0 climate, NaN undefined.

    Richardson 2000, QJRMS 126:649-667.
    """
    p, o = pairs(p, o)
    act = p >= ratio
    wet = o == 1.0
    if not 0 < wet.mean() < 1:
        return float("nan")
    return value_from_rates(float(act[wet].mean()), float(act[~wet].mean()), float(wet.mean()), ratio)


def value_from_rates(hit_rate: float, false_alarm_rate: float, base_rate: float, ratio: float) -> float:
    """V = [min(a, s) - F a (1 - s) + H s (1 - a) - s] / [min(a, s) - s a] (Richardson 2000); NaN where undefined."""
    h, f, s, a = hit_rate, false_alarm_rate, base_rate, ratio
    room = min(a, s) - s * a
    return (min(a, s) - f * a * (1 - s) + h * s * (1 - a) - s) / room if room > 0 else float("nan")


def calibrate(p: Floats, o: Floats) -> Calibration:
    """Isotonic regression of outcome on chance (scipy); equal chances share one knot."""
    from scipy.optimize import isotonic_regression  # slow to import; every command would wait for it

    p, o = pairs(p, o)
    x, place, count = np.unique(p, return_inverse=True, return_counts=True)
    mean = np.bincount(place, weights=o) / count
    return Calibration(x, np.asarray(isotonic_regression(mean, weights=count.astype(np.float64)).x, dtype=np.float64))


def leave_one_out(p: Floats, o: Floats, group: NDArray[np.int64]) -> Floats:
    """Each group's chances calibrated on all the other groups; NaN with fewer than two groups. Shapes (n,)."""
    out = np.full(len(p), np.nan)
    names = np.unique(group)
    if len(names) < 2:
        return out
    for name in names:
        inside = group == name
        out[inside] = calibrate(p[~inside], o[~inside]).apply(p[inside])
    return out


def verify(p: Floats, o: Floats, group: NDArray[np.int64], ratios: Sequence[float] = COST_LOSS_RATIOS) -> Verification:
    """Every score at once; `group` (n,) is the year (or other block) that calibration leaves out in turn."""
    known = ~(np.isnan(p) | np.isnan(o))
    p, o, group = p[known], o[known], group[known]
    pairs(p, o)
    better = leave_one_out(p, o, group)
    done = not np.isnan(better).any()
    return Verification(
        n=len(p),
        base_rate=float(np.mean(o)),
        brier=brier(p, o),
        brier_climate=brier_climate(o),
        skill=skill(p, o),
        reliability=reliability(p, o),
        value={ratio: economic_value(p, o, ratio) for ratio in ratios},
        calibrated_brier=brier(better, o) if done else None,
        calibrated_skill=skill(better, o) if done else None,
    )
