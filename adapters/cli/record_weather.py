"""The weather of the hour of a job, and the forecast it rested on, from what the store has received."""

import math
from datetime import datetime
from typing import Any

from adapters.store.store import Store
from adapters.weather import weather_now
from config.models import Estate, Lawn, Product
from scheduler.decide.table import Table
from scheduler.morning import Desk
from scheduler.values import CellWeather
from scheduler.weather.cells import cell_of
from scheduler.weather.forecast import Forecast

READ = {"temperature_c": 1, "humidity_pct": 0, "wind_m_s": 1}  # field of a forecast -> decimals worth keeping


def stored_weather(
    estate: Estate, store: Store, lawn: Lawn, product: Product, at: datetime, now: datetime
) -> dict[str, Any]:
    """Fields of a ledger row that the store can fill in for a job begun at `at`; those it cannot are left out.

    The forecast basis is the run that was known, and fresh, when the work began. The weather of the hour comes from it,
    else from the newest run that covers the hour.
    """
    estate = estate.model_copy(update={"lawns": (lawn,)})  # the weather of one cell is enough
    cell = cell_of(lawn.latitude, lawn.longitude)
    then = weather_now(store, estate, at)[cell]
    found = _basis(estate, then, lawn, product, at) if then.state == "fresh" else {}
    for forecast in (then.forecast, weather_now(store, estate, now)[cell].forecast):
        weather = _hour(forecast, at)
        if weather:
            return found | weather
    return found


def _hour(forecast: Forecast | None, at: datetime) -> dict[str, Any]:
    """Temperature, humidity and wind of the hour, and whose they are; empty where the forecast has none."""
    if forecast is None or not 0 <= forecast.index(at) < forecast.hours:
        return {}
    values = {name: float(getattr(forecast, name)[forecast.index(at)]) for name in READ}
    known = {name: round(value, READ[name]) for name, value in values.items() if math.isfinite(value)}
    return known | {"weather_by": forecast.provider} if known else {}


def _basis(estate: Estate, weather: CellWeather, lawn: Lawn, product: Product, at: datetime) -> dict[str, Any]:
    """Provider, issue, and the chance that was told for this hour."""
    forecast = weather.forecast
    table = Desk(estate, at, {weather.cell: weather}).table(lawn, product)
    if forecast is None or table is None:
        return {}
    found = {"forecast_provider": forecast.provider, "forecast_issued": forecast.issued}
    return found | _chance(table, forecast.index(at))


def _chance(table: Table, hour: int) -> dict[str, Any]:
    """The chance that decides for the product's form, with what it is the chance of."""
    limits, rain = table.limits, table.rain
    values, words = None, ""
    if rain.washed_off is not None and limits.dry_for_h is not None:
        values, words = rain.washed_off, f"{limits.wet_mm.number:g} mm or more within {limits.dry_for_h.number:g} h"
    elif rain.dissolved is not None and limits.rain_band_mm is not None and limits.dissolve_h is not None:
        low, high = limits.rain_band_mm.value
        values, words = rain.dissolved, f"{low:g}-{high:g} mm within {limits.dissolve_h.number:g} h"
    if values is None or not 0 <= hour < len(values) or not math.isfinite(values[hour]):
        return {}
    return {"forecast_chance": round(float(values[hour]), 3), "forecast_of": words}
