"""The one normal form of a forecast: UTC hours in arrays, missing as NaN.

Index t covers the half-open hour [start + t h, start + (t+1) h). Instantaneous fields hold the value at the hour's
start. A feed that sums the preceding hour is shifted once, in its adapter, and never again.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

HOUR = timedelta(hours=1)

# name -> (unit, lowest, highest value that can be weather). Outside of it an answer is refused as a whole.
# Bounds are the world records of the WMO World Weather & Climate Extremes Archive, rounded outward (from memory).
FIELDS: dict[str, tuple[str, float, float]] = {
    "temperature_c": ("degree Celsius at 2 m", -95.0, 65.0),
    "humidity_pct": ("% relative humidity at 2 m", 0.0, 105.0),
    "dew_point_c": ("degree Celsius at 2 m", -110.0, 40.0),
    "wind_m_s": ("m/s mean at 10 m", 0.0, 120.0),
    "gust_m_s": ("m/s highest of the hour at 10 m", 0.0, 150.0),
    "cloud_pct": ("% of sky", 0.0, 105.0),
    "rain_mm": ("mm in the hour", 0.0, 410.0),
    "rain_high_mm": ("mm in the hour, upper likely bound where the feed gives one", 0.0, 410.0),
    "chance": ("probability 0..1 that the hour's rain period is wet", 0.0, 1.0),
    "soil_temperature_c": ("degree Celsius near 6 cm", -60.0, 80.0),
    "et0_mm": ("mm in the hour", 0.0, 5.0),
}


@dataclass(frozen=True)
class Forecast:
    """One forecast of one place.

    Shapes: every array is (hours,), `members_mm` is (members, hours) or None. Units as FIELDS says.
    `period_start[t]` is the index of the first hour of the rain period that hour t belongs to: equal to t where rain is
    given hour by hour; where a feed gives a sum over several hours, all hours of that sum share one start, `rain_mm`
    holds the sum spread evenly and `chance` the probability of the whole period. `chance_mm` is the amount from which
    the feed calls a period wet.
    """

    provider: str
    latitude: float
    longitude: float
    issued: datetime  # when the model run or text was issued; where a feed does not say, when it was received
    received: datetime
    start: datetime
    temperature_c: Floats
    humidity_pct: Floats
    dew_point_c: Floats
    wind_m_s: Floats
    gust_m_s: Floats
    cloud_pct: Floats
    rain_mm: Floats
    rain_high_mm: Floats
    chance: Floats
    soil_temperature_c: Floats
    et0_mm: Floats
    period_start: Ints
    chance_mm: float = 0.1
    members_mm: Floats | None = None
    attribution: str = ""
    issue_stated: bool = True
    notes: tuple[str, ...] = field(default=())
    observed_until: datetime | None = None  # hours ended by then were measured
    past_until: datetime | None = None  # hours ended by then are the feed's own account of the past, corrected since

    @property
    def hours(self) -> int:
        """Number of hours."""
        return len(self.rain_mm)

    @property
    def end(self) -> datetime:
        """First instant after the last hour."""
        return self.start + self.hours * HOUR

    def index(self, when: datetime) -> int:
        """Index of the hour that holds `when` (may lie outside 0..hours-1)."""
        return (when - self.start) // HOUR

    def times(self) -> list[datetime]:
        """The hour starts, aware UTC."""
        return [self.start + t * HOUR for t in range(self.hours)]

    def with_(self, **changes: Any) -> "Forecast":
        """A copy with some fields changed."""
        return replace(self, **changes)


def blank(provider: str, latitude: float, longitude: float, issued: datetime, start: datetime, hours: int) -> Forecast:
    """A forecast of `hours` hours from `start` (floored to the UTC hour) in which everything is missing.

    Adapters fill a copy of it, so that a variable which a feed lacks is NaN and nothing else.
    """
    first = start.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    nan: dict[str, Any] = {name: np.full(hours, np.nan) for name in FIELDS}
    return Forecast(
        provider=provider,
        latitude=latitude,
        longitude=longitude,
        issued=issued,
        received=issued,
        start=first,
        period_start=np.arange(hours, dtype=np.int64),
        **nan,
    )
