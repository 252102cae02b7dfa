"""Wind, Delta T, sun and surface against published values and a reference library."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import psychrolib
import pytest
from CoolProp import CoolProp

from scheduler.weather import sun
from scheduler.weather.physics import delta_t_c, dew_point_c, vapour_pressure_kpa, wet_bulb_c, wind_factor
from scheduler.weather.surface import frozen_hours, leaf_wetness, rain_before_mm
from tests.weather import mild

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
psychrolib.SetUnitSystem(psychrolib.SI)


def one(value: float) -> np.ndarray:
    return np.array([value])


def test_saturation_vapour_pressure() -> None:
    # FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), example 3: 24.5 C 3.075 kPa, 15 C 1.705 kPa
    assert vapour_pressure_kpa(one(24.5))[0] == pytest.approx(3.075, abs=0.001)
    assert vapour_pressure_kpa(one(15.0))[0] == pytest.approx(1.705, abs=0.001)


def test_the_psychrometer_of_fao_56() -> None:
    # FAO-56 example 4: dry 25.6 C, wet 19.5 C at 1200 m (87.9 kPa) gives 1.91 kPa, that is 58 % relative humidity
    humidity = 100 * 1.91 / vapour_pressure_kpa(one(25.6))[0]
    assert wet_bulb_c(one(25.6), one(humidity), 87.9)[0] == pytest.approx(19.5, abs=0.05)


def test_the_psychrometer_of_an_army_manual() -> None:
    # US Army TM 5-3610-285-14: 68 F dry and 62 F wet read 71 % relative humidity
    assert delta_t_c(one(20.0), one(71.0))[0] == pytest.approx(20.0 - 16.67, abs=0.1)


@pytest.mark.parametrize("humidity", [35, 50, 65, 80, 90, 97])
@pytest.mark.parametrize("temperature", [5, 10, 15, 20, 27, 35])
def test_delta_t_agrees_with_psychrolib(temperature: float, humidity: float) -> None:
    # PsychroLib 2.5 (ASHRAE Handbook of Fundamentals 2017), thermodynamic wet bulb at sea level;
    # below a wet bulb of 0 C it takes ice on the bulb, which no spray is
    reference = temperature - psychrolib.GetTWetBulbFromRelHum(temperature, humidity / 100, 101325)
    assert delta_t_c(one(temperature), one(humidity))[0] == pytest.approx(reference, abs=0.2)


@pytest.mark.parametrize("humidity", [35, 50, 65, 80, 90, 97])
@pytest.mark.parametrize("temperature", [8, 10, 15, 20, 27, 35])
def test_delta_t_agrees_with_coolprop(temperature: float, humidity: float) -> None:
    # CoolProp HAPropsSI: humid air after Herrmann, Kretzschmar and Gatley 2009 (ASHRAE RP-1485), at sea level
    wet_bulb = CoolProp.HAPropsSI("Twb", "T", temperature + 273.15, "R", humidity / 100, "P", 101325) - 273.15
    assert delta_t_c(one(temperature), one(humidity))[0] == pytest.approx(temperature - wet_bulb, abs=0.2)


def test_dew_point_agrees_with_psychrolib() -> None:
    for temperature, humidity in ((5, 90), (15, 60), (30, 25)):
        reference = psychrolib.GetTDewPointFromRelHum(temperature, humidity / 100)
        assert dew_point_c(one(temperature), one(humidity))[0] == pytest.approx(reference, abs=0.1)


def test_missing_air_stays_missing() -> None:
    assert np.isnan(delta_t_c(np.array([np.nan, 20.0]), np.array([50.0, np.nan]))).all()


def test_wind_by_height() -> None:
    # FAO-56 eq. 47: u2 = 0.748 u10, example 14: 3.2 m/s at 10 m is 2.4 m/s at 2 m
    assert wind_factor(2.0) == pytest.approx(0.748, abs=0.001)
    assert 3.2 * wind_factor(2.0) == pytest.approx(2.4, abs=0.05)
    # log profile: 11 km/h at 10 m is 5.3 km/h at 0.5 m over short grass
    assert 11 * wind_factor(0.5) == pytest.approx(5.3, abs=0.05)
    assert wind_factor(10.0) == 1.0
    with pytest.raises(ValueError, match="grass"):
        wind_factor(0.01)


def test_sun_times_of_an_almanac() -> None:
    # USNO tables: New York, 21 June 2013: sunrise 05:25, sunset 20:31 EDT; London, 21 June: 04:43 and 21:22 BST
    # (from memory; published to the minute)
    rise, fall = sun.sun_times(40.71, -74.01, date(2013, 6, 21)) or (MIDNIGHT, MIDNIGHT)
    assert abs(rise - datetime(2013, 6, 21, 9, 25, tzinfo=UTC)) <= timedelta(minutes=2)
    assert abs(fall - datetime(2013, 6, 22, 0, 31, tzinfo=UTC)) <= timedelta(minutes=2)
    rise, fall = sun.sun_times(51.51, -0.13, date(2026, 6, 21)) or (MIDNIGHT, MIDNIGHT)
    assert abs(rise - datetime(2026, 6, 21, 3, 43, tzinfo=UTC)) <= timedelta(minutes=2)
    assert abs(fall - datetime(2026, 6, 21, 20, 22, tzinfo=UTC)) <= timedelta(minutes=2)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(51.5, 0), (-36.9, 174.7), (61.2, -149.9), (0, -179), (-33.9, 151.2)]
)
def test_daylight_is_half_the_hours_at_the_equinox_everywhere(latitude: float, longitude: float) -> None:
    light = sun.daylight(latitude, longitude, datetime(2026, 3, 18, tzinfo=UTC), 96)
    assert light.sum() / 96 == pytest.approx(0.48, abs=0.04)


def test_polar_days_and_nights() -> None:
    assert sun.daylight(78.2, 15.6, datetime(2026, 6, 20, tzinfo=UTC), 48).all()
    assert not sun.daylight(78.2, 15.6, datetime(2026, 12, 20, tzinfo=UTC), 48).any()


def test_the_air_is_mixed_from_an_hour_after_sunrise_until_well_before_sunset() -> None:
    # GRDC spray manual 10.8: inversions from 1-2 h before sundown until about 1 h after sunrise
    mixed = sun.mixed_air(51.48, -0.62, MIDNIGHT, 24)
    rise, fall = sun.sun_times(51.48, -0.62, date(2026, 5, 4)) or (MIDNIGHT, MIDNIGHT)
    for hour in range(24):
        start, end = MIDNIGHT + timedelta(hours=hour), MIDNIGHT + timedelta(hours=hour + 1)
        assert mixed[hour] == (start >= rise + timedelta(hours=1) and end <= fall - timedelta(hours=1.5))


def test_leaf_wetness_by_humidity_wind_and_rain() -> None:
    # Sentelhas et al. 2008: wet at 90 % relative humidity and above; Iowa State Agron 541: no dew above 7 mph
    humid = mild(MIDNIGHT, 24, humidity_pct=93.0)
    assert leaf_wetness(humid)[0].all()
    assert not leaf_wetness(mild(MIDNIGHT, 24, humidity_pct=93.0, wind_m_s=5.0))[0].any()
    wet, damp = leaf_wetness(mild(MIDNIGHT, 24, rain={10: 1.0}))
    assert np.flatnonzero(wet).tolist() == [10, 11, 12]
    assert np.flatnonzero(damp).tolist() == list(range(10, 17))
    assert np.isnan(leaf_wetness(mild(MIDNIGHT, 3, humidity_pct=np.array([50, np.nan, 50.0])))[0][1])


def test_sums_of_the_day_before_equal_a_plain_loop() -> None:
    rng = np.random.default_rng(7)
    forecast = mild(MIDNIGHT, 60, rain_mm=rng.gamma(0.3, 2.0, 60), temperature_c=rng.normal(0, 3, 60))
    for at in range(60):
        before = range(max(0, at - 24), at)
        assert rain_before_mm(forecast)[at] == pytest.approx(sum(forecast.rain_mm[t] for t in before))
        assert frozen_hours(forecast)[at] == sum(forecast.temperature_c[t] <= 0 for t in before)
