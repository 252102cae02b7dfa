"""The chance of a wet window, a dry one, or one with just the right rain, for every start hour at once.

Three roads to it, in order of worth: ensemble members; hourly probabilities joined by a Markov chain; a single run with
an honest spread drawn round it. All arrays run over hours on the last axis; a NaN in a window makes its chance NaN.
"""

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from scheduler.weather.forecast import Floats, Ints
from scheduler.weather.rolling import later, rolling_max, rolling_product, rolling_sum, whole_hours

__all__ = [
    "band_chance",
    "members_from_run",
    "members_window_chance",
    "mix_climate",
    "rho_for",
    "rolling_max",
    "rolling_sum",
    "window_chance",
]

AMOUNT_TOLERANCE_MM = 1e-9  # sums of 0.1 mm steps must not miss a threshold by rounding
BLOCK_POWER = 0.63  # see _spacing
MEMBERS_NEEDED = 0.8  # share of the ensemble's weight that a window needs

# Error of one deterministic run, from lead 0 to LEAD_FULL_H: timing, log amount, and the chance that it has no skill
# at all. The cautious ("low skill") setting of scheduler.verify.simulate; measured policies rest on it.
LEAD_FULL_H = 168.0
TIMING_SD_H = (1.0, 6.0)
LOG_AMOUNT_SD = (0.3, 0.6)
NO_SKILL = (0.12, 0.43)
SHIFTS, SCALES = 7, 5

RunSpread = tuple[Floats, Floats, Floats]  # members (..., M, H), weights (M,), climate weight (..., H)


def window_chance(p: Floats, period_start: Ints, hours: float, rho: float) -> Floats:
    """P(at least one wet rain period in [t, t + hours)) for each start hour t.

    Args:
        p: (..., H) chance that the rain period of the hour is wet, 0..1.
        period_start: (H,) or (..., H) index of the first hour of each hour's rain period; hours that share it are one
            event, counted once, and carry the same chance.
        hours: window length; part hours are rounded up.
        rho: correlation of wet and dry between neighbouring hours, see `rho_for`.

    Returns (..., H); NaN where the window holds a NaN or runs past the end.

    A non-homogeneous two-state Markov chain (Gabriel & Neumann 1962 with hourly probabilities):
    cov = rho sqrt(p q p' q'), P(wet' | dry) = p' - cov / q, P(any) = 1 - q_1 prod(1 - P(wet' | dry)).
    The covariance is held inside the Frechet bounds, so that every hour keeps its own probability and the answer lies
    between the highest hourly chance and the independent product.
    """
    width = whole_hours(hours)
    p = np.asarray(p, dtype=np.float64)
    dry = 1.0 - p
    if width == 1 or p.shape[-1] == 0:
        return p.copy()
    stays_dry = later(_stays_dry(p, np.asarray(period_start), rho), 1)
    return 1.0 - dry * rolling_product(stays_dry, width - 1)


def _stays_dry(p: Floats, period_start: Ints, rho: float) -> Floats:
    """P(hour t dry | hour t - 1 dry), (..., H); 1 inside a rain period, NaN at t = 0."""
    before, after = p[..., :-1], p[..., 1:]
    q_before, q_after = 1.0 - before, 1.0 - after
    cov = rho ** _spacing(period_start) ** BLOCK_POWER * np.sqrt(before * q_before * after * q_after)
    cov = np.minimum(cov, np.minimum(before * q_after, after * q_before))
    wet = after - np.divide(cov, q_before, out=np.zeros_like(cov), where=q_before > 0)
    same = period_start[..., 1:] == period_start[..., :-1]
    stays = np.where(same & ~np.isnan(before) & ~np.isnan(after), 1.0, 1.0 - np.clip(wet, 0.0, 1.0))
    return np.concatenate([np.full((*stays.shape[:-1], 1), np.nan), stays], axis=-1)


def _spacing(period_start: Ints) -> Floats:
    """Mean length in hours of the periods of hours t and t + 1, (..., H - 1).

    The correlation between neighbouring blocks of n hours falls as rho ** (n ** 0.63): fitted on 20 years of Boston
    Logan (NOAA) and 4 years of Beijing sites (UCI data set 501), where 0.76-0.80 at 1 h becomes 0.57-0.64 at 3 h and
    0.45-0.50 at 6 h.
    """
    length = _period_length(period_start)
    return np.asarray((length[..., 1:] + length[..., :-1]) / 2.0)


