"""Wind by height, dew point and Delta T: the physics behind the limits, on arrays or numbers."""

import numpy as np

from scheduler.weather.forecast import Floats

PSYCHROMETER = 0.000662  # 1/K, aspirated psychrometer, FAO-56 eq. 16
STANDARD_KPA = 101.325
ROUGHNESS_M = 0.03  # short grass, FAO-56 and WMO-No. 8


def vapour_pressure_kpa(temperature_c: Floats) -> Floats:
    """Saturation vapour pressure [kPa] over water at `temperature_c` [C]. FAO-56 eq. 11 (Tetens)."""
    return np.asarray(0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3)))


def dew_point_c(temperature_c: Floats, humidity_pct: Floats) -> Floats:
    """Dew point [C] from air temperature [C] and relative humidity [%]: the inverse of FAO-56 eq. 11.

    Humidity at or below 0 gives NaN.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.log(vapour_pressure_kpa(temperature_c) * humidity_pct / 100.0 / 0.6108)
        dew = 237.3 * log / (17.27 - log)
    return np.where(np.asarray(humidity_pct) > 0, dew, np.nan)


def wet_bulb_c(temperature_c: Floats, humidity_pct: Floats, pressure_kpa: float = STANDARD_KPA) -> Floats:
    """Wet-bulb temperature [C]: the psychrometer equation e = es(Tw) - 0.000662 P (T - Tw), solved by bisection.

    FAO-56 eq. 15 with the constant of an aspirated psychrometer. Stull's 2011 fit differs by up to 0.4 K near the
    limits; this is the method that Ligule names. NaN in, NaN out. Solved to 0.001 K.
    """
    dry = np.asarray(temperature_c, dtype=np.float64)
    vapour = vapour_pressure_kpa(dry) * np.clip(humidity_pct, 0.0, 100.0) / 100.0
    low, high = dry - 60.0, dry.copy()
    for _ in range(16):  # 60 K / 2**16 < 0.001 K
        middle = (low + high) / 2.0
        too_warm = vapour_pressure_kpa(middle) - PSYCHROMETER * pressure_kpa * (dry - middle) > vapour
        high = np.where(too_warm, middle, high)
        low = np.where(too_warm, low, middle)
    return np.where(np.isnan(vapour), np.nan, (low + high) / 2.0)


def delta_t_c(temperature_c: Floats, humidity_pct: Floats, pressure_kpa: float = STANDARD_KPA) -> Floats:
    """Delta T [K], dry bulb minus wet bulb: how fast a droplet dries. Psychrometer method, see wet_bulb_c."""
    return np.asarray(temperature_c, dtype=np.float64) - wet_bulb_c(temperature_c, humidity_pct, pressure_kpa)


def wind_factor(height_m: float) -> float:
    """Wind at `height_m` over wind at 10 m, above short grass.

    From 1 m upward FAO-56 eq. 47 (4.87 / ln(67.8 z - 5.42), u2 = 0.748 u10); lower, where that formula fails, the
    log profile over the roughness of short grass (0.03 m). ValueError at or below that roughness.
    """
    if height_m <= ROUGHNESS_M:
        raise ValueError(f"wind height {height_m} m lies in the grass")
    if height_m == 10.0:
        return 1.0
    if height_m >= 1.0:
        # eq. 47 converts to 2 m; two of them convert between any heights
        return float(np.log(67.8 * height_m - 5.42) / np.log(67.8 * 10.0 - 5.42))
    return float(np.log(height_m / ROUGHNESS_M) / np.log(10.0 / ROUGHNESS_M))
