"""Advisory hints on disease and growth regulation. Numbers first; the words live in hint_words. Never an order.

All arrays are aligned; NaN is missing and gives NaN, or no hint, never a guess.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Level = Literal["none", "watch", "act"]

DOLLAR_SPOT_ACT = 0.20  # spraying from here on saved about 30 % of sprays, Smith et al. 2018
DOLLAR_SPOT_RANGE_C = (10.0, 35.0)  # from memory
BROWN_PATCH_NIGHT_C = 20.0  # 68 F: University of Illinois Extension, Rutgers Plant & Pest Advisory
BROWN_PATCH_EARLY_C = 16.0  # 61 F with 95 % humidity: Schumann et al. 1994, as told by Rutgers
BROWN_PATCH_WET_H = 10.0  # hours of wet leaf or 95 % humidity, university plant clinic text, second hand
REGULATOR_DEGREE_DAYS = 200.0  # base 0 C, trinexapac-ethyl on bentgrass greens: Kreuser & Soldat 2011
REGULATOR_REBOUND = 250.0  # growth rebounds past 250-300: Soldat, abstract 2009
SNOW_MOULD_C = (0.0, 15.0)  # Microdochium: Ohio State and Nebraska turf articles, second hand
SNOW_MOULD_WET_SHARE = 0.5  # of the hours: engineering default


@dataclass(frozen=True)
class Hint:
    """One hint: what was computed, how it is judged, and where it comes from. `value` None: not known."""

    name: Literal["dollar_spot", "brown_patch", "growth_regulator", "snow_mould"]
    value: float | None
    unit: str
    level: Level
    source: str


def dollar_spot_chance(temperature_c: ArrayLike, humidity_pct: ArrayLike) -> Floats:
    """Chance (0..1) of dollar spot from five-day means of temperature [C] and relative humidity [%].

    Logistic model of Smith, Kerns et al. 2018, PLoS ONE 13(3): e0194216 (coefficients second hand).
    NaN outside 10-35 C.
    """
    t, rh = np.asarray(temperature_c, dtype=np.float64), np.asarray(humidity_pct, dtype=np.float64)
    x = -11.4041 + 0.0894 * rh + 0.1932 * t
    low, high = DOLLAR_SPOT_RANGE_C
    return np.where((t >= low) & (t <= high), 1 / (1 + np.exp(-x)), np.nan)


def dollar_spot(mean_c: ArrayLike, mean_rh_pct: ArrayLike) -> Hint:
    """Dollar spot from the daily means of the last five days; more days may be given, the last five count."""
    t, rh = np.asarray(mean_c, dtype=np.float64)[-5:], np.asarray(mean_rh_pct, dtype=np.float64)[-5:]
    source = "Smith, Kerns et al. 2018, PLoS ONE 13(3): e0194216"
    if min(t.size, rh.size) < 5 or np.isnan(t).any() or np.isnan(rh).any():
        return Hint("dollar_spot", None, "chance", "none", source)
    chance = float(dollar_spot_chance(t.mean(), rh.mean()))
    if np.isnan(chance):
        return Hint("dollar_spot", None, "chance", "none", source)
    return Hint("dollar_spot", chance, "chance", "act" if chance >= DOLLAR_SPOT_ACT else "none", source)


def nights(temperature_c: ArrayLike, wet: ArrayLike, night: ArrayLike) -> tuple[Floats, Floats]:
    """Lowest temperature [C] and hours of wet leaf of each night in hourly arrays of one length.

    `night` is true in the dark; a night is a run of dark hours. `wet` is true, false or NaN. A missing hour makes the
    whole night NaN.
    """
    t, leaf = np.asarray(temperature_c, dtype=np.float64), np.asarray(wet, dtype=np.float64)
    dark = np.concatenate([[False], np.asarray(night, dtype=np.bool_), [False]])
    edges = np.flatnonzero(dark[1:] != dark[:-1])
    spans = list(zip(edges[::2], edges[1::2], strict=True))
    lowest = [float(np.min(t[a:b])) for a, b in spans]
    hours = [float(np.sum(leaf[a:b])) for a, b in spans]
    return np.array(lowest), np.array(hours)


def brown_patch(lowest_c: ArrayLike, wet_hours: ArrayLike) -> Hint:
    """Brown patch from the nights ahead (lowest temperature, wet hours): the number of nights that favour it.

    Act where a night stays at 20 C or above with 10 wet hours, watch from 16 C.
    """
    low, wet = np.asarray(lowest_c, dtype=np.float64), np.asarray(wet_hours, dtype=np.float64)
    source = "University of Illinois Extension; Schumann et al. 1994 as told by Rutgers Plant & Pest Advisory"
    if np.isnan(low).any() or np.isnan(wet).any() or low.size == 0:
        return Hint("brown_patch", None, "nights", "none", source)
    warm = (low >= BROWN_PATCH_NIGHT_C) & (wet >= BROWN_PATCH_WET_H)
    early = (low >= BROWN_PATCH_EARLY_C) & (wet >= BROWN_PATCH_WET_H)
    level: Level = "act" if warm.any() else "watch" if early.any() else "none"
    return Hint("brown_patch", float(warm.sum() if warm.any() else early.sum()), "nights", level, source)


def growth_regulator(degree_days_since: ArrayLike, interval: float = REGULATOR_DEGREE_DAYS) -> Hint:
    """Growth regulator: degree days (base 0 C) since it was applied. Act at the interval, watch from three quarters.

    200 C.d holds for trinexapac-ethyl on bentgrass greens (Kreuser & Soldat 2011; Soldat 2013); other species and
    heights differ, so the interval is an argument. A missing day makes the sum unknown.
    """
    total = float(np.asarray(degree_days_since, dtype=np.float64).sum())
    source = "Kreuser & Soldat 2011; Soldat 2013"
    if np.isnan(total):
        return Hint("growth_regulator", None, "C.d", "none", source)
    level: Level = "act" if total >= interval else "watch" if total >= 0.75 * interval else "none"
    return Hint("growth_regulator", total, "C.d", level, source)


def late_season(month: int, *, southern: bool = False) -> bool:
    """Whether a month lies in late autumn or winter: October to February, in the south April to August."""
    return (month + (6 if southern else 0) - 1) % 12 + 1 in (10, 11, 12, 1, 2)


def snow_mould(mean_c: ArrayLike, wet_share: float, n_g_m2: float, *, late: bool) -> Hint:
    """Snow mould caution on late N: cool (0-15 C), wet days ahead, and a feed that makes soft growth.

    `mean_c` are daily means of the days ahead, `wet_share` the share of wet hours in them. Value: days in the band.
    """
    t = np.asarray(mean_c, dtype=np.float64)
    source = "Ohio State and Nebraska turf articles; Oregon State (winter N raises incidence)"
    if t.size == 0 or np.isnan(t).any() or np.isnan(wet_share):
        return Hint("snow_mould", None, "days", "none", source)
    days = float(((t >= SNOW_MOULD_C[0]) & (t <= SNOW_MOULD_C[1])).sum())
    risky = late and n_g_m2 > 0 and wet_share >= SNOW_MOULD_WET_SHARE and days > t.size / 2
    return Hint("snow_mould", days, "days", "watch" if risky else "none", source)
