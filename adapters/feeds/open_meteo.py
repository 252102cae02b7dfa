"""Open-Meteo /v1/forecast (open-meteo.com/en/docs): hosted, paid or self-hosted, one or many places per answer."""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from adapters.feeds import reading
from adapters.feeds.asking import Asking, Endpoint, Place, cut
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import HOUR, Floats, Forecast, Ints, blank

AT_ONCE = 200
PAST_DAYS, DAYS = 2, 10  # with ten variables a place still weighs one call (terms of open-meteo.com)
CHANCE_MM = 0.1  # probability: "more than 0.1 mm of the preceding hour" (docs)

# name -> (field, kind of unit, hours its value lies before the stamp). Docs: sums and gusts are of the preceding hour.
_VARIABLES = {
    "temperature_2m": ("temperature_c", "temperature", 0),
    "relative_humidity_2m": ("humidity_pct", "percent", 0),
    "dew_point_2m": ("dew_point_c", "temperature", 0),
    "precipitation": ("rain_mm", "depth", 1),
    "precipitation_probability": ("chance", "share", 1),
    "wind_speed_10m": ("wind_m_s", "speed", 0),
    "wind_gusts_10m": ("gust_m_s", "speed", 1),
    "cloud_cover": ("cloud_pct", "percent", 0),
    "soil_temperature_6cm": ("soil_temperature_c", "temperature", 0),
    "et0_fao_evapotranspiration": ("et0_mm", "depth", 1),
}
# unit text -> (factor, offset) into ours. The texts are those of the Open-Meteo SDK; any other refuses the answer.
_UNITS = {
    "temperature": {"°C": (1.0, 0.0), "°F": (5.0 / 9.0, -160.0 / 9.0)},
    "percent": {"%": (1.0, 0.0)},
    "share": {"%": (0.01, 0.0)},
    "speed": {"m/s": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "mp/h": (0.44704, 0.0), "kn": (1852 / 3600, 0.0)},
    "depth": {"mm": (1.0, 0.0), "inch": (25.4, 0.0)},
}
_LATEST_S = 32503680000.0  # the year 3000
_RAW = 1e6  # no raw number of any unit is larger; the true bounds are judged after conversion


class OpenMeteo:
    """The forecast product."""

    provider = "open-meteo"
    attribution = "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0, processed"
    at_once = AT_ONCE
    pause_s = 1.0  # one request at a time, and not in a row
    free_pause_s = 21.0  # 600 calls a minute (terms of open-meteo.com): three times 200 places
    keep_least = keep_unstated = timedelta(minutes=55)  # models run every 1 to 6 hours; there is no Expires

    def requests(
        self, places: Sequence[Place], *, endpoint: Endpoint, now: datetime, known: Mapping[str, str]
    ) -> list[Asking]:
        """One request for each 200 places: whole UTC hours, SI units, ten variables."""
        own = {
            "hourly": ",".join(_VARIABLES),
            "timezone": "GMT",
            "timeformat": "unixtime",
            "temperature_unit": "celsius",
            "wind_speed_unit": "ms",
            "precipitation_unit": "mm",
            "past_days": str(PAST_DAYS),
            "forecast_days": str(DAYS),
        }
        return [ask(places[i : i + AT_ONCE], own, endpoint) for i in range(0, len(places), AT_ONCE)]

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answers of `count` places, in the order asked, each as an answer of its own. Raises FeedUnusable."""
        return split(body, count)

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read one answer; of a list of places the nearest. Raises FeedUnusable.

        The service states no issue time: `issued` is the receipt. An answer with a clock of its own (`current`) is no
        younger than that clock says.
        """
        answer = nearest(reading.decode(body), (latitude, longitude))
        received = min(received, _own_clock(answer, received))
        start, at = hours_of(answer)
        columns, notes = _columns(answer)
        empty = blank(self.provider, latitude, longitude, received, start, int(at[-1]) + 1)
        arrays = {}
        for name, values in columns.items():
            field, _, before = _VARIABLES[name]
            arrays[field] = getattr(empty, field)
            arrays[field][at - before] = values
        reading.within_bounds(arrays)
        reading.check_horizon(empty.end, received)
        return empty.with_(
            chance_mm=CHANCE_MM,
            attribution=self.attribution,
            issue_stated=False,
            notes=notes,
            received=received,
            past_until=received,
        )


def ask(places: Sequence[Place], own: dict[str, str], endpoint: Endpoint) -> Asking:
    """One request for several places."""
    where = {"latitude": ",".join(cut(p[0]) for p in places), "longitude": ",".join(cut(p[1]) for p in places)}
    return Asking(endpoint.url, endpoint.params(where | own), tuple(places))


def split(body: bytes, count: int) -> list[bytes]:
    """The answers of `count` places as bytes each; one place comes as an object, several as a list in request order."""
    if count == 1:
        return [body]
    answers = reading.objects_in(body)
    if len(answers) != count:
        raise FeedUnusable("the answer does not hold one forecast for each place asked")
    return answers