def _period_length(period_start: Ints) -> Floats:
    """Number of hours in each hour's rain period, same shape."""
    hours = period_start.shape[-1]
    here = np.broadcast_to(np.arange(hours), period_start.shape)
    new = np.ones(period_start.shape, dtype=bool)
    new[..., 1:] = period_start[..., 1:] != period_start[..., :-1]
    first = np.maximum.accumulate(np.where(new, here, 0), axis=-1)
    ends = np.concatenate([new[..., 1:], np.ones((*new.shape[:-1], 1), dtype=bool)], axis=-1)
    last = np.minimum.accumulate(np.where(ends, here, hours)[..., ::-1], axis=-1)[..., ::-1]
    return (last - first + 1).astype(np.float64)


def rho_for(wet_mm: float, hours: float = 8.0) -> float:
    """Correlation for the event "the window's total reaches `wet_mm`" from hourly chances of >= 0.1-0.25 mm.

    rho = 0.835 + (0.015 + 0.45 / hours) log2(wet_mm / 0.5), held within 0.70..1; below 0.25 mm as at 0.25 mm.
    Fitted on Boston Logan 1996-2015 (NOAA) and 8 Beijing sites 2013-2017 (UCI data set 501), from month-by-hour
    frequencies of >= 0.2 mm: mean error within 0.010 for 6 and 8 h up to 1 mm, within 0.02 for 3 to 24 h up to 1 mm.
    At rho = 1 the chain can go no lower than the highest hourly chance: from 2 mm on it errs to the wet side, by up to
    0.036 at 2 mm and 0.062 at 5 mm.
    """
    slope = 0.015 + 0.45 / hours
    return min(1.0, max(0.70, 0.835 + slope * math.log2(max(wet_mm, 0.25) / 0.5)))


def members_window_chance(members: Floats, weights: Floats | None, hours: float, wet_mm: float) -> Floats:
    """Weighted share of members whose total in [t, t + hours) reaches `wet_mm`.

    Shapes: members (..., M, H) in mm, weights (M,) or None for equal ones; returns (..., H). A member with a missing
    hour in the window is left out; NaN where less than 80 % of the weight is left.
    """
    total = rolling_sum(members, whole_hours(hours))
    known = ~np.isnan(total)
    return _share(total >= wet_mm - AMOUNT_TOLERANCE_MM, known, weights)


