"""Weather of the German weather service (DWD) by way of Bright Sky: one list of hours, observed and forecast.

Source: brightsky.dev/docs, /weather.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from adapters.feeds import reading
from adapters.feeds.asking import Asking, Endpoint, Place, cut
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import HOUR, Forecast, blank
from scheduler.weather.physics import vapour_pressure_kpa

CHANCE_MM = 0.1  # precipitation_probability: more than 0.1 mm in the hour (docs)
CHANCE_6H_MM = 0.2  # precipitation_probability_6h: more than 0.2 mm in six hours (docs)
PAST, AHEAD = timedelta(days=2), timedelta(days=10)
MOST_AWAY_M = int(reading.NEAR_KM * 1000)

# name -> (field, factor from units=dwd, hours before the stamp). Docs: wind too is of the previous hour.
_FIELDS = {
    "temperature": ("temperature_c", 1.0, 0),
    "relative_humidity": ("humidity_pct", 1.0, 0),
    "dew_point": ("dew_point_c", 1.0, 0),
    "cloud_cover": ("cloud_pct", 1.0, 0),
    "wind_speed": ("wind_m_s", 1 / 3.6, 1),
    "wind_gust_speed": ("gust_m_s", 1 / 3.6, 1),
    "precipitation": ("rain_mm", 1.0, 1),
    "precipitation_probability": ("chance", 0.01, 1),
}


class BrightSky:
    """The /weather product: observations up to now, then the MOSMIX forecast of the nearest station."""

    provider = "bright-sky"
    attribution = "Source: Deutscher Wetterdienst (https://www.dwd.de/), CC BY 4.0, by way of brightsky.dev"
    at_once = 1
    pause_s = free_pause_s = 0.2
    keep_least = keep_unstated = timedelta(minutes=55)

    def requests(
        self, places: Sequence[Place], *, endpoint: Endpoint, now: datetime, known: Mapping[str, str]
    ) -> list[Asking]:
        """One request for each place, in whole UTC hours and the units of the DWD."""
        hour = now.replace(minute=0, second=0, microsecond=0)
        own = {
            "date": f"{hour - PAST:%Y-%m-%dT%H:%M}Z",
            "last_date": f"{hour + AHEAD:%Y-%m-%dT%H:%M}Z",
            "units": "dwd",
            "tz": "Etc/UTC",
            "max_dist": str(MOST_AWAY_M),
        }
        return [
            Asking(endpoint.url, endpoint.params({"lat": cut(p[0]), "lon": cut(p[1]), **own}), (p,)) for p in places
        ]

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answer is about one place."""
        return [body]

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read one answer. Raises FeedUnusable.

        The service states neither units nor an issue time: the units are taken for those asked for (km/h, Celsius), and
        `issued` is the receipt. A missing humidity is computed from temperature and dew point (FAO-56 eq. 10 and 11).
        """
        answer = reading.decode(body)
        records = [one if isinstance(one, dict) else {} for one in reading.rows(answer, "weather")]
        stamps = reading.hour_stamps(reading.instant(one.get("timestamp"), "a timestamp") for one in records)
        observed_until, notes = _sources(answer, records, stamps, (latitude, longitude))
        start = stamps[0] - HOUR
        at = np.array([(t - start) // HOUR for t in stamps])
        empty = blank(self.provider, latitude, longitude, received, start, int(at[-1]) + 1)
        for name, (field, factor, before) in _FIELDS.items():
            getattr(empty, field)[at - before] = factor * _column(records, name)
        six = _column(records, "precipitation_probability_6h") / 100.0
        if not (np.isfinite(empty.rain_mm).any() or np.isfinite(empty.chance).any() or np.isfinite(six).any()):
            raise FeedUnusable("the answer holds neither rain nor its probability")
        chance_mm = CHANCE_MM if np.isfinite(empty.chance).any() else CHANCE_6H_MM
        for when, chance in zip(at, six, strict=True):
            _six_hours(empty, int(when), float(chance))
        reading.within_bounds({field: getattr(empty, field) for field, _, _ in _FIELDS.values()})
        _fill_humidity(empty)
        reading.check_horizon(empty.end, received)
        return empty.with_(
            chance_mm=chance_mm,
            attribution=self.attribution,
            issue_stated=False,
            notes=notes,
            observed_until=observed_until,
        )


def _column(records: list[reading.Json], name: str) -> Any:
    low, high = (0.0, 100.0) if "probability" in name else (-1000.0, 1000.0)
    return np.array([reading.number(one.get(name), name, low, high) for one in records], dtype=np.float64)


def _six_hours(into: Forecast, at: int, chance: float) -> None:
    """Where only the chance of six hours is given, they are one rain period: their rain is evenly theirs."""
    hours = slice(at - 6, at)
    if at < 6 or np.isnan(chance) or np.isfinite(into.chance[hours]).any():
        return
    into.chance[hours] = chance
    into.rain_mm[hours] = into.rain_mm[hours].mean()
    into.period_start[hours] = at - 6


def _fill_humidity(into: Forecast) -> None:
    known = vapour_pressure_kpa(into.dew_point_c) / vapour_pressure_kpa(into.temperature_c)
    missing = np.isnan(into.humidity_pct)
    into.humidity_pct[missing] = np.minimum(100.0, 100.0 * known[missing])


def _sources(
    answer: Any, records: list[reading.Json], stamps: list[datetime], asked: Place
) -> tuple[datetime | None, tuple[str, ...]]:
    """Up to when the hours are observed, and notes on both; the station of the forecast must be near."""
    sources = {_ident(one.get("id") if isinstance(one, dict) else None): one for one in reading.rows(answer, "sources")}
    used = [sources.get(_ident(record.get("source_id"))) for record in records]
    if any(source is None for source in used):
        raise FeedUnusable("an hour has no source")
    stations = {_ident(source["id"]): source for source in used if source and _is_forecast(source)}
    if not stations:
        raise FeedUnusable("the answer holds no forecast, only observations")
    for station in stations.values():
        reading.check_place(station.get("lat"), station.get("lon"), asked)
    away = max(reading.distance_km((one["lat"], one["lon"]), asked) for one in stations.values())
    until = _observed_until(stamps, used)
    said = (f"observed up to {until:%Y-%m-%d %H:%M} UTC",) if until else ()
    return until, (*said, f"forecast of a station {away:.0f} km away")


def _observed_until(stamps: list[datetime], used: list[Any]) -> datetime | None:
    """The last stamp before the first hour that is forecast; None where the list begins with a forecast."""
    first = next(i for i, source in enumerate(used) if _is_forecast(source))
    return stamps[first - 1] if first else None


def _ident(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise FeedUnusable("a source has no number")
    return value


def _is_forecast(source: Any) -> bool:
    return isinstance(source, dict) and source.get("observation_type") == "forecast"
