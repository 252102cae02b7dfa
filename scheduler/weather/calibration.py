"""What a place has taught about a feed's chances: a monotone map from the chance said to the frequency that came."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from scheduler.weather.forecast import HOUR, Floats, Forecast, Ints

LEAD_DAYS = 2  # chances are compared with what came for starts up to so many days after the issue


@dataclass(frozen=True)
class Event:
    """What a chance is of and who says it: at least `wet_mm` in `window_h` hours, `lead_day` full days after issue."""

    provider: str
    method: str
    window_h: int
    wet_mm: float
    lead_day: int


@dataclass(frozen=True)
class Said:
    """A chance as it was said at a cell: of `event`, for a start at `start` (UTC), `lead_h` hours after the issue."""

    cell: str
    event: Event
    start: datetime
    chance: float
    lead_h: int


@dataclass(frozen=True)
class Calibrated:
    """The map for one event at one place: knots `x` to `y`, straight lines between, straight on to 0 and to 1 outside.

    `days` and `wet_days` are the mornings it was learned from. ValueError where the knots are not such a map.
    """

    event: Event
    x: tuple[float, ...]
    y: tuple[float, ...]
    days: int
    wet_days: int

    def __post_init__(self) -> None:
        x, y = np.array(self.x), np.array(self.y)
        if x.shape != y.shape or x.ndim != 1 or not x.size or not np.isfinite([x, y]).all():
            raise ValueError("a calibration needs as many values as knots, at least one")
        if (np.diff(x) <= 0).any() or (np.diff(y) < 0).any():
            raise ValueError("the knots of a calibration must rise, and its values must not fall")
        if min(x[0], y[0]) < 0 or max(x[-1], y[-1]) > 1:
            raise ValueError("the knots and values of a calibration lie in 0..1")

    def apply(self, chance: Floats) -> Floats:
        """Calibrated chances, any shape; NaN stays NaN."""
        x, y = np.array(self.x), np.array(self.y)
        if x[0] > 0:
            x, y = np.insert(x, 0, 0.0), np.insert(y, 0, 0.0)
        if x[-1] < 1:
            x, y = np.append(x, 1.0), np.append(y, 1.0)
        return np.asarray(np.where(np.isnan(chance), np.nan, np.interp(chance, x, y)), dtype=np.float64)


def lead_days(forecast: Forecast) -> Ints:
    """Full days from the issue to each start hour, (hours,); 0 before the issue."""
    since = (forecast.start - forecast.issued) / HOUR + np.arange(forecast.hours)
    return np.asarray(np.maximum(since, 0.0) // 24, dtype=np.int64)


def calibrated(
    chance: Floats, forecast: Forecast, method: str, window_h: int, wet_mm: float, known: Iterable[Calibrated]
) -> tuple[Floats, Ints]:
    """The chances (hours,) as the place has taught, and the days behind each, 0 where the chance is as the feed says.

    Of `known` those count that are of this feed, method, window and amount. A chance that is not known stays so.
    """
    own = {fit.event: fit for fit in known}
    told, days = chance, np.zeros(forecast.hours, dtype=np.int64)
    if not own:
        return told, days
    lead = lead_days(forecast)
    for day in range(LEAD_DAYS):
        fit = own.get(Event(forecast.provider, method, window_h, wet_mm, day))
        if fit is None:
            continue
        here = (lead == day) & ~np.isnan(chance)
        told = np.where(here, fit.apply(chance), told)
        days = np.where(here, fit.days, days)
    return told, days