def band_chance(
    members: Floats,
    weights: Floats | None,
    hours: float,
    low_mm: float,
    high_mm: float,
    heavy_mm_h: float | None = None,
    heavy_mm_24h: float | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Chances that a granule is dissolved, left too dry, or washed away in [t, t + hours); they sum to 1.

    Too heavy: the total above `high_mm`, any hour above `heavy_mm_h`, or any 24 h (the whole window if shorter) above
    `heavy_mm_24h`. Too dry: not too heavy and the total below `low_mm`. Shapes and missing values as
    `members_window_chance`; returns (dissolved, too_dry, too_heavy), each (..., H).
    """
    width = whole_hours(hours)
    total = rolling_sum(members, width)
    known = ~np.isnan(total)
    heavy = total > high_mm + AMOUNT_TOLERANCE_MM
    if heavy_mm_h is not None:
        heavy |= rolling_max(members, width) > heavy_mm_h + AMOUNT_TOLERANCE_MM
    if heavy_mm_24h is not None:
        day = min(24, width)
        heavy |= rolling_max(rolling_sum(members, day), width - day + 1) > heavy_mm_24h + AMOUNT_TOLERANCE_MM
    dry = ~heavy & (total < low_mm - AMOUNT_TOLERANCE_MM)
    too_heavy = _share(heavy, known, weights)
    too_dry = _share(dry, known, weights)
    return np.maximum(1.0 - too_dry - too_heavy, 0.0), too_dry, too_heavy


def _share(event: NDArray[np.bool_], known: NDArray[np.bool_], weights: Floats | None) -> Floats:
    """Weighted share of `event` among the known members (axis -2); NaN where too few are known."""
    count = event.shape[-2]
    weight = np.full(count, 1.0 / count) if weights is None else np.asarray(weights, dtype=np.float64) / np.sum(weights)
    present = np.einsum("m,...mh->...h", weight, known.astype(np.float64))
    happened = np.einsum("m,...mh->...h", weight, (event & known).astype(np.float64))
    enough = present >= MEMBERS_NEEDED - 1e-9
    share = np.divide(happened, present, out=np.full_like(present, np.nan), where=enough)
    return np.asarray(np.minimum(share, 1.0))


def members_from_run(rain_mm: Floats, lead_h: Floats, shifts: int = SHIFTS, scales: int = SCALES) -> RunSpread:
    """An honest spread round one deterministic run: the run shifted in time and scaled in amount.

    Shapes: rain_mm (..., H) in mm per hour, lead_h (H,) or (..., H) hours since issue (below 0 counts as 0). Returns
    members (..., shifts * scales, H), their weights (M,), and the weight (..., H) with which the climate's own chance
    is to be mixed in (`mix_climate`), because a run has now and then no skill at all.

    Timing has a standard deviation of 1 h growing to 6 h at 168 h, log amount 0.3 growing to 0.6, no skill
    0.12 + 0.43 sqrt(lead / 168). The deviates are the midpoint quantiles of the normal law, stretched to unit variance:
    the same run always gives the same members. Rain is moved along its own cumulative curve, so that none is lost or
    made; a member hour that draws on a missing hour is missing, before the first hour the first hour's rain is taken.
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    lead = np.clip(np.broadcast_to(lead_h, rain.shape) / LEAD_FULL_H, 0.0, 1.0)
    z, a = _deviates(shifts), _deviates(scales)
    timing = TIMING_SD_H[0] + (TIMING_SD_H[1] - TIMING_SD_H[0]) * lead
    moved = _moved(rain, timing[..., None, :] * z[:, None])
    spread = LOG_AMOUNT_SD[0] + (LOG_AMOUNT_SD[1] - LOG_AMOUNT_SD[0]) * lead
    scale = np.exp(spread[..., None, :] * a[:, None])
    members = (moved[..., :, None, :] * scale[..., None, :, :]).reshape(*rain.shape[:-1], shifts * scales, -1)
    weights = np.full(shifts * scales, 1.0 / (shifts * scales))
    return members, weights, NO_SKILL[0] + NO_SKILL[1] * np.sqrt(lead)


def _deviates(count: int) -> Floats:
    """Midpoint quantiles of the standard normal law, (count,), scaled to unit variance."""
    z = np.array([NormalDist().inv_cdf((k + 0.5) / count) for k in range(count)])
    size = math.sqrt(float(np.mean(z**2)))
    return z / size if size > 0 else z


def _moved(rain: Floats, shift_h: Floats) -> Floats:
    """Rain of each hour t taken from [t, t + 1) + shift: rain (..., H), shift (..., K, H), result (..., K, H)."""
    hours = rain.shape[-1]
    edge = np.arange(hours + 1, dtype=np.float64)
    edges = np.concatenate([shift_h, shift_h[..., -1:]], axis=-1) + edge
    missing = np.isnan(rain)
    amount = _cumulative_at(np.where(missing, 0.0, rain), edges)
    gaps = _cumulative_at(missing.astype(np.float64), edges)
    out = np.maximum(np.diff(amount, axis=-1), 0.0)
    out[(np.diff(gaps, axis=-1) > 1e-9) | (edges[..., 1:] > hours + 1e-9)] = np.nan
    return out


def _cumulative_at(rate: Floats, at: Floats) -> Floats:
    """Integral of a step function (..., H) from 0 to `at` (..., K, H + 1); outside, the nearest step goes on."""
    hours = rate.shape[-1]
    total = np.concatenate([np.zeros((*rate.shape[:-1], 1)), np.cumsum(rate, axis=-1)], axis=-1)
    cell = np.clip(np.floor(at), 0, hours - 1).astype(np.int64)
    flat = cell.reshape(*cell.shape[:-2], -1)
    base = np.take_along_axis(total, flat, axis=-1).reshape(cell.shape)
    slope = np.take_along_axis(rate, flat, axis=-1).reshape(cell.shape)
    return base + slope * (at - cell)


def mix_climate(chance: Floats, weight: Floats, climate: float | Floats) -> Floats:
    """(1 - weight) chance + weight climate: what is left to say when the run may have no skill."""
    return (1.0 - weight) * chance + weight * climate
