"""Hour by hour, every weather limit of one product class at one forecast cell: arrays that all its lawns look up.

Work is done per cell and class (same product weather, same zone), so that cost grows with cells, not with lawns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from config.defaults import defaults
from config.models import Form, Hours, Product, Rules
from config.resolve import ProductLimits, product_limits
from scheduler.decide.rain import RainRisk, rain_risk
from scheduler.decide.row import Bools, Row
from scheduler.decide.rule_rows import Warning_, rule_rows
from scheduler.decide.sky import Sky, local_hours, working_hours
from scheduler.weather.calibration import Calibrated
from scheduler.weather.forecast import HOUR, Forecast, Ints
from scheduler.weather.physics import wind_factor


@dataclass(frozen=True)
class Table:
    """All weather limits of one class at one cell, and the chances of rain behind them."""

    forecast: Forecast
    form: Form
    limits: ProductLimits
    rows: tuple[Row, ...]
    rain: RainRisk
    workable: Bools  # inside working hours and daylight
    hourly: Bools  # the rain of this hour is given hour by hour
    zone: str
    days: Ints  # local date of each hour, as an ordinal


def limit_table(
    sky: Sky,
    product: Product,
    hours: Hours,
    zone: str,
    risk: tuple[float, str],
    rules: Rules | None = None,
    warnings: Sequence[Warning_] | None = None,
    known: Sequence[Calibrated] = (),
) -> Table:
    """Judge every hour of a forecast for `product` by its weather limits and the estate's rules on weather.

    `risk` is the accepted chance of a wash-off and its source, `known` the calibrations of the cell. Limits that hang
    on the lawn's dates (interval, caps, the rain band with its declining threshold) are added per lawn.
    """
    forecast, limits = sky.forecast, product_limits(product)
    rain = rain_risk(sky, product.form, limits, known)
    time_rows = _time_rows(sky, hours, zone)
    rows = [*time_rows, *_air_rows(sky, product, limits), *_surface_rows(sky, limits)]
    rows += _rain_rows(product, rain, limits, risk)
    rows += rule_rows(forecast, rules, limits, warnings) if rules is not None else []
    workable = time_rows[0].ok & time_rows[1].ok
    hourly = forecast.period_start == np.arange(forecast.hours)
    hourly[:-1] &= hourly[1:]  # the first hour of a longer period is not hourly either
    days = local_hours(forecast.start, forecast.hours, zone).day
    return Table(forecast, product.form, limits, tuple(rows), rain, workable, hourly, zone, days)


def _time_rows(sky: Sky, hours: Hours, zone: str) -> list[Row]:
    """Working hours (local, whole hours inside) and daylight, as 1 or 0."""
    inside = working_hours(sky.forecast.start, sky.forecast.hours, zone, hours)
    return [
        Row("hours", "1", inside.astype(float), 1.0, None, "estate.toml [hours]"),
        Row("daylight", "1", sky.daylight.astype(float), 1.0, None, "work is done between sunrise and sunset"),
    ]


def _air_rows(sky: Sky, product: Product, limits: ProductLimits) -> list[Row]:
    """Wind, gust, temperature, frost, Delta T and inversion."""
    forecast = sky.forecast
    rows: list[Row] = []
    shipped = defaults("forecast")
    if limits.wind_m_s is not None:
        low, high = limits.wind_m_s.value
        height = limits.wind_height_m.number
        factor = wind_factor(height)
        wind = forecast.wind_m_s * factor
        note = "" if factor == 1.0 else f"10 m forecast converted to {height:g} m"
        rows.append(Row("wind", "m/s", wind, low, high, limits.wind_m_s.source, note=note))
        gust = forecast.gust_m_s.copy()
        given = np.flatnonzero(np.isfinite(gust))
        # A feed may end its gusts early or carry none; there the gust follows from the wind. A hole stays not known.
        absent = np.arange(len(gust)) > (given[-1] if given.size else -1)
        gust[absent] = forecast.wind_m_s[absent] * shipped["gust_factor"].number
        allowed = high * shipped["gust_allowance"].number
        note = "" if given.size else "estimated from the mean wind: the feed gives no gusts"
        rows.append(Row("gust", "m/s", gust * factor, None, allowed, f"{limits.wind_m_s.source} x 1.5", note=note))
    if limits.temperature_c is not None:
        low, high = limits.temperature_c.value
        rows.append(Row("temperature", "C", forecast.temperature_c, low, high, limits.temperature_c.source))
    if limits.frost_c is not None:
        note = "coldest hour of the next 24"
        rows.append(Row("frost", "C", sky.coldest_c, limits.frost_c.number, None, limits.frost_c.source, note=note))
    if limits.delta_t_c is not None:
        low, high = limits.delta_t_c.value
        rows.append(Row("delta_t", "K", sky.delta_t_c, low, high, limits.delta_t_c.source, note="psychrometer method"))
    if product.form == "liquid":
        rows.append(_inversion_row(sky))
    return rows


def _inversion_row(sky: Sky) -> Row:
    """1 where an inversion must be expected: near or after dark, clear and calm. Cloud not given counts as clear."""
    ground, forecast = defaults("ground"), sky.forecast
    calm = forecast.wind_m_s < ground["inversion_wind_m_s"].number
    clear = ~(forecast.cloud_pct > ground["inversion_cloud_pct"].number)
    value = np.where(sky.mixed_air, 0.0, np.where(np.isfinite(forecast.wind_m_s), (calm & clear).astype(float), np.nan))
    return Row("inversion", "1", value, None, 0.0, ground["inversion_wind_m_s"].source)


def _surface_rows(sky: Sky, limits: ProductLimits) -> list[Row]:
    """Leaf wetness and the ground."""
    rows: list[Row] = []
    wet, damp = sky.leaf_wetness
    if limits.leaf.value == "dry":
        rows.append(Row("leaf", "wet", wet, None, 0.0, limits.leaf.source, note="leaf must be dry"))
    elif limits.leaf.value == "damp":
        rows.append(Row("leaf", "damp", damp, 1.0, None, limits.leaf.source, note="leaf must be damp"))
    ground = defaults("ground")
    high = ground["frozen_h"].number
    rows.append(Row("ground", "h frozen of 24", sky.frozen_hours, None, high, ground["frozen_h"].source))
    high = ground["saturated_mm"].number
    rows.append(Row("ground", "mm in 24 h before", sky.rain_before_mm, None, high, ground["saturated_mm"].source))
    return rows


def _rain_rows(product: Product, rain: RainRisk, limits: ProductLimits, risk: tuple[float, str]) -> list[Row]:
    """Rain after a liquid or combined product, and heavy rain after granules."""
    rows: list[Row] = []
    accepted, source = risk
    if rain.washed_off is not None and limits.dry_for_h is not None:
        note = f"chance of {limits.wet_mm.number:g} mm or more within {limits.dry_for_h.number:g} h"
        rows.append(Row("rain_after", "1", rain.washed_off_by_end, None, accepted, source, note=note))
        below = limits.wet_mm.number - 1e-6
        note = f"forecast amount within {limits.dry_for_h.number:g} h"
        amount = Row(
            "rain_after", "mm", rain.amount_by_end_mm, None, below, limits.wet_mm.source, blocks=False, note=note
        )
        rows.append(amount)
    if rain.too_heavy is not None and limits.dissolve_h is not None:
        note = f"chance of too much or too heavy rain within {limits.dissolve_h.number:g} h"
        heavy = defaults("forecast")["heavy_risk"]
        rows.append(Row("heavy_rain", "1", rain.too_heavy, None, heavy.number, heavy.source, note=note))
        if limits.heavy_mm_24h is not None and limits.heavy_mm_h is not None:
            for value, unit, limit in (
                (rain.worst_hour_mm, "mm/h", limits.heavy_mm_h),
                (rain.worst_day_mm, "mm in 24 h", limits.heavy_mm_24h),
            ):
                rows.append(Row("heavy_rain", unit, value, None, limit.number, limit.source, note="forecast amount"))
    return rows


def first_hour(forecast: Forecast, now: datetime) -> int:
    """Index of the first hour that can still be used at `now`: the running one while 30 min of it are left."""
    index = forecast.index(now)
    left = forecast.start + (index + 1) * HOUR - now
    return max(0, index if left >= timedelta(minutes=30) else index + 1)
