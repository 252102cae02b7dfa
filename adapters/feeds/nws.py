"""US National Weather Service, api.weather.gov: the raw layers of a grid cell, found by way of /points.

Source: weather-gov.github.io/api and openapi.json of the service.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from adapters.feeds import reading
from adapters.feeds.asking import Asking, Endpoint, Place, cut
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import HOUR, Floats, Forecast, blank

CHANCE_MM = 0.254  # from memory: probabilityOfPrecipitation counts from 0.01 inch
GRID_KEPT = timedelta(days=7)  # the mapping of places to cells "can change without notice"
ISSUE_SPAN = timedelta(days=3)  # the first hour of a grid lies within hours of its update

# layer -> (field, kind of unit). All but the rain hold over their interval; the rain is the interval's total.
_LAYERS = {
    "temperature": ("temperature_c", "temperature"),
    "dewpoint": ("dew_point_c", "temperature"),
    "relativeHumidity": ("humidity_pct", "percent"),
    "windSpeed": ("wind_m_s", "speed"),
    "windGust": ("gust_m_s", "speed"),
    "skyCover": ("cloud_pct", "percent"),
    "probabilityOfPrecipitation": ("chance", "share"),
}
_RAIN = "quantitativePrecipitation"
# The part of the unit after its colon -> (factor, offset); the namespaces before it are declared to change.
_UNITS = {
    "temperature": {"degC": (1.0, 0.0), "degF": (5.0 / 9.0, -160.0 / 9.0)},
    "percent": {"percent": (1.0, 0.0)},
    "share": {"percent": (0.01, 0.0)},
    "speed": {"km_h-1": (1 / 3.6, 0.0), "m_s-1": (1.0, 0.0)},
    "depth": {"mm": (1.0, 0.0)},
}
_DURATION = re.compile(r"P(?=[\dT])(?:(\d{1,3})D)?(?:T(?:(\d{1,4})H)?(?:(\d{1,4})M)?)?")
_HEADERS = {"Accept": "application/geo+json"}  # without it some nodes have served grids of days ago

_Interval = tuple[datetime, int, float]  # start, hours, value in our unit


class Nws:
    """The gridpoints product; places in the United States and their territories only."""

    provider = "nws"
    attribution = "Forecast data: NOAA/National Weather Service"
    at_once = 1
    pause_s = free_pause_s = 0.2
    keep_least = keep_unstated = timedelta(minutes=55)

    def requests(
        self, places: Sequence[Place], *, endpoint: Endpoint, now: datetime, known: Mapping[str, str]
    ) -> list[Asking]:
        """The request for the grid cell that `known` names; without one the request that finds it."""
        place = places[0]
        path = (
            f"/gridpoints/{known['grid']}" if self.is_found(known, now) else f"/points/{cut(place[0])},{cut(place[1])}"
        )
        asked = endpoint.below(path)
        return [Asking(asked.url, asked.params({}), (place,), _HEADERS)]

    def is_found(self, known: Mapping[str, str], now: datetime) -> bool:
        """True if the grid cell of a place is known and was looked up within GRID_KEPT."""
        try:
            found = datetime.fromisoformat(known.get("grid_at", ""))
            return "grid" in known and timedelta(0) <= now - found < GRID_KEPT
        except (ValueError, TypeError):
            return False

    def learn(self, body: bytes, place: Place, now: datetime) -> dict[str, str]:
        """What an answer of /points says about a place: its grid cell. Raises FeedUnusable."""
        answer = reading.decode(body)
        properties = reading.part(answer, "properties")
        _check_point(answer, place)
        office, x, y = (properties.get(name) for name in ("gridId", "gridX", "gridY"))
        if not (isinstance(office, str) and re.fullmatch(r"[A-Z]{3}", office) and _is_index(x) and _is_index(y)):
            raise FeedUnusable("the answer does not name a grid cell")
        return {"grid": f"{office}/{x},{y}", "grid_at": now.isoformat()}

    def forget(self, known: Mapping[str, str], now: datetime) -> dict[str, str] | None:
        """`known` without a grid cell that the service no longer has; None if it was looked up within a day."""
        try:
            old = now - datetime.fromisoformat(known["grid_at"]) > timedelta(days=1)
        except (KeyError, ValueError, TypeError):
            return None
        return {key: text for key, text in known.items() if key not in ("grid", "grid_at")} if old else None

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answer is about one place."""
        return [body]

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read one grid cell. Raises FeedUnusable.

        Each interval of the rain layer is one rain period, spread evenly over its hours; its chance is the highest that
        the probability layer gives one of its hours. After the last interval, earlier than that of other layers, the
        rain is unknown.
        """
        answer = reading.decode(body)
        properties = reading.part(answer, "properties")
        issued = reading.instant(properties.get("updateTime"), "updateTime")
        reading.check_issue(issued, received)
        _check_cell(answer, (latitude, longitude))
        layers = {name: _layer(properties, name, kind) for name, (_, kind) in _LAYERS.items()}
        rain = _layer(properties, _RAIN, "depth")
        if not rain and not layers["probabilityOfPrecipitation"]:
            raise FeedUnusable("the answer holds neither rain nor its probability")
        every = [one for layer in (*layers.values(), rain) for one in layer]
        start, end = min(one[0] for one in every), max(one[0] + one[1] * HOUR for one in every)
        _check_span(start, end, issued)
        reading.check_horizon(end, received)
        empty = blank(self.provider, latitude, longitude, issued, start, (end - start) // HOUR)
        for name, (field, _) in _LAYERS.items():
            _hold(getattr(empty, field), start, layers[name])
        _spread(empty, start, rain)
        bounded = [field for field, _ in _LAYERS.values()] + ["rain_mm"]
        reading.within_bounds({name: getattr(empty, name) for name in bounded})
        return empty.with_(received=received, chance_mm=CHANCE_MM, attribution=self.attribution)


def _is_index(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10_000


def _check_point(answer: Any, asked: Place) -> None:
    at = reading.part(answer, "geometry").get("coordinates")
    if not isinstance(at, list) or len(at) < 2:
        raise FeedUnusable("the answer does not say which place it is for")
    reading.check_place(at[1], at[0], asked)


def _check_cell(answer: Any, asked: Place) -> None:
    """The middle of the cell's corners must be near."""
    try:
        ring = reading.part(answer, "geometry")["coordinates"][0]
        corners = [
            (reading.number(p[1], "the latitude", -90, 90), reading.number(p[0], "the longitude", -180, 180))
            for p in ring[:20]
        ]
    except (KeyError, IndexError, TypeError):
        raise FeedUnusable("the answer does not say which place it is for") from None
    if not corners:
        raise FeedUnusable("the answer does not say which place it is for")
    north, east = np.mean(list(dict.fromkeys(corners)), axis=0)  # a ring gives its first corner twice
    reading.check_place(float(north), float(east), asked)


