"""Evapotranspiration of forecast hours."""

from datetime import UTC, datetime

import numpy as np
from pytest import approx

from scheduler.agronomy import evapotranspiration as et
from scheduler.agronomy.forecast_et import computed_mm, reference_mm
from scheduler.weather.forecast import Forecast, blank
from scheduler.weather.physics import vapour_pressure_kpa

START = datetime(2026, 7, 6, tzinfo=UTC)


def uccle(cloud_pct: float = 42.6, hours: int = 24) -> Forecast:
    """A day with the means of FAO-56 example 18 (Uccle, 6 July): 12.3-21.5 C, 2.78 m/s, sun 9.25 h of 16.1 h."""
    clock = np.arange(hours) % 24
    t = 16.9 + 4.6 * np.cos((clock - 15) / 24 * 2 * np.pi)
    dew = np.full(hours, 12.05)  # 1.409 kPa
    return blank("test", 50.80, 4.35, START, START, hours).with_(
        temperature_c=t, dew_point_c=dew, wind_m_s=np.full(hours, 2.78), cloud_pct=np.full(hours, cloud_pct)
    )


def test_hours_of_the_uccle_day_sum_to_about_the_book():
    # FAO-56 example 18: 3.88 mm; the book finds hourly sums within some per cent of the daily value
    assert computed_mm(uccle(), 100).sum() == approx(3.88, rel=0.06)


def test_nights_are_near_zero_and_noon_is_highest():
    hours = computed_mm(uccle(), 100)
    assert hours[[0, 1, 2]] == approx([0, 0, 0], abs=0.03)
    assert 10 <= int(hours.argmax()) <= 14


def test_cloud_lowers_evapotranspiration():
    sums = [computed_mm(uccle(cloud), 100).sum() for cloud in (0, 50, 100)]
    assert sums[0] > sums[1] > sums[2] > 0


def test_the_feeds_own_value_is_taken_and_gaps_are_filled():
    forecast = uccle()
    given = np.full(24, np.nan)
    given[12] = 0.123
    got = reference_mm(forecast.with_(et0_mm=given), 100)
    assert got[12] == 0.123
    assert got[13] == approx(computed_mm(forecast, 100)[13])


def test_humidity_stands_in_for_a_missing_dew_point():
    forecast = uccle()
    rh = 100 * et.actual_from_dew_point_kpa(forecast.dew_point_c) / vapour_pressure_kpa(forecast.temperature_c)
    other = forecast.with_(dew_point_c=np.full(24, np.nan), humidity_pct=rh)
    assert computed_mm(other, 100) == approx(computed_mm(forecast, 100))


def test_an_hour_without_cloud_or_wind_is_not_known():
    forecast = uccle()
    for name in ("cloud_pct", "wind_m_s", "temperature_c"):
        values = getattr(forecast, name).copy()
        values[9] = np.nan
        assert np.flatnonzero(np.isnan(computed_mm(forecast.with_(**{name: values})))).tolist() == [9]
