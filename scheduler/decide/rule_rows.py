"""Local rules on weather and ground over the hours: frozen, saturated, snow, heavy rain ahead, weather warnings."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from config.defaults import defaults
from config.models import Rules
from config.packs import Frozen, HeavyRain, Saturated, Snow, Warned, rules_in_force
from config.resolve import ProductLimits
from scheduler.decide.rain import worst_day_mm
from scheduler.decide.row import Row
from scheduler.weather import surface
from scheduler.weather.forecast import HOUR, Floats, Forecast
from scheduler.weather.rolling import rolling_max

Warning_ = tuple[str, datetime, datetime | None]  # event, onset, end (None: open)


def rule_rows(
    forecast: Forecast, rules: Rules, limits: ProductLimits, warnings: Sequence[Warning_] | None = None
) -> list[Row]:
    """Every weather rule of the estate's packs, judged for each start hour.

    A law that names no figure for heavy rain takes the product's, else the granular default's. Snow is in no feed and
    warnings may not have been asked for (None): those rows are not known, do not block, and say what to look for.
    """
    rows: list[Row] = []
    for rule in rules_in_force(rules):
        match rule:
            case Frozen():
                frozen = surface.frozen_hours(forecast)
                rows.append(Row("ground", "h frozen of 24", frozen, None, rule.most_h_of_24, rule.source))
            case Saturated():
                soaked = surface.rain_before_mm(forecast)
                most = defaults("ground")["saturated_mm"].number
                rows.append(Row("ground", "mm in 24 h before", soaked, None, most, rule.source))
            case Snow():
                unseen = np.full(forecast.hours, np.nan)
                note = "snow is not in the forecast: look before you start"
                rows.append(Row("ground", "snow", unseen, None, 0.0, rule.source, blocks=False, note=note))
            case HeavyRain():
                rows += _heavy(forecast, rule, limits)
            case Warned():
                rows.append(_warned(forecast, rule, warnings))
    return rows


def _heavy(forecast: Forecast, rule: HeavyRain, limits: ProductLimits) -> list[Row]:
    shipped = defaults("granular")
    stated = rule.most_mm_h is not None or rule.most_mm_24h is not None
    most_h = rule.most_mm_h if stated else (limits.heavy_mm_h or shipped["heavy_mm_h"]).number
    most_24h = rule.most_mm_24h if stated else (limits.heavy_mm_24h or shipped["heavy_mm_24h"]).number
    note = f"forecast amount within {rule.within_h} h"
    worst_hour = np.asarray(rolling_max(forecast.rain_mm, rule.within_h))
    worst_day = worst_day_mm(forecast.rain_mm, rule.within_h)
    wanted: list[tuple[Floats, str, float | None]] = [(worst_hour, "mm/h", most_h), (worst_day, "mm in 24 h", most_24h)]
    return [
        Row("heavy_rain", unit, value, None, most, rule.source, note=note)
        for value, unit, most in wanted
        if most is not None
    ]


def _warned(forecast: Forecast, rule: Warned, warnings: Sequence[Warning_] | None) -> Row:
    """1 in the hours of a warning that the rule names."""
    if warnings is None:
        unseen = np.full(forecast.hours, np.nan)
        note = "weather warnings are not known here: look before you start"
        return Row("weather_warning", "1", unseen, None, 0.0, rule.source, blocks=False, note=note)
    active = np.zeros(forecast.hours)
    named = [(event, onset, end) for event, onset, end in warnings if rule.names(event)]
    for _, onset, end in named:
        first = max(0, forecast.index(onset))
        last = forecast.hours if end is None else max(0, -((forecast.start - end) // HOUR))
        active[first:last] = 1.0
    note = ", ".join(dict.fromkeys(event for event, _, _ in named)) or "no such warning"
    return Row("weather_warning", "1", active, None, 0.0, rule.source, note=note)