def _layer(properties: reading.Json, name: str, kind: str) -> list[_Interval]:
    """The intervals of a layer in our unit, checked: whole hours, in order, none over another. Empty if absent."""
    layer = properties.get(name)
    if layer is None or layer == {}:
        return []
    values = reading.rows(layer, "values")
    if not values:
        return []
    unit = layer.get("uom")
    factors = _UNITS[kind].get(unit.rpartition(":")[2]) if isinstance(unit, str) else None
    if factors is None:
        raise FeedUnusable(f"the unit of {name} is unknown: {reading.shown(unit)}")
    found: list[_Interval] = []
    for one in values:
        if not isinstance(one, dict):
            raise FeedUnusable(f"{name} holds something else than values")
        start, hours = _interval(one.get("validTime"), name)
        if found and start < found[-1][0] + found[-1][1] * HOUR:
            raise FeedUnusable(f"the intervals of {name} overlap or are not in order")
        raw = reading.number(
            one.get("value"), name, *((0.0, 5000.0) if kind in ("depth", "share") else (-1000.0, 5000.0))
        )
        found.append((start, hours, raw * factors[0] + factors[1]))
    return found


def _interval(text: Any, name: str) -> tuple[datetime, int]:
    """Start and length in hours of an ISO 8601 interval like 2026-05-04T06:00:00+00:00/P1DT6H."""
    begins, _, lasts = text.partition("/") if isinstance(text, str) else ("", "", "")
    start = reading.instant(begins, f"a time of {name}")
    length = _DURATION.fullmatch(lasts)
    days, hours, minutes = (int(part or 0) for part in length.groups()) if length else (0, 0, 0)
    total = days * 24 + hours
    if start.minute or start.second or start.microsecond or minutes or not 0 < total <= reading.MOST_HOURS:
        raise FeedUnusable(f"an interval of {name} is not whole hours: {reading.shown(text)}")
    return start, total


def _check_span(start: datetime, end: datetime, issued: datetime) -> None:
    """A grid whose hours do not belong to its update has been served."""
    if (end - start) // HOUR > reading.MOST_HOURS:
        raise FeedUnusable("the answer spans more hours than any forecast")
    if not -ISSUE_SPAN <= start - issued <= ISSUE_SPAN:
        raise FeedUnusable("the hours of the forecast are not those of its issue time")


def _hold(into: Floats, start: datetime, layer: list[_Interval]) -> None:
    for begins, hours, value in layer:
        at = (begins - start) // HOUR
        into[at : at + hours] = value


def _spread(into: Forecast, start: datetime, layer: list[_Interval]) -> None:
    for begins, hours, value in layer:
        at = (begins - start) // HOUR
        period = slice(at, at + hours)
        into.rain_mm[period] = value / hours
        into.period_start[period] = at
        into.chance[period] = into.chance[period].max()  # NaN if one of its hours has none
