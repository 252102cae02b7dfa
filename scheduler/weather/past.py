"""Rain of the hours that are over, as an answer of a feed tells of them, and how far each figure is to be believed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from scheduler.weather.forecast import HOUR, Floats, Forecast, Ints

# Grades, the best first. A figure of a worse grade never takes the place of a better one.
OBSERVED = 1  # measured
LOOKED_BACK = 2  # the feed's own account of the past, corrected since: analyses and short runs joined
FIRST_HOURS = 3  # the first hours of a run, none of which was corrected
SPREAD = 4  # as 3, and the hour's share of a longer sum: good for sums, not for hours

# A run stands for so many hours: models run every 6 h and are out some hours later (docs of MET Norway's
# locationforecast: four runs a day outside the Nordic area).
RUN_STANDS = timedelta(hours=12)


@dataclass(frozen=True)
class PastRain:
    """Rain in mm of the hours from `start` on, (hours,), and its grade, (hours,); grade 0 where there is nothing."""

    source: str
    start: datetime
    rain_mm: Floats
    grade: Ints


@dataclass(frozen=True)
class PastHour:
    """The rain of one hour that is over: what is kept of it."""

    hour: datetime  # its start, UTC
    rain_mm: float
    source: str  # the feed
    grade: int


def past_rain(forecast: Forecast, now: datetime) -> PastRain:
    """What `forecast` says of the hours before `now`.

    A feed that does not look back gives the first hours of its run, those still to come among them: each run takes the
    place of the one before, and an hour counts once it is over. Hours without a value have grade 0.
    """
    ends = np.arange(1, forecast.hours + 1)  # hours after the start
    grade = np.zeros(forecast.hours, dtype=np.int64)
    if forecast.observed_until is None and forecast.past_until is None and now - forecast.issued <= RUN_STANDS:
        near = np.abs(ends - (now - forecast.start) / HOUR) <= RUN_STANDS / HOUR
        length = np.bincount(forecast.period_start, minlength=forecast.hours)[forecast.period_start]
        grade[near] = np.where(length[near] == 1, FIRST_HOURS, SPREAD)
    for until, kind in ((forecast.past_until, LOOKED_BACK), (forecast.observed_until, OBSERVED)):
        if until is not None:
            grade[ends <= (min(until, now) - forecast.start) / HOUR] = kind
    grade[np.isnan(forecast.rain_mm)] = 0
    return PastRain(forecast.provider, forecast.start, forecast.rain_mm, grade)


def came_wet(hours: Mapping[datetime, PastHour], start: datetime, window_h: int, wet_mm: float) -> bool | None:
    """Whether `wet_mm` or more fell in the window from `start` on; None where too little is known of its hours.

    `hours` by their starts. Shares of longer sums do not count: when in its six hours the rain fell is not known.
    """
    told = [hours.get(start + t * HOUR) for t in range(window_h)]
    known = [hour.rain_mm for hour in told if hour is not None and hour.grade < SPREAD]
    if sum(known) >= wet_mm - 1e-9:
        return True
    return False if len(known) == window_h else None
