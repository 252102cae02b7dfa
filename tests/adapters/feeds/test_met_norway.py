"""MET Norway answers: hours after the stamp, six-hour steps, contradictions (api.met.no/doc/locationforecast)."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from adapters.feeds.asking import Endpoint
from adapters.feeds.met_norway import MetNorway
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import Forecast
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, body, met_norway_answer, weather

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
START = "2026-05-04T05:00"


def parse(answer: Any, received: datetime = NOW) -> Forecast:
    return MetNorway().parse(body(answer), latitude=LATITUDE, longitude=LONGITUDE, received=received)


def steps(answer: Any) -> list[Any]:
    found: list[Any] = answer["properties"]["timeseries"]
    return found


def test_rain_of_next_hour_falls_after_its_stamp() -> None:
    forecast = parse(met_norway_answer(weather(START, 96, rain_mm={4: 3.4}, chance={4: 0.7}, temperature_c={4: 21.5})))
    nine = forecast.index(datetime(2026, 5, 4, 9, tzinfo=UTC))
    assert (forecast.rain_mm[nine], forecast.chance[nine]) == (3.4, pytest.approx(0.7))
    assert forecast.temperature_c[nine] == 21.5
    assert np.nansum(forecast.rain_mm) == 3.4


def test_hourly_part_gives_every_field_back() -> None:
    rng = np.random.default_rng(5)
    table = weather(
        START,
        96,
        rain_mm=list(rng.uniform(0, 9, 96)),
        chance=list(rng.uniform(0, 1, 96)),
        wind_m_s=list(rng.uniform(0, 12, 96)),
        humidity_pct=list(rng.uniform(20, 100, 96)),
    )
    forecast = parse(met_norway_answer(table, hourly=61))
    for name in ("rain_mm", "chance", "wind_m_s", "humidity_pct", "temperature_c", "gust_m_s", "cloud_pct"):
        np.testing.assert_allclose(getattr(forecast, name)[:61], np.array(table[name][:61], float), atol=1e-6)
    assert np.isnan(forecast.soil_temperature_c).all()
    assert np.isnan(forecast.et0_mm).all()


def test_a_six_hour_step_is_one_rain_period() -> None:
    table = weather("2026-05-04T00:00", 96, rain_mm={61: 1.0, 63: 5.0}, chance={61: 0.4, 63: 0.6})
    forecast = parse(met_norway_answer(table, hourly=60))
    block = slice(60, 66)
    np.testing.assert_allclose(forecast.rain_mm[block], 1.0)  # 6 mm over six hours
    np.testing.assert_allclose(forecast.chance[block], 0.6)
    assert (forecast.period_start[block] == 60).all()
    assert list(forecast.period_start[58:60]) == [58, 59]
    assert forecast.period_start[66] == 66


def test_amounts_are_neither_lost_nor_doubled() -> None:
    # Rolling six-hour sums stand beside the hours in the hourly part; they must not be added.
    rng = np.random.default_rng(6)
    table = weather("2026-05-04T00:00", 96, rain_mm=list(rng.uniform(0, 3, 96)))
    forecast = parse(met_norway_answer(table, hourly=60))
    assert np.nansum(forecast.rain_mm) == pytest.approx(sum(v for v in table["rain_mm"] if v is not None), abs=1e-4)


def test_the_last_step_has_no_rain() -> None:
    answer = met_norway_answer(weather("2026-05-04T00:00", 75), hourly=60)
    assert set(steps(answer)[-1]["data"]) == {"instant"}
    forecast = parse(answer)
    assert forecast.temperature_c[72] == 12.0
    assert np.isnan(forecast.rain_mm[72])
    assert forecast.hours == 73


def test_between_six_hour_stamps_values_run_straight() -> None:
    table = weather("2026-05-04T00:00", 96, temperature_c={60: 10.0, 66: 16.0})
    forecast = parse(met_norway_answer(table, hourly=60))
    np.testing.assert_allclose(forecast.temperature_c[60:67], np.arange(10.0, 17.0))


def test_a_step_missing_from_the_hourly_part_stays_unknown() -> None:
    answer = met_norway_answer(weather(START, 96))
    del steps(answer)[10]
    forecast = parse(answer)
    assert np.isnan(forecast.rain_mm[10])
    assert np.isnan(forecast.temperature_c[10])
    assert np.isfinite(forecast.rain_mm[[9, 11]]).all()


def test_a_step_without_its_hour_stays_unknown_though_its_six_hours_are_given() -> None:
    answer = met_norway_answer(weather(START, 96, rain_mm={12: 2.0}))
    del steps(answer)[10]["data"]["next_1_hours"]
    forecast = parse(answer)
    assert np.isnan(forecast.rain_mm[10])
    assert forecast.temperature_c[10] == 12.0
    assert np.nansum(forecast.rain_mm) == 2.0


def test_a_missing_six_hour_step_stays_unknown() -> None:
    answer = met_norway_answer(weather("2026-05-04T00:00", 96), hourly=60)
    gone = next(i for i, step in enumerate(steps(answer)) if "next_1_hours" not in step["data"]) + 1
    del steps(answer)[gone]
    forecast = parse(answer)
    assert np.isnan(forecast.rain_mm[66:72]).all()
    assert np.isnan(forecast.temperature_c[66:72]).all()
    assert np.isfinite(forecast.rain_mm[72])


def test_a_six_hour_sum_larger_than_its_hours_raises_the_upper_bound() -> None:
    # Seen near the border of two models: the hours say 0.0, next_6_hours says 0.9 mm.
    forecast = parse(met_norway_answer(weather(START, 96, rain_mm={22: 0.6}), six_extra_mm={20: 0.9}))
    window = slice(20, 26)
    assert forecast.rain_mm[window].sum() == pytest.approx(0.6)
    assert forecast.rain_high_mm[window].sum() == pytest.approx(1.5)
    assert forecast.rain_high_mm[22] == pytest.approx(0.6 + 0.15)
    assert np.isnan(np.delete(forecast.rain_high_mm, np.arange(20, 26))).all()


def test_the_likely_maximum_is_the_upper_bound_and_never_below_the_amount() -> None:
    table = weather("2026-05-04T00:00", 96, rain_mm={4: 2.0, 61: 6.0})
    forecast = parse(met_norway_answer(table, high_factor=2.5, hourly=60))
    assert forecast.rain_high_mm[4] == pytest.approx(5.0)
    np.testing.assert_allclose(forecast.rain_high_mm[60:66], 2.5)
    answer = met_norway_answer(table, high_factor=0.5, hourly=60)
    assert parse(answer).rain_high_mm[4] == pytest.approx(2.0)


def test_compact_answers_have_no_chance_and_that_is_not_zero() -> None:
    forecast = parse(met_norway_answer(weather(START, 96, chance=None, gust_m_s=None, dew_point_c=None)))
    for name in ("chance", "gust_m_s", "dew_point_c", "rain_high_mm"):
        assert np.isnan(getattr(forecast, name)).all()
    assert np.isfinite(forecast.rain_mm[:60]).all()


def test_issue_time_is_that_of_the_model_not_of_the_receipt() -> None:
    issued = NOW - timedelta(hours=10)
    forecast = parse(met_norway_answer(weather(START, 96), issued=issued))
    assert (forecast.issued, forecast.received, forecast.issue_stated) == (issued, NOW, True)


def test_an_issue_time_in_the_future_is_refused() -> None:
    assert parse(met_norway_answer(weather(START, 96), issued=NOW + timedelta(minutes=59))).issue_stated
    with pytest.raises(FeedUnusable, match="future"):
        parse(met_norway_answer(weather(START, 96), issued=NOW + timedelta(minutes=61)))


@pytest.mark.parametrize("place", [(LATITUDE + 0.3, LONGITUDE), (LONGITUDE, LATITUDE)])
def test_an_answer_for_another_place_is_refused(place: tuple[float, float]) -> None:
    with pytest.raises(FeedUnusable, match="another place"):
        parse(met_norway_answer(weather(START, 96), latitude=place[0], longitude=place[1]))


def test_six_hour_periods_that_overlap_are_refused() -> None:
    answer = met_norway_answer(weather("2026-05-04T00:00", 96), hourly=60)
    second = [step for step in steps(answer) if "next_1_hours" not in step["data"]][1]
    second["time"] = "2026-05-06T15:00:00Z"
    with pytest.raises(FeedUnusable, match="overlap"):
        parse(answer)


@pytest.mark.parametrize(
    "name", ["precipitation_amount", "wind_speed", "air_temperature", "probability_of_precipitation"]
)
@pytest.mark.parametrize("unit", ["inch", None, "fahrenheit"])
def test_an_unknown_unit_refuses_the_whole_answer(name: str, unit: Any) -> None:
    answer = met_norway_answer(weather(START, 96))
    answer["properties"]["meta"]["units"][name] = unit
    with pytest.raises(FeedUnusable, match=name):
        parse(answer)


def test_one_request_for_each_place_with_at_most_four_decimals() -> None:
    # Terms of service of api.met.no: five decimals and more are answered with 403.
    asked = MetNorway().requests(
        [(51.482399999, -0.61719999), (-33.0, 0.00001)], endpoint=Endpoint("https://example.org/c"), now=NOW, known={}
    )
    assert [one.params for one in asked] == [{"lat": "51.4823", "lon": "-0.6171"}, {"lat": "-33", "lon": "0"}]
