"""The chances that a morning's forecasts say, cell by cell, to be compared later with what came."""

from collections.abc import Mapping
from datetime import datetime, timedelta

import numpy as np

from config.models import Estate, Product
from config.resolve import product_limits
from scheduler.decide.rain import wet_window
from scheduler.decide.sky import Sky
from scheduler.values import CellWeather
from scheduler.weather.calibration import LEAD_DAYS, Event, Said, lead_days
from scheduler.weather.cells import cell_of, centre
from scheduler.weather.forecast import HOUR, Forecast

Window = tuple[int, float]  # hours, wet_mm

# Two starts a day, so far apart that most windows do not overlap: one day's hours tell much the same.
STARTS = (8, 14)  # mean solar time
MORNING = (4, 12)


def is_morning(cell: str, now: datetime) -> bool:
    """Whether it is the time of day at which chances are noted: by the sun, so that it is the same all year."""
    return MORNING[0] <= _solar(cell, now).hour < MORNING[1]


def chances_said(estate: Estate, weather: Mapping[str, CellWeather], now: datetime) -> list[Said]:
    """The known chances of a wet window from today's and tomorrow's starts, for each cell of `weather` that is fresh.

    The windows are those of the liquid and combined products that the cell's lawns have in their programmes, whether
    they are due or not. The chances are the feed's own, before any calibration.
    """
    found: list[Said] = []
    for cell, windows in _windows(estate).items():
        at = weather.get(cell)
        if at is None or at.forecast is None or at.state != "fresh":
            continue
        sky = Sky(at.forecast)
        for window in sorted(windows):
            found += _said(cell, sky, window, now)
    return found


def _said(cell: str, sky: Sky, window: Window, now: datetime) -> list[Said]:
    forecast = sky.forecast
    chance, method = wet_window(sky, *window)
    lead = lead_days(forecast)
    return [
        Said(
            cell,
            Event(forecast.provider, method, *window, int(lead[at])),
            forecast.start + at * HOUR,
            float(chance[at]),
            _lead_h(forecast, at),
        )
        for at in range(max(0, forecast.index(now) + 1), forecast.hours)
        if lead[at] < LEAD_DAYS and np.isfinite(chance[at]) and _solar(cell, forecast.start + at * HOUR).hour in STARTS
    ]


def _lead_h(forecast: Forecast, at: int) -> int:
    return max(0, (forecast.start + at * HOUR - forecast.issued) // HOUR)


def _windows(estate: Estate) -> dict[str, set[Window]]:
    """Cell -> the dry times that the products of its lawns ask for."""
    of_programme = {
        programme.id: {
            window for step in programme.steps if (window := _window(estate.product(step.product))) is not None
        }
        for programme in estate.programmes
    }
    found: dict[str, set[Window]] = {}
    for lawn in estate.lawns:
        if lawn.programme:
            found.setdefault(cell_of(lawn.latitude, lawn.longitude), set()).update(of_programme[lawn.programme])
    return found


def _window(product: Product) -> Window | None:
    limits = product_limits(product)
    if product.form == "granular" or limits.dry_for_h is None:
        return None
    return int(np.ceil(limits.dry_for_h.number)), limits.wet_mm.number


def _solar(cell: str, when: datetime) -> datetime:
    """Mean solar time of a cell, to half an hour."""
    return when + timedelta(hours=round(centre(cell)[1] / 15))
