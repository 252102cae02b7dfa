"""Reference evapotranspiration of short grass by FAO-56 (Allen, Pereira, Raes & Smith 1998), daily and hourly.

Everything works on numbers or arrays of one shape (broadcast by numpy); missing values are NaN and stay NaN.
Units: C, kPa, m/s at 2 m, MJ/m2 per day (or per hour), mm per day (or per hour). Equation numbers are FAO-56's.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.weather.physics import PSYCHROMETER, vapour_pressure_kpa

Floats = NDArray[np.float64]

ALBEDO = 0.23  # of the grass reference, eq. 38
STEFAN_BOLTZMANN_DAY = 4.903e-9  # MJ/K4/m2/day, eq. 39
STEFAN_BOLTZMANN_HOUR = 2.043e-10  # MJ/K4/m2/h, eq. 39 by the hour
ANGSTROM_A, ANGSTROM_B = 0.25, 0.50  # eq. 35, where no calibration is available
MM_PER_MJ = 0.408  # 1 / latent heat of vaporisation, eq. 20


class HourlyForm(NamedTuple):
    """Coefficients of the hourly equation: numerator, denominator and soil heat share by day and by night."""

    cn: float
    cd_day: float
    cd_night: float
    g_day: float
    g_night: float


FAO_56 = HourlyForm(37.0, 0.34, 0.34, 0.1, 0.5)  # eq. 53, 45, 46
ASCE_2005 = HourlyForm(37.0, 0.24, 0.96, 0.1, 0.5)  # ASCE-EWRI 2005, table 1: short reference


def _f(value: ArrayLike) -> Floats:
    return np.asarray(value, dtype=np.float64)


# --- air ---------------------------------------------------------------------------------------------------------


def pressure_kpa(altitude_m: ArrayLike) -> Floats:
    """Air pressure [kPa] at an altitude [m]: eq. 7."""
    return np.asarray(101.3 * ((293.0 - 0.0065 * _f(altitude_m)) / 293.0) ** 5.26)


def psychrometric_kpa_c(pressure: ArrayLike) -> Floats:
    """Psychrometric constant [kPa/C] at a pressure [kPa]: eq. 8."""
    return 0.665e-3 * _f(pressure)


def saturation_kpa(tmax_c: ArrayLike, tmin_c: ArrayLike) -> Floats:
    """Mean saturation vapour pressure of a day [kPa]: the mean of both ends, never of the mean temperature. Eq. 12."""
    return (vapour_pressure_kpa(_f(tmax_c)) + vapour_pressure_kpa(_f(tmin_c))) / 2


def slope_kpa_c(temperature_c: ArrayLike) -> Floats:
    """Slope of the saturation vapour pressure curve [kPa/C]: eq. 13."""
    t = _f(temperature_c)
    return 4098.0 * vapour_pressure_kpa(t) / (t + 237.3) ** 2


def actual_from_dew_point_kpa(dew_point_c: ArrayLike) -> Floats:
    """Actual vapour pressure [kPa] from the dew point: eq. 14."""
    return vapour_pressure_kpa(_f(dew_point_c))


def actual_from_wet_bulb_kpa(dry_c: ArrayLike, wet_c: ArrayLike, pressure: ArrayLike) -> Floats:
    """Actual vapour pressure [kPa] from an aspirated psychrometer: eq. 15, 16."""
    return vapour_pressure_kpa(_f(wet_c)) - PSYCHROMETER * _f(pressure) * (_f(dry_c) - _f(wet_c))


def actual_from_extremes_kpa(
    tmax_c: ArrayLike, tmin_c: ArrayLike, rh_max_pct: ArrayLike, rh_min_pct: ArrayLike
) -> Floats:
    """Actual vapour pressure [kPa] of a day from its highest and lowest relative humidity: eq. 17."""
    low = vapour_pressure_kpa(_f(tmin_c)) * _f(rh_max_pct) / 100
    high = vapour_pressure_kpa(_f(tmax_c)) * _f(rh_min_pct) / 100
    return (low + high) / 2


def actual_from_mean_kpa(tmax_c: ArrayLike, tmin_c: ArrayLike, rh_mean_pct: ArrayLike) -> Floats:
    """Actual vapour pressure [kPa] of a day from its mean relative humidity, where nothing better is known: eq. 19."""
    return saturation_kpa(tmax_c, tmin_c) * _f(rh_mean_pct) / 100


def wind_2m_m_s(wind_m_s: ArrayLike, height_m: float) -> Floats:
    """Wind at 2 m [m/s] from wind at a height above short grass: eq. 47. ValueError below 0.5 m."""
    if height_m < 0.5:
        raise ValueError(f"wind height {height_m} m: FAO-56 eq. 47 needs at least 0.5 m")
    return np.asarray(_f(wind_m_s) * 4.87 / np.log(67.8 * height_m - 5.42))


# --- sun ---------------------------------------------------------------------------------------------------------


def _distance(day_of_year: Floats) -> Floats:
    return np.asarray(1 + 0.033 * np.cos(2 * np.pi * day_of_year / 365))  # eq. 23


def _declination(day_of_year: Floats) -> Floats:
    return np.asarray(0.409 * np.sin(2 * np.pi * day_of_year / 365 - 1.39))  # eq. 24


def _sunset_angle(latitude_rad: Floats, declination: Floats) -> Floats:
    """Eq. 25; pi where the sun does not set, 0 where it does not rise."""
    return np.asarray(np.arccos(np.clip(-np.tan(latitude_rad) * np.tan(declination), -1.0, 1.0)))


def extraterrestrial_daily(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> Floats:
    """Extraterrestrial radiation Ra [MJ/m2/day]: eq. 21."""
    phi, j = np.radians(_f(latitude_deg)), _f(day_of_year)
    delta = _declination(j)
    ws = _sunset_angle(phi, delta)
    share = ws * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(ws)
    return np.asarray(24 * 60 / np.pi * 0.0820 * _distance(j) * share)


def extraterrestrial_hourly(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, day_of_year: ArrayLike, middle_utc_h: ArrayLike
) -> Floats:
    """Extraterrestrial radiation Ra [MJ/m2/h] of the hour about `middle_utc_h`, longitude east positive: eq. 28-33.

    Only the part of the hour with the sun up counts, so that the hours of a day sum to the daily value.
    """
    phi, j = np.radians(_f(latitude_deg)), _f(day_of_year)
    delta = _declination(j)
    b = 2 * np.pi * (j - 81) / 364  # eq. 33
    season = 0.1645 * np.sin(2 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)  # eq. 32
    hour = _f(middle_utc_h) + _f(longitude_deg) / 15 + season - 12  # eq. 31, with UTC as the zone
    omega = np.pi / 12 * ((hour + 12) % 24 - 12)
    ws = _sunset_angle(phi, delta)
    limit = np.where(ws >= np.pi, np.inf, ws)  # where the sun does not set an hour may span midnight
    first = np.clip(omega - np.pi / 24, -limit, limit)  # eq. 29
    last = np.clip(omega + np.pi / 24, -limit, limit)  # eq. 30
    share = (last - first) * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * (np.sin(last) - np.sin(first))
    return np.asarray(12 * 60 / np.pi * 0.0820 * _distance(j) * np.maximum(share, 0.0))


def daylight_hours(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> Floats:
    """Longest possible sunshine N [h]: eq. 34."""
    ws = _sunset_angle(np.radians(_f(latitude_deg)), _declination(_f(day_of_year)))
    return np.asarray(24 / np.pi * ws)


def solar_from_sunshine(ra: ArrayLike, sunshine_share: ArrayLike) -> Floats:
    """Solar radiation Rs from Ra and the share n/N of possible sunshine (clear part of the sky): eq. 35."""
    return (ANGSTROM_A + ANGSTROM_B * _f(sunshine_share)) * _f(ra)


def clear_sky(ra: ArrayLike, altitude_m: ArrayLike) -> Floats:
    """Clear-sky radiation Rso from Ra and altitude [m]: eq. 37."""
    return (0.75 + 2e-5 * _f(altitude_m)) * _f(ra)


def net_shortwave(rs: ArrayLike) -> Floats:
    """Net shortwave radiation Rns from Rs: eq. 38."""
    return (1 - ALBEDO) * _f(rs)


def _longwave(sigma_t4: Floats, actual: ArrayLike, clearness: ArrayLike) -> Floats:
    clear = np.clip(_f(clearness), None, 1.0)  # Rs/Rso <= 1, note to eq. 39
    return np.asarray(sigma_t4 * (0.34 - 0.14 * np.sqrt(_f(actual))) * (1.35 * clear - 0.35))


def net_longwave_daily(tmax_c: ArrayLike, tmin_c: ArrayLike, actual: ArrayLike, clearness: ArrayLike) -> Floats:
    """Net outgoing longwave radiation Rnl [MJ/m2/day]; `clearness` is Rs/Rso: eq. 39."""
    mean_t4 = ((_f(tmax_c) + 273.16) ** 4 + (_f(tmin_c) + 273.16) ** 4) / 2
    return _longwave(STEFAN_BOLTZMANN_DAY * mean_t4, actual, clearness)


def net_longwave_hourly(temperature_c: ArrayLike, actual: ArrayLike, clearness: ArrayLike) -> Floats:
    """Net outgoing longwave radiation Rnl [MJ/m2/h]. By night take the clearness of 2-3 h before sunset: eq. 39."""
    return _longwave(STEFAN_BOLTZMANN_HOUR * (_f(temperature_c) + 273.16) ** 4, actual, clearness)


# --- evapotranspiration ------------------------------------------------------------------------------------------


def penman_monteith_daily_mm(
    *,
    tmax_c: ArrayLike,
    tmin_c: ArrayLike,
    actual: ArrayLike,
    u2_m_s: ArrayLike,
    net_radiation: ArrayLike,
    altitude_m: ArrayLike,
    soil_heat: ArrayLike = 0.0,
) -> Floats:
    """Reference evapotranspiration ETo [mm/day]: eq. 6. A negative result (dew) is 0."""
    mean = (_f(tmax_c) + _f(tmin_c)) / 2  # eq. 9
    deficit = saturation_kpa(tmax_c, tmin_c) - _f(actual)
    energy = _f(net_radiation) - _f(soil_heat)
    return _penman(mean, deficit, energy, u2_m_s, altitude_m, cn=900.0, cd=0.34)


def penman_monteith_hourly_mm(
    *,
    temperature_c: ArrayLike,
    actual: ArrayLike,
    u2_m_s: ArrayLike,
    net_radiation: ArrayLike,
    altitude_m: ArrayLike,
    form: HourlyForm = FAO_56,
) -> Floats:
    """Reference evapotranspiration ETo [mm/h]: eq. 53, soil heat by eq. 45, 46. A negative result (dew) is 0.

    Day and night are told apart by the sign of the net radiation (ASCE-EWRI 2005, p. 44).
    """
    rn = _f(net_radiation)
    day = rn >= 0
    energy = rn * (1 - np.where(day, form.g_day, form.g_night))
    deficit = vapour_pressure_kpa(_f(temperature_c)) - _f(actual)
    cd = np.where(day, form.cd_day, form.cd_night)
    return _penman(_f(temperature_c), deficit, energy, u2_m_s, altitude_m, cn=form.cn, cd=cd)


def _penman(
    t: Floats, deficit: Floats, energy: Floats, u2_m_s: ArrayLike, altitude_m: ArrayLike, cn: float, cd: ArrayLike
) -> Floats:
    u2, delta, gamma = _f(u2_m_s), slope_kpa_c(t), psychrometric_kpa_c(pressure_kpa(altitude_m))
    wanted = MM_PER_MJ * delta * energy + gamma * cn / (t + 273) * u2 * np.maximum(deficit, 0.0)
    return np.maximum(wanted / (delta + gamma * (1 + _f(cd) * u2)), 0.0)


def hargreaves_mm(tmax_c: ArrayLike, tmin_c: ArrayLike, ra: ArrayLike) -> Floats:
    """ETo [mm/day] from temperatures and Ra [MJ/m2/day] alone, where nothing else is known: eq. 52."""
    high, low = _f(tmax_c), _f(tmin_c)
    spread = np.sqrt(np.maximum(high - low, 0.0))
    return np.maximum(0.0023 * ((high + low) / 2 + 17.8) * spread * MM_PER_MJ * _f(ra), 0.0)
