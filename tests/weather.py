"""Invented weather for tests: whole days of hourly values in the forecast's normal form."""

from datetime import datetime
from typing import Any

import numpy as np

from scheduler.weather.forecast import Forecast, blank


def mild(start: datetime, hours: int = 216, **changes: Any) -> Forecast:
    """A calm dry spell at 51.48 N: 12 C, 65 % humidity, 2.5 m/s, no rain, probability 2 %.

    `changes`: arrays (or numbers for all hours) by field name; `rain={hour: mm}` and `chance_at={hour: p}` set single
    hours counted from `start`.
    """
    rain_at = changes.pop("rain", {})
    chance_at = changes.pop("chance_at", {})
    place = {"latitude": changes.pop("latitude", 51.48), "longitude": changes.pop("longitude", -0.62)}
    base = blank("met-norway", **place, issued=start, start=start, hours=hours)
    plain = {
        "temperature_c": 12.0, "humidity_pct": 65.0, "dew_point_c": 5.6, "wind_m_s": 2.5, "gust_m_s": 4.0,
        "cloud_pct": 60.0, "rain_mm": 0.0, "chance": 0.02,
    }  # fmt: skip
    scalars = {name: value for name, value in changes.items() if name in plain or name.startswith("rain_high")}
    fields: dict[str, Any] = {name: np.full(hours, value, dtype=float) for name, value in (plain | scalars).items()
                              if np.ndim(value) == 0}  # fmt: skip
    fields |= {name: value for name, value in changes.items() if name not in fields}
    for hour, mm in rain_at.items():
        fields["rain_mm"][hour] = mm
    for hour, share in chance_at.items():
        fields["chance"][hour] = share
    return base.with_(**fields)
