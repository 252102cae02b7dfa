"""Growth by temperature: growth potential, degree days, the start of the season, and soil gates.

Temperatures are daily or monthly means of air at 2 m in C unless said otherwise; NaN is missing.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from config.reference_data import GrassKind, grass_types

Floats = NDArray[np.float64]
Gate = Literal["too early", "open", "too late", "unknown"]

TSUM_TARGET = 200.0  # C.d, Oregon State Extension CCES 202
SEASON_THRESHOLD_C = 5.0  # Defra/Met Office thermal growing season (Mitchell & Hulme 2002)
SEASON_RUN_DAYS = 5
GERMINATION_C, GERMINATION_DAYS = 12.8, 7  # crabgrass: soil about 55 F for 7-10 days, University of Maryland Extension
PRE_EMERGENCE_C = 10.0  # barrier down by 50-55 F soil: Michigan State University Extension, second hand


def growth_potential(mean_c: ArrayLike, grass: GrassKind) -> Floats:
    """Share (0..1) of the fastest growth at a mean temperature: exp(-((t - optimum) / spread)^2 / 2).

    The C form with optimum 20 C, spread 5.5 (cool) and 31 C, 7 (warm). Warm-season grass keeps 1 above its optimum.
    Gelernter & Stowell 2005, as restated by Woods 2014. The Fahrenheit form uses rounder spreads and does not agree to
    three digits.
    """
    kind = grass_types()[grass]
    t = np.asarray(mean_c, dtype=np.float64)
    share = np.exp(-0.5 * ((t - kind.optimum_c.number) / kind.spread_c.number) ** 2)
    if kind.full_above_optimum.value:
        share = np.where(t > kind.optimum_c.number, 1.0, share)
    return np.asarray(share)


def monthly_n(mean_c: ArrayLike, grass: GrassKind, most_month_n_g_m2: float) -> Floats:
    """N of each month [g/m2]: growth potential x the most the grass takes up in a month (Woods 2023)."""
    return growth_potential(mean_c, grass) * most_month_n_g_m2


def spread_year(year_n_g_m2: float, monthly_mean_c: Sequence[float], grass: GrassKind) -> Floats:
    """A year's N cut into twelve months by their share of growth [g/m2], shape (12,).

    ValueError unless there are twelve known temperatures and at least one month in which the grass grows.
    """
    potential = growth_potential(monthly_mean_c, grass)
    if potential.shape != (12,) or np.isnan(potential).any():
        raise ValueError("twelve monthly mean temperatures are needed")
    total = float(potential.sum())
    if total < 1e-9:
        raise ValueError("no month is warm enough for growth")
    return year_n_g_m2 * potential / total


def split_above_cap(n_g_m2: float, cap_g_m2: float) -> tuple[float, ...]:
    """One month's N cut into the fewest equal doses that keep a single cap; empty for none."""
    if not cap_g_m2 > 0:
        raise ValueError(f"a cap must be above 0, got {cap_g_m2}")
    if not n_g_m2 >= 0:
        raise ValueError(f"N must be >= 0, got {n_g_m2}")
    if n_g_m2 == 0:
        return ()
    doses = max(1, math.ceil(n_g_m2 / cap_g_m2 - 1e-9))
    return (n_g_m2 / doses,) * doses


def monthly_means(days: Sequence[date], mean_c: ArrayLike) -> Floats:
    """Means of January to December over all given days, shape (12,); NaN for a month without a known day."""
    t = np.asarray(mean_c, dtype=np.float64)
    months = np.array([day.month for day in days])
    known = ~np.isnan(t)
    found = [t[(months == month) & known] for month in range(1, 13)]
    return np.array([values.mean() if values.size else np.nan for values in found])


def degree_days(tmax_c: ArrayLike, tmin_c: ArrayLike, base_c: float) -> Floats:
    """Growing degree days of each day by the simple mean: max(0, (tmax + tmin) / 2 - base). NaN stays NaN."""
    mean = (np.asarray(tmax_c, dtype=np.float64) + np.asarray(tmin_c, dtype=np.float64)) / 2
    return np.maximum(mean - base_c, 0.0)


