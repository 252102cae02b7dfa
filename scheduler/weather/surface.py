"""Leaf and ground, as far as the forecast tells: leaf wetness, frozen and saturated ground."""

import numpy as np

from config.defaults import defaults
from scheduler.weather.forecast import Floats, Forecast

DRYING_H = 2  # hours a leaf stays wet after rain in daytime: common practice, from memory
RAIN_SEEN_MM = 0.1  # smallest hourly amount that wets a leaf: gauge resolution
DAMP_HUMIDITY_PCT = 87.0  # leaf wetness begins: threshold used beside 90 % in Sentelhas et al. 2008


def leaf_wetness(forecast: Forecast) -> tuple[Floats, Floats]:
    """Whether the leaf is wet, and at least damp, in each hour: two (hours,) arrays of 1, 0 or NaN (not known).

    Wet: rain now or in the two hours before, or humidity at 90 % and above with too little wind to keep dew off
    (Sentelhas et al. 2008; Iowa State Agron 541). Damp: the same with 87 %, or rain in the last six hours.
    Hours before the rain record begins are taken as they are not known to be wet: the eye on the spot decides there. A
    hole in the record is not: after it the leaf is not known to be dry.
    """
    ground = defaults("ground")
    humid = forecast.humidity_pct
    windy = forecast.wind_m_s > ground["dew_wind_m_s"].number
    known = np.isfinite(humid) & np.isfinite(forecast.rain_mm)
    told = known & ~_within(_holes(forecast.rain_mm), DRYING_H)
    rain = np.nan_to_num(forecast.rain_mm, nan=0.0) >= RAIN_SEEN_MM
    wet = _within(rain, DRYING_H) | ((humid >= ground["leaf_wet_humidity_pct"].number) & ~windy)
    damp = wet | _within(rain, 6) | ((humid >= DAMP_HUMIDITY_PCT) & ~windy)
    return np.where(told, wet, np.nan).astype(float), np.where(known, damp, np.nan).astype(float)


def _within(flag: np.ndarray, hours: int) -> np.ndarray:
    """True where `flag` holds in this hour or in one of the `hours` hours before."""
    out = flag.copy()
    for back in range(1, hours + 1):
        out[back:] |= flag[:-back]
    return out


def _holes(values: Floats) -> np.ndarray:
    """Missing values after the first that is there: a record may begin late, but must not have gaps."""
    missing = np.isnan(values)
    return np.asarray(missing & np.logical_or.accumulate(~missing))


def frozen_hours(forecast: Forecast) -> Floats:
    """Hours with air at or below 0 C among the 24 before each (air stands in for soil): (hours,).

    As far back as the record goes; NaN where it has a hole.
    """
    frozen = _sum_before((forecast.temperature_c <= 0.0).astype(float), 24)
    return np.where(_sum_before(_holes(forecast.temperature_c).astype(float), 24) > 0, np.nan, frozen)


def rain_before_mm(forecast: Forecast, hours: int = 24) -> Floats:
    """Rain of the `hours` hours before each hour [mm], as far back as the record goes; NaN where it has a hole."""
    rain = _sum_before(np.nan_to_num(forecast.rain_mm, nan=0.0), hours)
    return np.where(_sum_before(_holes(forecast.rain_mm).astype(float), hours) > 0, np.nan, rain)


def _sum_before(values: Floats, hours: int) -> Floats:
    """Sum of the `hours` values before each index, fewer at the beginning."""
    total = np.concatenate((np.zeros(hours), [0.0], np.cumsum(values)))
    return total[hours : hours + len(values)] - total[: len(values)]
