"""A plain judge of local rules on weather and ground for one start hour: the oracle of scheduler.decide.rule_rows."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from config.models import Estate
from config.packs import Frozen, HeavyRain, Saturated, Snow, Warned, rules_in_force
from scheduler.values import Limit
from scheduler.weather.forecast import Floats


def weather_rule_limits(
    estate: Estate,
    *,
    frozen_h_of_24: float,
    saturated: bool | None,
    snow: bool | None,
    rain_ahead_mm: ArrayLike,
    heavy_mm_h: float,
    heavy_mm_24h: float,
    warnings: Sequence[str] | None = None,
) -> tuple[Limit, ...]:
    """Every rule of the estate's packs on the ground at a start hour and the rain after it.

    `frozen_h_of_24` are the hours of frost in the 24 before (NaN: not known), `rain_ahead_mm` the hours after the
    start, shape (hours,), as far as they are forecast. `heavy_mm_h` and `heavy_mm_24h` are the product's own figures,
    for laws that name none. `warnings` are the names of the weather warnings in force at the start (None: nobody
    looked). Not known is None, never a pass.
    """
    found = []
    for rule in rules_in_force(estate.rules):
        match rule:
            case Frozen():
                ok = None if np.isnan(frozen_h_of_24) else bool(frozen_h_of_24 <= rule.most_h_of_24)
                hours = None if ok is None else float(frozen_h_of_24)
                found.append(Limit("ground", hours, "h of 24 frozen", (None, rule.most_h_of_24), ok, rule.source))
            case Saturated():
                found.append(_state("the ground is saturated", saturated, rule.source))
            case Snow():
                found.append(_state("snow lies", snow, rule.source))
            case HeavyRain():
                ahead = np.asarray(rain_ahead_mm, dtype=np.float64)[: rule.within_h]
                stated = rule.most_mm_h is not None or rule.most_mm_24h is not None
                most_h, most_24h = (rule.most_mm_h, rule.most_mm_24h) if stated else (heavy_mm_h, heavy_mm_24h)
                found += _heavy(ahead, rule, most_h, most_24h)
            case Warned():
                found.append(_warned(rule, warnings))
    return tuple(found)


def _warned(rule: Warned, warnings: Sequence[str] | None) -> Limit:
    if warnings is None:
        note = "weather warnings are not known here: look before you start"
        return Limit("weather_warning", None, "", (None, None), None, rule.source, note)
    here = [event for event in warnings if rule.names(event)]
    note = f"in force: {', '.join(here)}" if here else "no such warning in force"
    return Limit("weather_warning", None, "", (None, None), not here, rule.source, note)


def _state(note: str, there: bool | None, source: str) -> Limit:
    return Limit("ground", None, "", (None, None), None if there is None else not there, source, note)


def _heavy(rain: Floats, rule: HeavyRain, most_h: float | None, most_24h: float | None) -> list[Limit]:
    whole = rain.size == rule.within_h and not np.isnan(rain).any()
    known = np.nan_to_num(rain)
    note = f"heavy rain within {rule.within_h} h"
    limits = []
    if most_h is not None:
        limits.append(_rain(float(known.max(initial=0.0)), "mm/h", most_h, whole, rule.source, note))
    if most_24h is not None:
        sums = np.convolve(known, np.ones(24))
        limits.append(_rain(float(sums.max(initial=0.0)), "mm in 24 h", most_24h, whole, rule.source, note))
    return limits


def _rain(value: float, unit: str, most: float, whole: bool, source: str, note: str) -> Limit:
    """Too much is too much even where hours are missing; enough is only known where none are."""
    ok = False if value >= most else True if whole else None
    return Limit("heavy_rain", value, unit, (None, most), ok, source, note)
