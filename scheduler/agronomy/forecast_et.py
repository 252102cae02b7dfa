"""Reference evapotranspiration of every hour of a forecast: the feed's own where it gives one, else FAO-56.

Feeds give cloud rather than radiation; the clear part of the sky stands for the share of sunshine in FAO-56 eq. 35.
"""

import numpy as np

from scheduler.agronomy import evapotranspiration as et
from scheduler.weather.forecast import Floats, Forecast
from scheduler.weather.physics import vapour_pressure_kpa


def reference_mm(forecast: Forecast, altitude_m: float = 0.0) -> Floats:
    """ETo of each hour [mm], shape (hours,). NaN where neither the feed nor the hour's values give one."""
    return np.where(np.isnan(forecast.et0_mm), computed_mm(forecast, altitude_m), forecast.et0_mm)


def computed_mm(forecast: Forecast, altitude_m: float = 0.0) -> Floats:
    """ETo of each hour [mm] by FAO-56 eq. 53 from temperature, humidity, 10 m wind and cloud.

    Humidity comes from the dew point where the feed gives one, else from relative humidity.
    """
    days, hours = _utc_days(forecast)
    ra = et.extraterrestrial_hourly(forecast.latitude, forecast.longitude, days, hours + 0.5)
    sunshine = 1 - np.clip(forecast.cloud_pct, 0.0, 100.0) / 100
    rs = et.solar_from_sunshine(ra, sunshine)
    # eq. 35 over eq. 37: the same share by day and by night, so no value has to be carried over from the evening
    clearness = et.solar_from_sunshine(1.0, sunshine) / et.clear_sky(1.0, altitude_m)
    from_dew = et.actual_from_dew_point_kpa(forecast.dew_point_c)
    from_humidity = vapour_pressure_kpa(forecast.temperature_c) * np.clip(forecast.humidity_pct, 0.0, 100.0) / 100
    actual = np.where(np.isnan(from_dew), from_humidity, from_dew)
    rn = et.net_shortwave(rs) - et.net_longwave_hourly(forecast.temperature_c, actual, clearness)
    return et.penman_monteith_hourly_mm(
        temperature_c=forecast.temperature_c,
        actual=actual,
        u2_m_s=et.wind_2m_m_s(forecast.wind_m_s, 10.0),
        net_radiation=rn,
        altitude_m=altitude_m,
    )


def _utc_days(forecast: Forecast) -> tuple[Floats, Floats]:
    """Day of the year and hour of the day (UTC) of each hour start."""
    times = forecast.times()
    days = np.array([when.timetuple().tm_yday for when in times], dtype=np.float64)
    return days, np.array([when.hour for when in times], dtype=np.float64)
