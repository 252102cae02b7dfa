"""Sunrise and sunset of a place, as masks over UTC hours. Sun times come from the `astral` library."""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

import numpy as np
from astral import Observer
from astral.sun import elevation, sunrise, sunset
from numpy.typing import NDArray

Bools = NDArray[np.bool_]


def sun_times(latitude: float, longitude: float, day: date) -> tuple[datetime, datetime] | None:
    """Sunrise and sunset (UTC) of the solar day that belongs to `day` at the place; None where the sun does not cross
    the horizon that day.

    `day` is a UTC date. Far from Greenwich astral gives the sunset of the neighbouring UTC date: it is moved so that it
    follows the sunrise.
    """
    observer = Observer(latitude, longitude)
    try:
        rise = sunrise(observer, day, tzinfo=UTC)
        fall = sunset(observer, day, tzinfo=UTC)
        if fall < rise:
            fall = sunset(observer, day + timedelta(days=1), tzinfo=UTC)
    except ValueError:
        return None
    return rise, fall


@lru_cache(maxsize=1024)
def spells(latitude: float, longitude: float, start: datetime, hours: int) -> tuple[tuple[datetime, datetime], ...]:
    """All daylight spells [sunrise, sunset) that touch the hours from `start` (UTC)."""
    found: list[tuple[datetime, datetime]] = []
    day = start.date() - timedelta(days=1)
    last = (start + timedelta(hours=hours)).date() + timedelta(days=1)
    while day <= last:
        times = sun_times(latitude, longitude, day)
        if times is not None:
            found.append(times)
        else:
            noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(hours=longitude / 15.0)
            if elevation(Observer(latitude, longitude), noon) > 0:  # midnight sun: the whole solar day is light
                found.append((noon - timedelta(hours=12), noon + timedelta(hours=12)))
        day += timedelta(days=1)
    return tuple(found)


def _inside(start: datetime, hours: int, spans: Iterable[tuple[datetime, datetime]]) -> Bools:
    """Which hours lie wholly inside one of the spans."""
    merged: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        low, high = (begin - start).total_seconds() / 3600.0, (end - start).total_seconds() / 3600.0
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    if not merged:
        return np.zeros(hours, dtype=bool)
    lows, highs = np.array(merged).T
    offset = np.arange(hours)
    last = np.searchsorted(lows, offset, side="right") - 1  # the span that began last
    return np.asarray((last >= 0) & (offset + 1 <= highs[last]))


def daylight(latitude: float, longitude: float, start: datetime, hours: int) -> Bools:
    """Which of the hours from `start` lie wholly between sunrise and sunset."""
    return _inside(start, hours, spells(latitude, longitude, start, hours))


def mixed_air(latitude: float, longitude: float, start: datetime, hours: int) -> Bools:
    """Which hours lie from 1 h after sunrise to 1.5 h before sunset, when the ground keeps the air mixed.

    Outside of them a surface inversion must be expected when it is clear and calm: inversions are present most nights
    from 1-2 h before sundown until about 1 h after sunrise (GRDC spray manual, section 10.8).
    """
    calm = [
        (rise + timedelta(hours=1), fall - timedelta(hours=1.5))
        for rise, fall in spells(latitude, longitude, start, hours)
        if fall - rise > timedelta(hours=2.5)
    ]
    return _inside(start, hours, calm)
