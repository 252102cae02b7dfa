"""How far a forecast can be trusted at `now`: fresh, or too old to act on."""

from datetime import datetime, timedelta

from scheduler.values import CellWeather
from scheduler.weather.forecast import Forecast

FUTURE_SLACK = timedelta(hours=1)  # the clocks of a feed and of this machine may differ a little


def judge_age(cell: str, forecast: Forecast, now: datetime, oldest_h: float) -> CellWeather:
    """Fresh up to `oldest_h` hours since its issue (config.resolve.oldest_forecast_h), stale beyond.

    A forecast that is dated after `now` is as little to be trusted as an old one.
    """
    oldest = timedelta(hours=oldest_h)
    age = now - forecast.issued
    if age < -FUTURE_SLACK:
        return CellWeather(cell, forecast, "stale", f"the {forecast.provider} forecast is dated after now")
    if age > oldest:
        hours, limit = age.total_seconds() / 3600, oldest.total_seconds() / 3600
        why = f"the last {forecast.provider} forecast is {hours:.0f} h old (limit {limit:.0f} h)"
        return CellWeather(cell, forecast, "stale", why)
    return CellWeather(cell, forecast, "fresh")
