"""A slow, obviously right judge of one start hour, written without the arrays of the core."""

import math
from collections.abc import Sequence
from datetime import timedelta

from scheduler.weather.forecast import HOUR, Forecast


def wet_chance(p: Sequence[float], rho: float) -> float:
    """P(any wet) by the Markov chain, hour after hour: Gabriel & Neumann 1962 with hourly probabilities."""
    dry = 1.0 - p[0]
    for before, after in zip(p, p[1:], strict=False):
        cov = rho * math.sqrt(before * (1 - before) * after * (1 - after))
        cov = min(cov, before * (1 - after), after * (1 - before))
        wet_after_dry = after - (cov / (1 - before) if before < 1 else 0.0)
        dry *= 1.0 - min(1.0, max(0.0, wet_after_dry))
    return 1.0 - dry


def liquid_hour_ok(
    f: Forecast,
    at: int,
    *,
    dry_h: int,
    wet_mm: float,
    risk: float,
    rho: float,
    wind: tuple[float, float],
    temperature: tuple[float, float],
    frost_c: float,
) -> bool | None:
    """Whether a liquid may start at any moment of hour `at`: True, False, or None where data are missing.

    Looks at rain, wind, gust, temperature, frost and leaf; the caller minds working hours and daylight.
    """
    answers: list[bool | None] = []
    for start in (at, at + 1):
        p = [f.chance[t] for t in range(start, start + dry_h)] if start + dry_h <= f.hours else [math.nan]
        answers.append(None if any(math.isnan(x) for x in p) else bool(wet_chance(p, rho) <= risk + 1e-9))
        mm = [f.rain_mm[t] for t in range(start, min(f.hours, start + dry_h))]
        answers.append(not sum(x for x in mm if not math.isnan(x)) >= wet_mm - 1e-6
                       if not any(math.isnan(x) for x in mm) else True)  # fmt: skip
    answers.append(_between(f.wind_m_s[at], *wind))
    answers.append(_between(f.gust_m_s[at], 0.0, wind[1] * 1.5))
    answers.append(_between(f.temperature_c[at], *temperature))
    night = [f.temperature_c[t] for t in range(at, at + 24)] if at + 24 <= f.hours else [math.nan]
    answers.append(None if any(math.isnan(x) for x in night) else bool(min(night) >= frost_c - 1e-9))
    rained = any(f.rain_mm[t] >= 0.1 for t in range(max(0, at - 2), at + 1))
    humid = f.humidity_pct[at] >= 90 and not f.wind_m_s[at] > 3.1
    near = f.rain_mm[max(0, at - 2) : at + 1]
    known = not math.isnan(f.humidity_pct[at]) and not any(math.isnan(x) for x in near)
    answers.append(bool(not (rained or humid)) if known else None)
    for field in (f.rain_mm, f.temperature_c):  # ground: saturated or frozen, unknown after a hole in the day before
        answers.append(None if any(math.isnan(x) for x in field[max(0, at - 24) : at]) else True)
    if any(answer is False for answer in answers):
        return False
    return None if any(answer is None for answer in answers) else True


def _between(value: float, low: float, high: float) -> bool | None:
    return None if math.isnan(value) else bool(low - 1e-9 <= value <= high + 1e-9)


def in_hours(f: Forecast, at: int, offset: timedelta, first: int, last: int) -> bool:
    """Whether hour `at` lies in the working hours at a fixed offset from UTC."""
    local = f.start + at * HOUR + offset
    return first <= local.hour < last
