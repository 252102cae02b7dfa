"""Invented answers of the US, German and ensemble services, from the same tables of weather as answers.py."""

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, Values, Weather, open_meteo_answer

# layer, field of the table, unit, factor into that unit
NWS_LAYERS = (
    ("temperature", "temperature_c", "wmoUnit:degC", 1.0),
    ("dewpoint", "dew_point_c", "wmoUnit:degC", 1.0),
    ("relativeHumidity", "humidity_pct", "wmoUnit:percent", 1.0),
    ("windSpeed", "wind_m_s", "wmoUnit:km_h-1", 3.6),
    ("windGust", "gust_m_s", "wmoUnit:km_h-1", 3.6),
    ("skyCover", "cloud_pct", "wmoUnit:percent", 1.0),
    ("probabilityOfPrecipitation", "chance", "wmoUnit:percent", 100.0),
)


def nws_answer(
    table: Weather,
    *,
    latitude: float = LATITUDE,
    longitude: float = LONGITUDE,
    issued: datetime | None = None,
    rain_h: int = 6,
    rain_hours: int | None = None,
) -> dict[str, Any]:
    """A grid cell: equal neighbours are run together, but for the rain, which is a total for each `rain_h` hours up to
    the next of 00/06/12/18 UTC and on, and ends after `rain_hours` hours."""
    layers: dict[str, Any] = {
        name: {"uom": unit, "values": _runs(table, source, factor)} for name, source, unit, factor in NWS_LAYERS
    }
    layers["quantitativePrecipitation"] = {
        "uom": "wmoUnit:mm",
        "values": _totals(table, rain_h, table.hours if rain_hours is None else rain_hours),
    }
    corners = [(-0.01, -0.01), (-0.01, 0.01), (0.01, 0.01), (0.01, -0.01), (-0.01, -0.01)]
    return {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [[[longitude + e, latitude + n] for n, e in corners]]},
        "properties": {
            "updateTime": (issued or table.start).isoformat(),
            "validTimes": _interval(table, 0, table.hours),
            "elevation": {"unitCode": "wmoUnit:m", "value": 30.0},
            "gridId": "ZZZ",
            "gridX": "12",
            "gridY": "34",
            "iceAccumulation": {},
            "snowLevel": {"values": []},
            **layers,
        },
    }


def _interval(table: Weather, first: int, hours: int) -> str:
    days, rest = divmod(hours, 24)
    length = (f"{days}D" if days else "") + (f"T{rest}H" if rest else "")
    return f"{table.when(first).isoformat()}/P{length}"


def _runs(table: Weather, source: str, factor: float) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    first = 0
    for t in range(1, table.hours + 1):
        if t == table.hours or table[source][t] != table[source][first]:
            value = table[source][first]
            scaled = None if value is None else value * factor
            found.append({"validTime": _interval(table, first, t - first), "value": scaled})
            first = t
    return found


def _totals(table: Weather, rain_h: int, until: int) -> list[dict[str, Any]]:
    found, first = [], 0
    while first < until:
        hours = min(rain_h - table.when(first).hour % rain_h, until - first)
        rain = table["rain_mm"][first : first + hours]
        total = None if None in rain else math.fsum(v for v in rain if v is not None)
        found.append({"validTime": _interval(table, first, hours), "value": total})
        first += hours
    return found


def nws_point(
    latitude: float = LATITUDE, longitude: float = LONGITUDE, grid: str = "ZZZ", x: Any = 12
) -> dict[str, Any]:
    """An answer of /points."""
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
        "properties": {"gridId": grid, "gridX": x, "gridY": 34, "timeZone": "Etc/UTC"},
    }


# name, field of the table, factor into units=dwd, hours that its stamp lies after the hour's start
BRIGHT_SKY = (
    ("temperature", "temperature_c", 1.0, 0),
    ("relative_humidity", "humidity_pct", 1.0, 0),
    ("dew_point", "dew_point_c", 1.0, 0),
    ("cloud_cover", "cloud_pct", 1.0, 0),
    ("wind_speed", "wind_m_s", 3.6, 1),
    ("wind_gust_speed", "gust_m_s", 3.6, 1),
    ("precipitation", "rain_mm", 1.0, 1),
    ("precipitation_probability", "chance", 100.0, 1),
)


def bright_sky_answer(
    table: Weather,
    *,
    latitude: float = LATITUDE,
    longitude: float = LONGITUDE,
    observed: int = 0,
    station: tuple[float, float] | None = None,
) -> dict[str, Any]:
    """One list of hours; the first `observed` of them measured (no probabilities there), the rest forecast."""
    north, east = station or (latitude, longitude)
    records = []
    for t in range(table.hours + 1):
        record: dict[str, Any] = {"timestamp": table.when(t).isoformat(), "source_id": 1 if t < observed else 2}
        for name, source, factor, later in BRIGHT_SKY:
            values = table[source]
            value = values[t - later] if 0 <= t - later < table.hours else None
            record[name] = None if value is None or (later and t < observed and "prob" in name) else value * factor
        record["precipitation_probability_6h"] = None
        records.append(record)
    place = {"lat": north, "lon": east, "height": 30.0, "distance": 1200.0}
    return {
        "weather": records,
        "sources": [
            {"id": 1, "observation_type": "current", "station_name": "INVENTED", **place},
            {"id": 2, "observation_type": "forecast", "station_name": "INVENTED", **place},
        ],
    }


def ensemble_answer(
    table: Weather, members: Sequence[Values], *, suffix: str = "", with_control: bool = True, **place: float
) -> dict[str, Any]:
    """Rain of each member; the first is the control run, which has no number."""
    answer = open_meteo_answer(table, **place)  # type: ignore[arg-type]
    times = answer["hourly"]["time"]
    answer["hourly"], answer["hourly_units"] = {"time": times}, {"time": "unixtime"}
    for number, values in enumerate(members, start=0 if with_control else 1):
        key = f"precipitation_member{number:02d}{suffix}" if number else f"precipitation{suffix}"
        answer["hourly"][key] = [None, *values]
        answer["hourly_units"][key] = "mm"
    return answer


def six_hour_chances(answer: dict[str, Any], chance: float | None) -> None:
    """Turn a Bright Sky answer into one that gives chances for six hours only, at 00/06/12/18 UTC."""
    for record in answer["weather"]:
        record["precipitation_probability"] = None
        whole = datetime.fromisoformat(record["timestamp"]).hour % 6 == 0
        record["precipitation_probability_6h"] = 100.0 * chance if whole and chance is not None else None
