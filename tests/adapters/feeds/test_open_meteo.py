"""Open-Meteo answers: stamps, units, models, places. Source of the shapes: open-meteo.com/en/docs."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from adapters.feeds.asking import Endpoint
from adapters.feeds.open_meteo import OpenMeteo
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import FIELDS, Forecast
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, body, open_meteo_answer, weather

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
START = "2026-05-04T00:00"


def parse(answer: Any, received: datetime = NOW) -> Forecast:
    raw = answer if isinstance(answer, bytes) else body(answer)
    return OpenMeteo().parse(raw, latitude=LATITUDE, longitude=LONGITUDE, received=received)


def at(forecast: Forecast, iso: str) -> int:
    return forecast.index(datetime.fromisoformat(iso).replace(tzinfo=UTC))


def test_rain_stamped_at_nine_fell_between_eight_and_nine() -> None:
    # docs: "Preceding hour sum" for precipitation, its probability, gusts and ET0.
    answer = open_meteo_answer(weather(START, 48))
    stamp = answer["hourly"]["time"].index(int(datetime(2026, 5, 4, 9, tzinfo=UTC).timestamp()))
    for name, value in (("precipitation", 3.4), ("precipitation_probability", 70), ("wind_gusts_10m", 17.0)):
        answer["hourly"][name][stamp] = value
    answer["hourly"]["temperature_2m"][stamp] = 21.5  # instantaneous: of nine o'clock
    forecast = parse(answer)
    eight, nine = at(forecast, "2026-05-04T08:00"), at(forecast, "2026-05-04T09:00")
    assert (forecast.rain_mm[eight], forecast.chance[eight], forecast.gust_m_s[eight]) == (
        3.4,
        pytest.approx(0.7),
        17.0,
    )
    assert (forecast.rain_mm[nine], forecast.chance[nine], forecast.gust_m_s[nine]) == (0.0, 0.0, 4.0)
    assert (forecast.temperature_c[eight], forecast.temperature_c[nine]) == (12.0, 21.5)


def test_every_field_of_the_table_comes_back_in_its_own_hour() -> None:
    rng = np.random.default_rng(4)
    table = weather(
        START,
        72,
        rain_mm=list(rng.uniform(0, 9, 72)),
        chance=list(rng.uniform(0, 1, 72)),
        temperature_c=list(rng.uniform(-5, 30, 72)),
        gust_m_s=list(rng.uniform(5, 20, 72)),
        et0_mm=list(rng.uniform(0, 0.6, 72)),
    )
    forecast = parse(open_meteo_answer(table))
    first = forecast.index(table.start)
    for name, values in table.values.items():
        np.testing.assert_allclose(getattr(forecast, name)[first : first + 72], np.array(values, float), atol=1e-5)
    assert np.isnan(forecast.rain_high_mm).all()  # the feed has no upper bound
    np.testing.assert_array_equal(forecast.period_start, np.arange(forecast.hours))


@pytest.mark.parametrize("offset_h", [-5, 0, 2, 12])
def test_local_stamps_with_an_offset_are_the_same_instants(offset_h: int) -> None:
    table = weather(START, 48, rain_mm={20: 2.0})
    local = parse(open_meteo_answer(table, iso=True, offset_s=offset_h * 3600))
    assert local.start == parse(open_meteo_answer(table)).start
    assert local.rain_mm[at(local, "2026-05-04T20:00")] == 2.0


def test_labels_of_a_clock_change_are_read_at_the_one_offset_given() -> None:
    # The service adds one offset to all stamps: on 8 March 2026 Toronto had no 02:00, the answer has (07:00 UTC).
    answer = open_meteo_answer(weather("2026-03-08T00:00", 24, rain_mm={6: 1.5}), iso=True, offset_s=-18000)
    assert "2026-03-08T02:00" in answer["hourly"]["time"]
    forecast = parse(answer, datetime(2026, 3, 8, 1, tzinfo=UTC))
    assert forecast.rain_mm[at(forecast, "2026-03-08T06:00")] == 1.5
    assert np.nansum(forecast.rain_mm) == 1.5


@pytest.mark.parametrize(
    ("name", "unit", "given", "field", "expected"),
    [
        # Exact by definition: 1 in = 25.4 mm, 1 mile = 1609.344 m, 1 nautical mile = 1852 m (BIPM, SI brochure).
        ("precipitation", "inch", 0.1, "rain_mm", 2.54),
        ("et0_fao_evapotranspiration", "inch", 0.01, "et0_mm", 0.254),
        ("temperature_2m", "°F", 50.0, "temperature_c", 10.0),
        ("wind_speed_10m", "km/h", 36.0, "wind_m_s", 10.0),
        ("wind_speed_10m", "mp/h", 10.0, "wind_m_s", 4.4704),
        ("wind_gusts_10m", "kn", 10.0, "gust_m_s", 5.144444),
    ],
)
def test_other_units_are_converted(name: str, unit: str, given: float, field: str, expected: float) -> None:
    answer = open_meteo_answer(weather(START, 24))
    answer["hourly_units"][name] = unit
    answer["hourly"][name] = [given] * 25
    values = getattr(parse(answer), field)
    np.testing.assert_allclose(values[np.isfinite(values)], expected, rtol=1e-6)


@pytest.mark.parametrize("name", ["precipitation", "temperature_2m", "wind_speed_10m", "relative_humidity_2m", "time"])
@pytest.mark.parametrize("unit", ["furlong", None, 3, "", "undefined"])
def test_an_unknown_unit_refuses_the_whole_answer(name: str, unit: Any) -> None:
    answer = open_meteo_answer(weather(START, 24))
    answer["hourly_units"][name] = unit
    with pytest.raises(FeedUnusable, match="unit"):
        parse(answer)


def test_a_variable_the_model_lacks_is_missing_not_zero() -> None:
    answer = open_meteo_answer(weather(START, 24), without=["soil_temperature_6cm"])
    answer["hourly_units"]["et0_fao_evapotranspiration"] = "undefined"
    answer["hourly"]["et0_fao_evapotranspiration"] = [None] * 25
    forecast = parse(answer)
    assert np.isnan(forecast.soil_temperature_c).all()
    assert np.isnan(forecast.et0_mm).all()


def test_null_hours_stay_missing() -> None:
    forecast = parse(open_meteo_answer(weather(START, 24, rain_mm={5: None}, chance={6: None})))
    assert np.isnan(forecast.rain_mm[at(forecast, "2026-05-04T05:00")])
    assert np.isnan(forecast.chance[at(forecast, "2026-05-04T06:00")])
    assert forecast.rain_mm[at(forecast, "2026-05-04T06:00")] == 0.0


def test_hours_left_out_of_the_answer_stay_missing() -> None:
    answer = open_meteo_answer(weather(START, 24, rain_mm=1.0))
    for values in answer["hourly"].values():
        del values[10:13]
    forecast = parse(answer)
    missing = [at(forecast, f"2026-05-04T{h:02d}:00") for h in (9, 10, 11)]
    assert np.isnan(forecast.rain_mm[missing]).all()
    assert np.isfinite(forecast.rain_mm[at(forecast, "2026-05-04T12:00")])
    assert np.isnan(forecast.temperature_c[at(forecast, "2026-05-04T11:00")])


def test_probability_alone_is_enough_but_neither_is_not() -> None:
    assert np.isnan(parse(open_meteo_answer(weather(START, 24), without=["precipitation"])).rain_mm).all()
    with pytest.raises(FeedUnusable, match="neither rain nor"):
        parse(open_meteo_answer(weather(START, 24), without=["precipitation", "precipitation_probability"]))


def test_one_model_with_a_suffix_is_read() -> None:
    forecast = parse(open_meteo_answer(weather(START, 24, rain_mm={3: 2.0}), suffix="_icon_seamless"))
    assert np.nansum(forecast.rain_mm) == 2.0
    assert "icon_seamless" in forecast.notes[0]


def test_of_several_models_the_first_is_read_and_none_is_mixed_in() -> None:
    one = open_meteo_answer(weather(START, 24, rain_mm=1.0), suffix="_icon_seamless", without=["temperature_2m"])
    two = open_meteo_answer(weather(START, 24, rain_mm=5.0, temperature_c=20.0), suffix="_gfs_seamless")
    one["hourly"] |= two["hourly"]
    one["hourly_units"] |= two["hourly_units"]
    forecast = parse(one)
    assert np.nanmax(forecast.rain_mm) == 1.0
    assert np.isnan(forecast.temperature_c).all()  # the first model has none; the second's is not borrowed


@pytest.mark.parametrize("name", ["precipitation_member01", "precipitation_previous_day1", "precipitation_spread"])
def test_members_spreads_and_earlier_runs_are_no_models(name: str) -> None:
    answer = open_meteo_answer(weather(START, 24), without=["precipitation", "precipitation_probability"])
    answer["hourly"][name] = [0.0] * 25
    answer["hourly_units"][name] = "mm"
    with pytest.raises(FeedUnusable, match="neither rain nor"):
        parse(answer)


def test_the_nearest_of_many_places_is_read() -> None:
    places = [(48.0, 11.0), (LATITUDE + 0.05, LONGITUDE), (LATITUDE, LONGITUDE + 0.15)]
    many = [
        open_meteo_answer(weather(START, 24, rain_mm=float(i)), latitude=north, longitude=east)
        for i, (north, east) in enumerate(places)
    ]
    assert np.nanmax(parse(many).rain_mm) == 1.0


@pytest.mark.parametrize("moved", [(0.3, 0.0), (0.0, 0.5), (-90.0, 0.0)])
def test_an_answer_for_another_place_is_refused(moved: tuple[float, float]) -> None:
    answer = open_meteo_answer(weather(START, 24), latitude=LATITUDE + moved[0], longitude=LONGITUDE + moved[1])
    with pytest.raises(FeedUnusable, match="another place"):
        parse(answer)


def test_issue_time_is_the_receipt_and_said_to_be_unstated() -> None:
    forecast = parse(open_meteo_answer(weather(START, 24)))
    assert (forecast.issued, forecast.received, forecast.issue_stated) == (NOW, NOW, False)


def test_an_answer_with_its_own_clock_is_no_younger_than_that() -> None:
    old = NOW - timedelta(hours=9, minutes=20)
    forecast = parse(open_meteo_answer(weather(START, 24), current=old))
    assert forecast.issued == forecast.received == old
    with pytest.raises(FeedUnusable, match="future"):
        parse(open_meteo_answer(weather(START, 24), current=NOW + timedelta(hours=2)))


def test_what_is_asked_is_pinned_to_whole_utc_hours_and_si_units() -> None:
    places = [(51.48, -0.62)] * 201
    first, second = OpenMeteo().requests(
        places, endpoint=Endpoint("https://example.org/v1/forecast", (("apikey", "k"),)), now=NOW, known={}
    )
    assert (len(first.places), len(second.places)) == (200, 1)
    assert first.params["latitude"].count(",") == 199
    expected = {"timezone": "GMT", "timeformat": "unixtime", "wind_speed_unit": "ms", "precipitation_unit": "mm"}
    assert expected.items() <= second.params.items()
    assert second.params["apikey"] == "k"
    assert len(second.params["hourly"].split(",")) <= 10  # more would count as more than one call (terms)


def test_one_answer_for_each_place_asked() -> None:
    one = open_meteo_answer(weather(START, 24))
    assert [parse(raw).hours for raw in OpenMeteo().split(body([one, one, one]), 3)] == [26] * 3
    assert OpenMeteo().split(body(one), 1) == [body(one)]
    for wrong in ([one, one], one, []):
        with pytest.raises(FeedUnusable, match="each place"):
            OpenMeteo().split(body(wrong), 3)


def test_all_fields_are_as_long_as_the_forecast() -> None:
    forecast = parse(open_meteo_answer(weather(START, 30)))
    assert {len(getattr(forecast, name)) for name in FIELDS} == {forecast.hours}