def nearest(answer: Any, asked: Place) -> reading.Json:
    """The object of the place nearest to `asked`. FeedUnusable if none is near, or the service reports an error."""
    every = [one for one in (answer if isinstance(answer, list) else [answer]) if isinstance(one, dict)]
    if not every:
        raise FeedUnusable("the answer is not a forecast")
    if any(one.get("error") for one in every):
        reason = next(one.get("reason") for one in every if one.get("error"))
        raise FeedUnusable(f"the feed reports an error: {reading.shown(reason)}")
    best = every[0]
    if len(every) > 1:
        best = min(every, key=lambda one: reading.distance_km(_place(one), asked))
    reading.check_place(best.get("latitude"), best.get("longitude"), asked)
    return best


def _place(answer: reading.Json) -> Place:
    north = reading.number(answer.get("latitude"), "the latitude", -90.0, 90.0)
    east = reading.number(answer.get("longitude"), "the longitude", -180.0, 360.0)
    if np.isnan(north) or np.isnan(east):
        raise FeedUnusable("the answer does not say which place it is for")
    return north, east


def hours_of(answer: reading.Json) -> tuple[datetime, Ints]:
    """The hour before the first stamp of the hourly section (UTC), and how many hours each stamp lies after it."""
    unit = reading.part(answer, "hourly_units").get("time")
    times, offset = reading.rows(reading.part(answer, "hourly"), "time"), _offset(answer)
    if unit == "unixtime" and times:
        hours = reading.numbers(times, "a time", 0.0, _LATEST_S) / 3600.0
        if (
            np.array_equal(hours, np.floor(hours))
            and (np.diff(hours) > 0).all()
            and np.ptp(hours) <= reading.MOST_HOURS
        ):
            first = datetime.fromtimestamp(hours[0] * 3600.0, UTC)
            return first - HOUR, (hours - hours[0]).astype(np.int64) + 1
    stamps = reading.hour_stamps(_instant(t, unit, offset) for t in times)
    start = stamps[0] - HOUR
    return start, np.array([(t - start) // HOUR for t in stamps], dtype=np.int64)


def _offset(answer: reading.Json) -> timedelta:
    seconds = reading.number(answer.get("utc_offset_seconds", 0), "utc_offset_seconds", -57600.0, 57600.0)
    if np.isnan(seconds):
        raise FeedUnusable("utc_offset_seconds is not given")
    return timedelta(seconds=seconds)


def _instant(value: Any, unit: Any, offset: timedelta) -> datetime:
    """unixtime counts UTC seconds. iso8601 is wall time at one fixed offset, whatever the zone does that day."""
    if unit == "unixtime":
        seconds = reading.number(value, "a time", 0.0, _LATEST_S)
        if np.isnan(seconds):
            raise FeedUnusable("a time is not given")
        return datetime.fromtimestamp(seconds, UTC)
    if unit != "iso8601":
        raise FeedUnusable(f"the unit of the times is unknown: {reading.shown(unit)}")
    try:
        naive = datetime.fromisoformat(value)
        if naive.utcoffset() is not None:
            raise ValueError
        return naive.replace(tzinfo=UTC) - offset
    except (TypeError, ValueError, OverflowError):
        raise FeedUnusable(f"a time cannot be read: {reading.shown(value)}") from None


def _own_clock(answer: reading.Json, received: datetime) -> datetime:
    if "current" not in answer:
        return received
    unit = reading.part(answer, "current_units").get("time")
    said = _instant(reading.part(answer, "current").get("time"), unit, _offset(answer))
    reading.check_issue(said, received)
    return said


def _columns(answer: reading.Json) -> tuple[dict[str, Floats], tuple[str, ...]]:
    """name -> values at the stamps in our units, and notes. One model only is read, never a mixture."""
    hourly, units = reading.part(answer, "hourly"), reading.part(answer, "hourly_units")
    suffix = model_suffix(hourly, ("precipitation", "precipitation_probability"))
    columns = {}
    for name, (_, kind, _) in _VARIABLES.items():
        key = name + suffix
        if key in hourly:
            values = column(hourly, key)
            if (
                units.get(key) != "undefined" or np.isfinite(values).any()
            ):  # "undefined": the model has no such variable
                values = _converted(values, kind, units.get(key), key)
            columns[name] = values
    return columns, ((f"model {suffix[1:]}",) if suffix else ())


def model_suffix(hourly: reading.Json, wanted: Sequence[str]) -> str:
    """ "" if one of the variables `wanted` is there under its own name, else the suffix of the first model, "_name"."""
    if any(name in hourly for name in wanted):
        return ""
    for key in hourly:
        for name in sorted(wanted, key=len, reverse=True):
            if key.startswith(name + "_"):
                suffix = key[len(name) :]
                if re.fullmatch(r"(_(?!member\d|previous_day\d|spread|probability|hours|sum|type)[a-z0-9_]+)", suffix):
                    return suffix
                break
    raise FeedUnusable("the answer holds neither rain nor its probability")


def column(hourly: reading.Json, key: str) -> Floats:
    """One variable as it stands, NaN for null. FeedUnusable if it is not as long as the times."""
    values = reading.rows(hourly, key)
    if len(values) != len(hourly["time"]):
        raise FeedUnusable(f"{key} has {len(values)} values for {len(hourly['time'])} times")
    return reading.numbers(values, key, -_RAW, _RAW)


def _converted(values: Floats, kind: str, unit: Any, key: str) -> Floats:
    if not isinstance(unit, str) or unit not in _UNITS[kind]:
        raise FeedUnusable(f"the unit of {key} is unknown: {reading.shown(unit)}")
    factor, offset = _UNITS[kind][unit]
    return np.asarray(values * factor + offset)
