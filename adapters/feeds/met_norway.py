"""MET Norway locationforecast/2.0: hour by hour for about two days, then in steps of 6 h.

Source: api.met.no/doc/locationforecast and its data model.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from adapters.feeds import reading
from adapters.feeds.asking import Asking, Endpoint, Place, cut
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import HOUR, Floats, Forecast, blank

CHANCE_MM = 0.1  # from memory: the least amount that the feed counts as precipitation
BLOCK_H = 6
_ROUNDING_MM = 1e-6

# name -> field. Values at the stamp; the gust is "for period" and taken for the hour that begins there.
_INSTANT = {
    "air_temperature": "temperature_c",
    "relative_humidity": "humidity_pct",
    "dew_point_temperature": "dew_point_c",
    "wind_speed": "wind_m_s",
    "wind_speed_of_gust": "gust_m_s",
    "cloud_area_fraction": "cloud_pct",
}
_UNITS = {
    "air_temperature": "celsius",
    "relative_humidity": "%",
    "dew_point_temperature": "celsius",
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
    "precipitation_amount_max": "mm",
    "probability_of_precipitation": "%",
}


@dataclass(frozen=True)
class _Rain:
    """Rain of one period: sum [mm], likely most [mm], probability 0..1; NaN where not given."""

    amount: float
    most: float
    chance: float


@dataclass(frozen=True)
class _Step:
    """One stamp `at` (hours after the first): its instant values by field, and the rain of the periods it begins."""

    at: int
    values: dict[str, float]
    one: _Rain | None
    six: _Rain | None


class MetNorway:
    """The locationforecast product, `complete` (`compact` is read too; it lacks probabilities)."""

    provider = "met-norway"
    attribution = "Based on data from MET Norway (https://www.met.no/), CC BY 4.0"
    at_once = 1
    pause_s = free_pause_s = 0.1  # terms: 20 requests a second over all installations of a program
    keep_least, keep_unstated = timedelta(minutes=5), timedelta(minutes=30)

    def requests(
        self, places: Sequence[Place], *, endpoint: Endpoint, now: datetime, known: Mapping[str, str]
    ) -> list[Asking]:
        """One request for each place, as the service allows no more."""
        return [Asking(endpoint.url, endpoint.params({"lat": cut(p[0]), "lon": cut(p[1])}), (p,)) for p in places]

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answer is about one place."""
        return [body]

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read one answer. Raises FeedUnusable.

        `rain_high_mm` is the larger of the feed's own likely maximum and of the hour's rain plus its sixth of what a
        rolling `next_6_hours` exceeds the sum of its six hours by: near the border of two models the feed contradicts
        itself, and the larger amount must be seen by whoever asks whether it stays dry. NaN where there is neither.
        """
        answer = reading.decode(body)
        properties = reading.part(answer, "properties")
        meta = reading.part(properties, "meta")
        issued = reading.instant(meta.get("updated_at"), "updated_at")
        reading.check_issue(issued, received)
        _check_place(answer, (latitude, longitude))
        start, steps = _steps(reading.rows(properties, "timeseries"), reading.part(meta, "units"))
        border = _border(steps)
        hours = max(steps[-1].at + 1, *(s.at + BLOCK_H for s in steps[border:] if s.six), 1)
        empty = blank(self.provider, latitude, longitude, issued, start, hours)
        _fill_hours(empty, steps[:border])
        _fill_blocks(empty, steps[border:])
        reading.within_bounds({name: getattr(empty, name) for name in (*_INSTANT.values(), "rain_mm", "rain_high_mm")})
        reading.check_horizon(empty.end, received)
        return empty.with_(received=received, chance_mm=CHANCE_MM, attribution=self.attribution)


def _check_place(answer: Any, asked: Place) -> None:
    at = reading.part(answer, "geometry").get("coordinates")
    if not isinstance(at, list) or len(at) < 2:
        raise FeedUnusable("the answer does not say which place it is for")
    reading.check_place(at[1], at[0], asked)


def _steps(series: list[Any], units: reading.Json) -> tuple[datetime, list[_Step]]:
    """Start of the first step, and every step with its checked numbers."""
    given = [one if isinstance(one, dict) else {} for one in series]
    stamps = reading.hour_stamps(reading.instant(one.get("time"), "a time") for one in given)
    steps = []
    for when, one in zip(stamps, given, strict=True):
        data = reading.part(one, "data")
        details = reading.part(reading.part(data, "instant"), "details")
        values = {field: _number(details, name, units) for name, field in _INSTANT.items()}
        one_hour, six_hours = _rain(data, "next_1_hours", units), _rain(data, "next_6_hours", units)
        steps.append(_Step((when - stamps[0]) // HOUR, values, one_hour, six_hours))
    if not any(step.one or step.six for step in steps):
        raise FeedUnusable("the answer holds no rain")
    return stamps[0], steps


def _rain(data: reading.Json, period: str, units: reading.Json) -> _Rain | None:
    """The rain of a period; None where neither its amount nor its probability is given."""
    if period not in data:
        return None
    details = reading.part(data, period).get("details", {})
    if not isinstance(details, dict):
        raise FeedUnusable(f"{period} holds no details")
    amount = _number(details, "precipitation_amount", units)
    most = _number(details, "precipitation_amount_max", units)
    chance = _number(details, "probability_of_precipitation", units) / 100.0
    if np.isnan(amount) and np.isnan(chance):
        return None
    return _Rain(amount, most, chance)


def _number(details: reading.Json, name: str, units: reading.Json) -> float:
    if name not in details:
        return np.nan
    if units.get(name) != _UNITS[name]:
        raise FeedUnusable(f"the unit of {name} is unknown: {reading.shown(units.get(name))}")
    low, high = (0.0, 100.0) if name == "probability_of_precipitation" else (-1000.0, 3000.0)
    value = reading.number(details[name], name, low, high)
    if name.startswith("precipitation") and value < 0.0:
        raise FeedUnusable(f"{name} cannot be weather: {value:g}")
    return value


def _border(steps: list[_Step]) -> int:
    """Index of the first step of the six-hourly part: the step after the last one with an hour's rain."""
    return max((i + 1 for i, step in enumerate(steps) if step.one), default=0)


