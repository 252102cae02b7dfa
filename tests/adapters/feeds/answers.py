"""Invented answers, shaped like those of the feeds, all built from one table of hourly weather.

    table = weather("2026-05-04T00:00", 96, rain_mm={30: 1.2}, chance={30: 0.8}, temperature_c=14.0)
    open_meteo_answer(table)          dict as json.loads would give it; body(...) makes the bytes
    met_norway_answer(table)
    nws_answer(table), bright_sky_answer(table), ensemble_answer(table, members=[...])   in answers_other.py

Fields of the table: a number for all hours, a sequence of one number (or None) per hour, or {hour: number} over the
field's plain value.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

HOUR = timedelta(hours=1)
Values = list[float | None]
Given = float | Sequence[float | None] | Mapping[int, float | None] | None

LATITUDE, LONGITUDE = 51.48, -0.62

# The plain value of each field: a mild, dry, still, clear hour.
PLAIN: dict[str, float | None] = {
    "temperature_c": 12.0,
    "humidity_pct": 65.0,
    "dew_point_c": 5.5,
    "wind_m_s": 2.0,
    "gust_m_s": 4.0,
    "cloud_pct": 20.0,
    "rain_mm": 0.0,
    "chance": 0.0,
    "soil_temperature_c": 11.0,
    "et0_mm": 0.1,
}


@dataclass(frozen=True)
class Weather:
    """Hour t of every list is the half-open UTC hour [start + t h, start + (t+1) h)."""

    start: datetime
    hours: int
    values: dict[str, Values] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Values:
        return self.values[name]

    def when(self, t: int) -> datetime:
        return self.start + t * HOUR


def weather(start: str | datetime, hours: int, **fields: Given) -> Weather:
    """A table of `hours` hours from `start` (UTC)."""
    begin = datetime.fromisoformat(start) if isinstance(start, str) else start
    begin = begin.replace(tzinfo=UTC) if begin.tzinfo is None else begin.astimezone(UTC)
    unknown = fields.keys() - PLAIN.keys()
    if unknown:
        raise KeyError(f"no such field: {unknown}")
    values = {name: _column(fields.get(name, plain), plain, hours) for name, plain in PLAIN.items()}
    return Weather(begin, hours, values)


def _column(given: Given, plain: float | None, hours: int) -> Values:
    if isinstance(given, Mapping):
        return [given.get(t, plain) for t in range(hours)]
    if given is None or isinstance(given, int | float):
        return [given] * hours
    if len(given) != hours:
        raise ValueError(f"{len(given)} values for {hours} hours")
    return list(given)


def body(answer: Any) -> bytes:
    """The answer as it comes over the wire."""
    return json.dumps(answer).encode()


def wrapped(answer: Any, *, date: datetime | None = None, status: int = 200, **headers: str) -> dict[str, Any]:
    """A recording of an answer together with its HTTP headers."""
    said = {"Date": date.astimezone(UTC).strftime("%a, %d %b %Y %H:%M:%S GMT")} if date else {}
    return {"status_code": status, "headers": {"Content-Type": "application/json", **said, **headers}, "data": answer}


# --- Open-Meteo ------------------------------------------------------------------------------------------------------

# name, field of the table, its unit, factor into that unit, hours that its stamp lies after the hour's start
OPEN_METEO = (
    ("temperature_2m", "temperature_c", "°C", 1.0, 0),
    ("relative_humidity_2m", "humidity_pct", "%", 1.0, 0),
    ("dew_point_2m", "dew_point_c", "°C", 1.0, 0),
    ("precipitation", "rain_mm", "mm", 1.0, 1),
    ("precipitation_probability", "chance", "%", 100.0, 1),
    ("wind_speed_10m", "wind_m_s", "m/s", 1.0, 0),
    ("wind_gusts_10m", "gust_m_s", "m/s", 1.0, 1),
    ("cloud_cover", "cloud_pct", "%", 1.0, 0),
    ("soil_temperature_6cm", "soil_temperature_c", "°C", 1.0, 0),
    ("et0_fao_evapotranspiration", "et0_mm", "mm", 1.0, 1),
)


def open_meteo_answer(
    table: Weather,
    *,
    latitude: float = LATITUDE,
    longitude: float = LONGITUDE,
    iso: bool = False,
    offset_s: int = 0,
    suffix: str = "",
    current: datetime | None = None,
    without: Sequence[str] = (),
) -> dict[str, Any]:
    """One place. There is one stamp more than hours: sums of the last hour are stamped with its end."""
    stamps = [table.when(t) for t in range(table.hours + 1)]
    hourly: dict[str, Any] = {"time": [_stamp(t, iso, offset_s) for t in stamps]}
    units = {"time": "iso8601" if iso else "unixtime"}
    for name, source, unit, factor, later in OPEN_METEO:
        if name not in without:
            values: Values = [None if v is None else round(v * factor, 6) for v in table[source]]
            hourly[name + suffix] = [None] * later + values + [None] * (1 - later)
            units[name + suffix] = unit
    answer = {
        "latitude": latitude,
        "longitude": longitude,
        "generationtime_ms": 0.25,
        "utc_offset_seconds": offset_s,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 30.0,
        "hourly_units": units,
        "hourly": hourly,
    }
    if current is not None:
        answer["current_units"] = {"time": units["time"], "interval": "seconds"}
        answer["current"] = {"time": _stamp(current, iso, offset_s), "interval": 900}
    return answer


def _stamp(when: datetime, iso: bool, offset_s: int) -> str | int:
    if not iso:
        return int(when.timestamp())
    return (when + timedelta(seconds=offset_s)).strftime("%Y-%m-%dT%H:%M")


# --- MET Norway ------------------------------------------------------------------------------------------------------

MET_INSTANT = (
    ("air_temperature", "temperature_c", "celsius"),
    ("relative_humidity", "humidity_pct", "%"),
    ("dew_point_temperature", "dew_point_c", "celsius"),
    ("wind_speed", "wind_m_s", "m/s"),
    ("wind_speed_of_gust", "gust_m_s", "m/s"),
    ("cloud_area_fraction", "cloud_pct", "%"),
)
MET_RAIN_UNITS = {
    "precipitation_amount": "mm",
    "precipitation_amount_max": "mm",
    "precipitation_amount_min": "mm",
    "probability_of_precipitation": "%",
}


def met_norway_answer(
    table: Weather,
    *,
    latitude: float = LATITUDE,
    longitude: float = LONGITUDE,
    issued: datetime | None = None,
    hourly: int = 60,
    high_factor: float | None = None,
    six_extra_mm: Mapping[int, float] | None = None,
) -> dict[str, Any]:
    """One place: `hourly` hours step by step, then six-hour steps from the next of 00/06/12/18 UTC on, then one step
    without rain.

    The chance of a six-hour period is that of its wettest hour. `high_factor` adds precipitation_amount_max as a
    multiple of the amount; `six_extra_mm` {hour: mm} makes the rolling next_6_hours of an hourly step larger than the
    sum of its hours. An hour whose rain and chance are both None lacks its next_1_hours.
    """
    border = _border(table, hourly)
    series = [_met_hour(table, t, border, high_factor, six_extra_mm or {}) for t in range(border)]
    t = border
    while t + 6 <= table.hours:
        step = _met_instant(table, t)
        step["data"]["next_6_hours"] = _met_rain(table, t, 6, high_factor, 0.0)
        series.append(step)
        t += 6
    if t < table.hours:
        series.append(_met_instant(table, t))
    units = {name: unit for name, _, unit in MET_INSTANT} | MET_RAIN_UNITS
    updated = (issued or table.start).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude, 30]},
        "properties": {"meta": {"updated_at": updated, "units": units}, "timeseries": series},
    }


def _border(table: Weather, hourly: int) -> int:
    """The hourly part ends where a six-hour step begins."""
    t = min(hourly, table.hours)
    while t < table.hours and table.when(t).hour % 6:
        t += 1
    return t


def _met_instant(table: Weather, t: int) -> dict[str, Any]:
    details = {name: table[source][t] for name, source, _ in MET_INSTANT if table[source][t] is not None}
    return {"time": table.when(t).strftime("%Y-%m-%dT%H:%M:%SZ"), "data": {"instant": {"details": details}}}


def _met_hour(
    table: Weather, t: int, border: int, high_factor: float | None, extra: Mapping[int, float]
) -> dict[str, Any]:
    step = _met_instant(table, t)
    if table["rain_mm"][t] is not None or table["chance"][t] is not None:
        step["data"]["next_1_hours"] = _met_rain(table, t, 1, high_factor, 0.0)
    if t + 6 <= border:
        step["data"]["next_6_hours"] = _met_rain(table, t, 6, None, extra.get(t, 0.0))
    return step


def _met_rain(table: Weather, t: int, hours: int, high_factor: float | None, extra_mm: float) -> dict[str, Any]:
    rain = [v for v in table["rain_mm"][t : t + hours] if v is not None]
    chance = [v for v in table["chance"][t : t + hours] if v is not None]
    details = {}
    if rain:
        details["precipitation_amount"] = round(math.fsum(rain) + extra_mm, 6)
    if rain and high_factor is not None:
        details["precipitation_amount_min"] = 0.0
        details["precipitation_amount_max"] = round(math.fsum(rain) * high_factor, 6)
    if chance:
        details["probability_of_precipitation"] = round(100.0 * max(chance), 6)
    return {"summary": {"symbol_code": "cloudy"}, "details": details}