@dataclass(frozen=True)
class TemperatureSum:
    """A running sum since the start of the year: where it stands, when it reached its target, days that are missing."""

    total_c_days: float
    reached: date | None
    missing_days: int


def temperature_sum(
    days: Sequence[date],
    mean_c: ArrayLike,
    *,
    weighted: bool = False,
    southern: bool = False,
    target: float = TSUM_TARGET,
) -> TemperatureSum:
    """The sum of daily means above 0 C that tells the first N of spring: 200 C.d.

    Plain form from 1 January (Oregon State Extension CCES 202, Peters 2001); `weighted` counts the first month by half,
    the second by three quarters (the grassland temperature of the Alpine countries). Southern lawns start on 1 July.
    `days` run on without gaps, any length; what lies before the start of the year is passed over. A missing day adds
    nothing and is counted, so that a sum is never too high.
    """
    first_month = 7 if southern else 1
    begins = [i for i, day in enumerate(days) if (day.month, day.day) == (first_month, 1)]
    total, reached, missing = 0.0, None, 0
    if not begins:
        return TemperatureSum(0.0, None, len(days))
    t = np.asarray(mean_c, dtype=np.float64)
    for day, value in zip(days[begins[-1] :], t[begins[-1] :], strict=True):
        if math.isnan(value):
            missing += 1
            continue
        month = (day.month - first_month) % 12
        weight = (0.5, 0.75)[month] if weighted and month < 2 else 1.0
        total += weight * max(float(value), 0.0)
        if reached is None and total >= target:
            reached = day
    return TemperatureSum(total, reached, missing)


def thermal_season(days: Sequence[date], mean_c: ArrayLike) -> tuple[date, date | None] | None:
    """First and last day of the longest thermal growing season in the days given; the end is None while it lasts.

    It begins with the first of five days in a row above 5 C and ends on the day before five in a row below it
    (Defra/Met Office, Mitchell & Hulme 2002). A missing day breaks a run. None if none began.
    """
    t = np.asarray(mean_c, dtype=np.float64)
    found: list[tuple[date, date | None]] = []
    start: int | None = None
    for i in range(len(t) - SEASON_RUN_DAYS + 1):
        run = t[i : i + SEASON_RUN_DAYS]
        if start is None and bool((run > SEASON_THRESHOLD_C).all()):
            start = i
        elif start is not None and bool((run < SEASON_THRESHOLD_C).all()):
            found.append((days[start], days[i] - timedelta(days=1)))
            start = None
    if start is not None:
        found.append((days[start], None))
    return max(found, key=lambda s: (s[1] or days[-1]) - s[0]) if found else None


def seeding_gate(soil_c: float, grass: GrassKind) -> Gate:
    """Whether the soil is in the band for sowing: 10-18 C cool-season, 18 C and above warm-season grass."""
    if math.isnan(soil_c):
        return "unknown"
    low, high = grass_types()[grass].seeding_soil_c.value
    if soil_c < low:
        return "too early"
    return "open" if soil_c <= high else "too late"


def pre_emergence_gate(daily_soil_c: ArrayLike) -> Gate:
    """Whether a crabgrass barrier is timely, from the daily mean soil temperatures up to today.

    Open once the last day's soil reaches 10 C; too late once 7 days in a row averaged 12.8 C or more, for then the
    seed germinates. With the last day missing, or a missing day among warm ones, it is not known.
    """
    soil = np.asarray(daily_soil_c, dtype=np.float64)
    if soil.size == 0 or math.isnan(soil[-1]):
        return "unknown"
    windows = [soil[i : i + GERMINATION_DAYS] for i in range(soil.size - GERMINATION_DAYS + 1)]
    if any(window.mean() >= GERMINATION_C for window in windows):
        return "too late"
    if np.isnan(soil).any() and bool((soil[~np.isnan(soil)] >= PRE_EMERGENCE_C).any()):
        return "unknown"
    return "open" if soil[-1] >= PRE_EMERGENCE_C else "too early"