def _fill_hours(into: Forecast, steps: list[_Step]) -> None:
    """The hourly part. A step that lacks its hour, and an hour that lacks its step, stay unknown."""
    for step in steps:
        for field, value in step.values.items():
            getattr(into, field)[step.at] = value
        if step.one:
            into.rain_mm[step.at] = step.one.amount
            into.rain_high_mm[step.at] = np.fmax(step.one.most, step.one.amount) if step.one.most >= 0 else np.nan
            into.chance[step.at] = step.one.chance
    for step in steps:
        if step.six:
            _raise_high(into, step.at, step.six.amount)


def _raise_high(into: Forecast, at: int, six_mm: float) -> None:
    """Let a rolling six-hour sum that is larger than its hours show up in their upper bound."""
    window = slice(at, at + BLOCK_H)
    excess = six_mm - into.rain_mm[window].sum()  # NaN if an hour is unknown: no bound can be given
    if excess > _ROUNDING_MM and len(into.rain_mm[window]) == BLOCK_H:
        into.rain_high_mm[window] = np.fmax(into.rain_high_mm[window], into.rain_mm[window] + excess / BLOCK_H)


def _fill_blocks(into: Forecast, steps: list[_Step]) -> None:
    """The six-hourly part: one rain period each; instant values run straight between stamps at most 6 h apart."""
    following: list[_Step | None] = [*steps[1:], None]
    for step, after in zip(steps, following, strict=False):
        for field, value in step.values.items():
            getattr(into, field)[step.at] = value
            if after and after.at - step.at <= BLOCK_H:
                _join(getattr(into, field), step.at, after.at, value, after.values[field])
        if step.six:
            if after and after.at < step.at + BLOCK_H and after.six:
                raise FeedUnusable("the six-hour periods of rain overlap")
            hours = slice(step.at, step.at + BLOCK_H)
            into.rain_mm[hours] = step.six.amount / BLOCK_H
            if step.six.most >= 0:
                into.rain_high_mm[hours] = np.fmax(step.six.most, step.six.amount) / BLOCK_H
            into.chance[hours] = step.six.chance
            into.period_start[hours] = step.at


def _join(values: Floats, first: int, last: int, a: float, b: float) -> None:
    values[first:last] = a + (b - a) * np.arange(last - first) / (last - first)
