"""Bright Sky answers: observed and forecast hours, stations, six-hour chances. Shapes: brightsky.dev/docs."""

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from adapters.feeds.asking import Endpoint
from adapters.feeds.bright_sky import BrightSky
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import Forecast
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, body, weather
from tests.adapters.feeds.answers_other import bright_sky_answer, six_hour_chances

NOW = datetime(2026, 5, 4, 11, 20, tzinfo=UTC)
START = "2026-05-04T00:00"


def parse(answer: Any) -> Forecast:
    return BrightSky().parse(body(answer), latitude=LATITUDE, longitude=LONGITUDE, received=NOW)


def test_every_field_of_the_table_comes_back_in_its_own_hour() -> None:
    # docs: precipitation, its probability and wind are of the previous hour; the others of the stamp.
    rng = np.random.default_rng(8)
    names = {"rain_mm": 9, "chance": 1, "temperature_c": 30, "wind_m_s": 12, "gust_m_s": 30, "humidity_pct": 100}
    table = weather(START, 72, **{name: list(rng.uniform(0, most, 72)) for name, most in names.items()})
    forecast = parse(bright_sky_answer(table))
    first = forecast.index(table.start)
    for name in (*names, "dew_point_c", "cloud_pct"):
        np.testing.assert_allclose(getattr(forecast, name)[first : first + 72], np.array(table[name], float))
    assert forecast.chance_mm == 0.1
    assert not forecast.issue_stated


def test_observed_hours_and_the_station_are_noted() -> None:
    forecast = parse(bright_sky_answer(weather(START, 48), observed=12, station=(LATITUDE + 0.1, LONGITUDE)))
    assert any("observed up to 2026-05-04 11:00" in note for note in forecast.notes)
    assert any("11 km away" in note for note in forecast.notes)
    assert forecast.observed_until == NOW.replace(minute=0)
    assert parse(bright_sky_answer(weather(START, 48), observed=0)).observed_until is None
    assert np.isnan(forecast.chance[forecast.index(datetime(2026, 5, 4, 5, tzinfo=UTC))])


def test_a_station_too_far_away_is_another_place() -> None:
    with pytest.raises(FeedUnusable, match="another place"):
        parse(bright_sky_answer(weather(START, 48), station=(LATITUDE + 0.4, LONGITUDE)))


def test_observations_alone_are_no_forecast() -> None:
    with pytest.raises(FeedUnusable, match="only observations"):
        parse(bright_sky_answer(weather(START, 48), observed=100))


def test_humidity_is_computed_where_it_is_missing() -> None:
    # FAO-56 annex 2 table 2.3: saturation vapour pressure 2.338 kPa at 20 C, 1.228 kPa at 10 C.
    answer = bright_sky_answer(weather(START, 48, humidity_pct=None, temperature_c=20.0, dew_point_c=10.0))
    values = parse(answer).humidity_pct
    np.testing.assert_allclose(values[np.isfinite(values)], 100 * 1.228 / 2.338, rtol=1e-3)


def test_a_six_hour_chance_is_that_of_one_period() -> None:
    answer = bright_sky_answer(weather(START, 48, rain_mm={7: 3.0}))
    six_hour_chances(answer, 0.4)
    forecast = parse(answer)
    six = forecast.index(datetime(2026, 5, 4, 6, tzinfo=UTC))
    np.testing.assert_allclose(forecast.chance[six : six + 6], 0.4)
    np.testing.assert_allclose(forecast.rain_mm[six : six + 6], 0.5)
    assert (forecast.period_start[six : six + 6] == six).all()
    assert forecast.chance_mm == 0.2


def test_an_hourly_chance_goes_before_that_of_six_hours() -> None:
    answer = bright_sky_answer(weather(START, 48, rain_mm={7: 3.0}, chance=0.1))
    for record in answer["weather"]:
        record["precipitation_probability_6h"] = 90.0
    forecast = parse(answer)
    assert np.nanmax(forecast.chance) == pytest.approx(0.1)
    np.testing.assert_array_equal(forecast.period_start, np.arange(forecast.hours))


def test_missing_keys_are_missing_values() -> None:
    answer = bright_sky_answer(weather(START, 48))
    for record in answer["weather"]:
        del record["precipitation_probability"], record["precipitation_probability_6h"], record["cloud_cover"]
    forecast = parse(answer)
    assert np.isnan(forecast.chance).all()
    assert np.isnan(forecast.cloud_pct).all()
    for record in answer["weather"]:
        del record["precipitation"]
    with pytest.raises(FeedUnusable, match="neither rain nor"):
        parse(answer)


def test_kelvin_instead_of_celsius_is_refused() -> None:
    # units=si answers in kelvin and m/s without saying so; it is not what was asked for.
    with pytest.raises(FeedUnusable, match="temperature_c"):
        parse(bright_sky_answer(weather(START, 48, temperature_c=290.0)))


@pytest.mark.parametrize(
    "change",
    [
        lambda a: a["sources"].clear(),
        lambda a: a["weather"][3].update(source_id=9),
        lambda a: a["weather"][3].update(source_id=None),
        lambda a: a["weather"][3].update(source_id=True),
        lambda a: a["sources"][1].update(lat="51"),
        lambda a: a["sources"][1].update(lat=None),
        lambda a: a["sources"].append(3),
        lambda a: a.pop("sources"),
        lambda a: a["weather"].clear(),
        lambda a: a["weather"].append(3),
        lambda a: a["weather"][3].update(timestamp="2026-05-04T03:30:00+00:00"),
        lambda a: a["weather"].reverse(),
    ],
)
def test_answers_that_make_no_sense_are_refused(change: Any) -> None:
    answer = bright_sky_answer(weather(START, 48), observed=2)
    change(answer)
    with pytest.raises(FeedUnusable):
        parse(answer)


def test_what_is_asked_is_pinned_to_utc_and_the_units_read() -> None:
    asked = BrightSky().requests([(51.48, -0.62)], endpoint=Endpoint("https://example.org/weather"), now=NOW, known={})[
        0
    ]
    assert asked.params["date"] == "2026-05-02T11:00Z"
    assert asked.params["last_date"] == "2026-05-14T11:00Z"
    assert (asked.params["units"], asked.params["tz"]) == ("dwd", "Etc/UTC")
