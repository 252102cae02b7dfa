"""One forecast, and what more than one product class asks of it, worked out once."""

from datetime import datetime, timedelta
from functools import cached_property, lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from config.models import Hours
from scheduler.decide.row import Bools
from scheduler.weather import chance, sun, surface
from scheduler.weather.forecast import Floats, Forecast, Ints
from scheduler.weather.physics import delta_t_c

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class LocalHours(NamedTuple):
    """The wall time at which each hour starts: date as an ordinal, Monday as 0, minutes since midnight."""

    day: Ints
    weekday: Ints
    minute: Ints


@lru_cache(maxsize=64)
def local_hours(start: datetime, hours: int, zone: str) -> LocalHours:
    """The wall times of `hours` hours from `start`, (hours,) each. Forecasts of one round share them: do not write."""
    tz = ZoneInfo(zone)
    local = [(start + t * timedelta(hours=1)).astimezone(tz) for t in range(hours)]
    day = np.array([when.toordinal() for when in local], dtype=np.int64)
    minute = np.array([when.hour * 60 + when.minute for when in local], dtype=np.int64)
    made = LocalHours(day, (day - 1) % 7, minute)  # ordinal 1 was a Monday
    for array in made:
        array.flags.writeable = False
    return made


@lru_cache(maxsize=64)
def working_hours(start: datetime, hours: int, zone: str, work: Hours) -> Bools:
    """Which hours lie wholly inside the working hours, (hours,); shared like `local_hours`."""
    begin = work.start.hour * 60 + work.start.minute
    end = work.end.hour * 60 + work.end.minute
    local = local_hours(start, hours, zone)
    on_day = np.isin(local.weekday, [WEEKDAYS.index(day) for day in work.days])
    inside = np.asarray(on_day & (local.minute >= begin) & (local.minute + 60 <= end))
    inside.flags.writeable = False
    return inside


class Sky:
    """A forecast with its derived hours, (hours,) each; made when first asked for."""

    def __init__(self, forecast: Forecast) -> None:
        self.forecast = forecast
        self._band: dict[tuple[float, ...], tuple[Floats, Floats, Floats]] = {}

    @cached_property
    def daylight(self) -> Bools:
        """Wholly between sunrise and sunset."""
        f = self.forecast
        return sun.daylight(f.latitude, f.longitude, f.start, f.hours)

    @cached_property
    def mixed_air(self) -> Bools:
        """No surface inversion: see `sun.mixed_air`."""
        f = self.forecast
        return sun.mixed_air(f.latitude, f.longitude, f.start, f.hours)

    @cached_property
    def leaf_wetness(self) -> tuple[Floats, Floats]:
        """Wet, and at least damp: see `surface.leaf_wetness`."""
        return surface.leaf_wetness(self.forecast)

    @cached_property
    def frozen_hours(self) -> Floats:
        """Of the 24 before."""
        return surface.frozen_hours(self.forecast)

    @cached_property
    def rain_before_mm(self) -> Floats:
        """In the 24 hours before."""
        return surface.rain_before_mm(self.forecast)

    @cached_property
    def coldest_c(self) -> Floats:
        """Lowest temperature of the next 24 hours; NaN where they are not all there."""
        values = self.forecast.temperature_c
        out = np.full(len(values), np.nan)
        if len(values) >= 24:
            out[:-23] = np.lib.stride_tricks.sliding_window_view(values, 24).min(axis=1)
        return out

    @cached_property
    def delta_t_c(self) -> Floats:
        """Delta T [K]."""
        return delta_t_c(self.forecast.temperature_c, self.forecast.humidity_pct)

    @cached_property
    def members(self) -> tuple[Floats, Floats | None, Floats]:
        """Members (members, hours), their weights, and the share of doubt (hours,) that goes to the climate."""
        f = self.forecast
        if f.members_mm is not None:
            return f.members_mm, None, np.zeros(f.hours)
        age_h = (f.start - f.issued).total_seconds() / 3600.0
        lead_h = np.maximum(0.0, age_h + np.arange(f.hours))
        return chance.members_from_run(f.rain_mm, lead_h)

    def band(self, hours: int, *limits_mm: float) -> tuple[Floats, Floats, Floats]:
        """`chance.band_chance` of the members: `limits_mm` are low, high, heaviest hour, heaviest 24 hours."""
        key = (hours, *limits_mm)
        if key not in self._band:
            members, weights, _ = self.members
            self._band[key] = chance.band_chance(members, weights, hours, *limits_mm)
        return self._band[key]
