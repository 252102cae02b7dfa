"""Grid cells and alerts of the US National Weather Service. Source of the shapes: weather-gov.github.io/api."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import responses

from adapters.feeds.alerts import Alert, alerts, read_alerts
from adapters.feeds.asking import Endpoint
from adapters.feeds.fetch import FetchState, refresh
from adapters.feeds.nws import Nws
from config.models import Feed
from scheduler.ports import FeedUnavailable, FeedUnusable
from scheduler.weather.cells import centre
from scheduler.weather.forecast import Forecast
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, body, weather
from tests.adapters.feeds.answers_other import nws_answer, nws_point

NOW = datetime(2026, 5, 4, 11, 20, tzinfo=UTC)
START = "2026-05-04T09:00"
CELL = "51.48,-0.62"
FEED = Feed(contact="office@lawns.example", urls={"nws": "https://nws.example"})


def parse(answer: Any, received: datetime = NOW) -> Forecast:
    return Nws().parse(body(answer), latitude=LATITUDE, longitude=LONGITUDE, received=received)


def refused(answer: Any, why: str) -> None:
    with pytest.raises(FeedUnusable, match=why):
        parse(answer)


def test_layers_hold_over_their_intervals() -> None:
    rng = np.random.default_rng(7)
    table = weather(
        START,
        96,
        temperature_c=list(np.repeat(rng.uniform(0, 30, 24), 4)),
        wind_m_s=list(rng.uniform(0, 12, 96)),
        humidity_pct=list(np.repeat(rng.uniform(20, 100, 12), 8)),
    )
    forecast = parse(nws_answer(table))
    assert (forecast.start, forecast.hours) == (table.start, 96)
    for name in ("temperature_c", "humidity_pct", "dew_point_c", "wind_m_s", "gust_m_s", "cloud_pct"):
        np.testing.assert_allclose(getattr(forecast, name), np.array(table[name], float))
    assert np.isnan(forecast.soil_temperature_c).all()


def test_rain_is_a_total_of_its_interval() -> None:
    # weather-gov/api issue 21: quantitativePrecipitation is the exception, "accumulation totals for each valid time".
    table = weather(START, 96, rain_mm={4: 6.0}, chance={4: 0.5, 5: 0.8, 6: 0.2})
    forecast = parse(nws_answer(table))
    np.testing.assert_allclose(forecast.rain_mm[3:9], 1.0)  # 12:00 to 18:00
    np.testing.assert_allclose(forecast.chance[3:9], 0.8)  # one period: its highest
    assert (forecast.period_start[3:9] == 3).all()
    assert list(forecast.period_start[:3]) == [0, 0, 0]  # the first interval is short
    assert np.nansum(forecast.rain_mm) == pytest.approx(6.0)


def test_hourly_totals_are_periods_of_one_hour() -> None:
    forecast = parse(nws_answer(weather(START, 48, rain_mm={4: 6.0}, chance={4: 0.5}), rain_h=1))
    assert (forecast.rain_mm[4], forecast.chance[4], forecast.chance[5]) == (6.0, 0.5, 0.0)
    np.testing.assert_array_equal(forecast.period_start, np.arange(48))


def test_rain_that_ends_before_the_other_layers_is_unknown_after() -> None:
    forecast = parse(nws_answer(weather(START, 96), rain_hours=45))
    assert np.isfinite(forecast.rain_mm[:45]).all()
    assert np.isnan(forecast.rain_mm[45:]).all()
    assert np.isfinite(forecast.temperature_c[45:]).all()


def test_a_period_with_an_unknown_hour_of_chance_has_an_unknown_chance() -> None:
    forecast = parse(nws_answer(weather(START, 48, chance={4: None})))
    assert np.isnan(forecast.chance[3:9]).all()
    assert np.isfinite(forecast.chance[9:]).all()


def test_null_values_stay_unknown() -> None:
    forecast = parse(nws_answer(weather(START, 48, rain_mm={4: None}, temperature_c={7: None})))
    assert np.isnan(forecast.rain_mm[3:9]).all()
    assert np.isnan(forecast.temperature_c[7])


def test_wetness_counts_from_a_hundredth_of_an_inch() -> None:
    assert parse(nws_answer(weather(START, 48))).chance_mm == pytest.approx(0.01 * 25.4)


@pytest.mark.parametrize(("unit", "given", "metres"), [("unit:m_s-1", 5.0, 5.0), ("nwsUnit:km_h-1", 18.0, 5.0)])
def test_units_are_read_by_the_part_after_the_colon(unit: str, given: float, metres: float) -> None:
    answer = nws_answer(weather(START, 48))
    answer["properties"]["windSpeed"]["uom"] = unit
    answer["properties"]["windSpeed"]["values"] = [{"validTime": "2026-05-04T09:00:00+00:00/P2D", "value": given}]
    np.testing.assert_allclose(parse(answer).wind_m_s, metres)


@pytest.mark.parametrize("unit", ["wmoUnit:kt", "wmoUnit:", "", None, 3, "wmoUnit:inch"])
@pytest.mark.parametrize(
    "layer", ["temperature", "windSpeed", "quantitativePrecipitation", "probabilityOfPrecipitation"]
)
def test_an_unknown_unit_refuses_the_whole_answer(layer: str, unit: Any) -> None:
    answer = nws_answer(weather(START, 48))
    answer["properties"][layer]["uom"] = unit
    refused(answer, f"unit of {layer}")


@pytest.mark.parametrize(
    ("interval", "why"),
    [
        ("2026-05-04T12:00:00+00:00/PT30M", "whole hours"),
        ("2026-05-04T12:30:00+00:00/PT1H", "whole hours"),
        ("2026-05-04T12:00:00+00:00/PT0H", "whole hours"),
        ("2026-05-04T12:00:00+00:00/P", "whole hours"),
        ("2026-05-04T12:00:00+00:00/P1Y", "whole hours"),
        ("2026-05-04T12:00:00+00:00/P999D", "whole hours"),
        ("2026-05-04T12:00:00+00:00", "whole hours"),
        ("2026-05-04T12:00:00/PT1H", "not a time"),
        ("NOW/PT1H", "not a time"),
        (None, "not a time"),
        ("2026-05-04T09:00:00+00:00/PT1H", "overlap"),
        ("2026-05-04T18:00:00+00:00/PT1H", "overlap"),
        ("2026-08-04T12:00:00+00:00/PT1H", "overlap"),
    ],
)
def test_intervals_that_make_no_sense_are_refused(interval: Any, why: str) -> None:
    answer = nws_answer(weather(START, 48))
    answer["properties"]["quantitativePrecipitation"]["values"][1]["validTime"] = interval
    refused(answer, why)


def test_a_grid_whose_hours_are_not_of_its_issue_time_is_refused() -> None:
    # Cells have been served with the hours of months before under a new updateTime.
    answer = nws_answer(weather("2026-01-04T09:00", 96), issued=NOW)
    refused(answer, "not those of its issue time")


def test_an_old_grid_says_when_it_was_issued() -> None:
    issued = NOW - timedelta(hours=40)
    assert parse(nws_answer(weather(issued.replace(minute=0), 96), issued=issued)).issued == issued
    refused(nws_answer(weather(START, 96), issued=NOW + timedelta(hours=2)), "future")


def test_a_cell_elsewhere_is_refused() -> None:
    refused(nws_answer(weather(START, 48), latitude=LATITUDE + 0.4), "another place")


def test_the_grid_cell_of_a_place_is_learnt() -> None:
    known = Nws().learn(body(nws_point()), (LATITUDE, LONGITUDE), NOW)
    assert known["grid"] == "ZZZ/12,34"
    asked = Nws().requests([(LATITUDE, LONGITUDE)], endpoint=Endpoint("https://nws.example"), now=NOW, known=known)
    assert asked[0].url == "https://nws.example/gridpoints/ZZZ/12,34"
    assert asked[0].headers["Accept"] == "application/geo+json"
    asked = Nws().requests([(LATITUDE, LONGITUDE)], endpoint=Endpoint("https://nws.example"), now=NOW, known={})
    assert asked[0].url == "https://nws.example/points/51.48,-0.62"


@pytest.mark.parametrize(
    ("grid", "x"), [("../x", 1), ("ZZ", 1), ("ZZZ", "1"), ("ZZZ", -1), ("ZZZ", True), (None, 1), ("ZZZ", 1e9)]
)
def test_a_grid_cell_with_an_odd_name_is_refused(grid: Any, x: Any) -> None:
    with pytest.raises(FeedUnusable, match="grid cell"):
        Nws().learn(body(nws_point(grid=grid, x=x)), (LATITUDE, LONGITUDE), NOW)


# --- asking in two steps ----------------------------------------------------------------------------------------------


def ask(state: FetchState | None = None, now: datetime = NOW) -> Any:
    states = {CELL: state} if state else {}
    return refresh("nws", [CELL], states, feed=FEED, environ={}, now=now, sleep=lambda _: None)[CELL]


def serve(web: responses.RequestsMock) -> None:
    north, east = centre(CELL)
    web.add(responses.GET, "https://nws.example/points/51.48,-0.62", body(nws_point(north, east)))
    web.add(
        responses.GET,
        "https://nws.example/gridpoints/ZZZ/12,34",
        body(nws_answer(weather(START, 96), latitude=north, longitude=east)),
    )


@responses.activate
def test_a_place_is_looked_up_once_a_week() -> None:
    serve(responses.mock)
    first = ask()
    assert first.forecast is not None
    assert [str(call.request.url).split("/")[3] for call in responses.calls] == ["points", "gridpoints"]
    second = ask(first.state, NOW + timedelta(hours=2))
    assert second.forecast is not None
    assert len(responses.calls) == 3
    ask(second.state, NOW + timedelta(days=8))
    assert [str(call.request.url).split("/")[3] for call in responses.calls][3:] == ["points", "gridpoints"]


@responses.activate
def test_a_cell_that_is_gone_is_looked_up_anew_and_only_then_the_operator_is_called() -> None:
    serve(responses.mock)
    state = ask().state
    responses.replace(responses.GET, "https://nws.example/gridpoints/ZZZ/12,34", status=404)
    later = NOW + timedelta(days=2)
    gone = ask(state, later)
    assert not gone.operator
    assert gone.state.next_try_at == later + timedelta(minutes=1)
    again = ask(gone.state, later + timedelta(minutes=1))
    assert str(responses.calls[-2].request.url).split("/")[3] == "points"
    assert again.operator
    assert again.state.next_try_at == later + timedelta(minutes=1, hours=24)


@responses.activate
def test_a_place_outside_the_country_is_for_the_operator() -> None:
    problem = {"type": "https://api.weather.gov/problems/InvalidPoint", "detail": "Unable to provide data"}
    responses.add(responses.GET, "https://nws.example/points/51.48,-0.62", body(problem), status=404)
    outcome = ask()
    assert outcome.operator
    assert "Unable to provide data" in outcome.error


@responses.activate
def test_a_look_up_that_says_nothing_is_a_passing_failure() -> None:
    responses.add(responses.GET, "https://nws.example/points/51.48,-0.62", b"{}")
    outcome = ask()
    assert outcome.error
    assert outcome.state.next_try_at == NOW + timedelta(minutes=1)


# --- alerts -----------------------------------------------------------------------------------------------------------


def alert(**changes: Any) -> dict[str, Any]:
    made = {
        "event": "Flood Watch",
        "severity": "Severe",
        "status": "Actual",
        "messageType": "Alert",
        "onset": "2026-05-04T08:00:00-05:00",
        "effective": "2026-05-04T05:00:00-05:00",
        "expires": "2026-05-04T20:00:00-05:00",
        "ends": "2026-05-05T08:00:00-05:00",
    }
    return {"type": "Feature", "properties": made | changes}


def listed(*features: Any) -> bytes:
    return body({"type": "FeatureCollection", "features": list(features)})


def test_an_alert_has_its_name_weight_and_times_in_utc() -> None:
    found = read_alerts(listed(alert()), NOW)
    begins, ends = datetime(2026, 5, 4, 13, tzinfo=UTC), datetime(2026, 5, 5, 13, tzinfo=UTC)
    assert found == (Alert("Flood Watch", "Severe", begins, ends),)


def test_without_an_end_the_expiry_counts_and_without_onset_the_effective_time() -> None:
    found = read_alerts(listed(alert(ends=None, onset=None)), NOW)
    assert found[0].ends == datetime(2026, 5, 5, 1, tzinfo=UTC)
    assert found[0].onset == datetime(2026, 5, 4, 10, tzinfo=UTC)
    assert read_alerts(listed(alert(ends=None, expires=None)), NOW)[0].ends is None


def test_what_is_over_cancelled_or_an_exercise_is_left_out() -> None:
    over = alert(ends="2026-05-04T06:00:00-05:00")
    assert read_alerts(listed(over, alert(messageType="Cancel"), alert(status="Exercise")), NOW) == ()


def test_the_most_severe_comes_first_and_each_once() -> None:
    found = read_alerts(listed(alert(severity="Minor"), alert(), alert(), alert(severity="odd")), NOW)
    assert [one.severity for one in found] == ["Severe", "Minor", "Unknown"]


@pytest.mark.parametrize(
    "raw",
    [
        b"{}",
        b"[]",
        b"<html>",
        listed(3),
        listed(alert(event=None)),
        listed(alert(onset="soon")),
        listed(alert(event=" ")),
    ],
)
def test_half_a_list_of_warnings_is_none(raw: bytes) -> None:
    with pytest.raises(FeedUnusable):
        read_alerts(raw, NOW)


@responses.activate
def test_alerts_are_asked_for_by_point() -> None:
    responses.add(responses.GET, "https://nws.example/alerts/active", listed(alert()))
    assert len(alerts(51.482399, -0.617199, feed=FEED, environ={}, now=NOW)) == 1
    assert "point=51.4823%2C-0.6171" in str(responses.calls[0].request.url)
    responses.replace(responses.GET, "https://nws.example/alerts/active", status=503)
    with pytest.raises(FeedUnavailable) as caught:
        alerts(51.48, -0.62, feed=FEED, environ={}, now=NOW)
    assert caught.value.retry_at == NOW + timedelta(minutes=1)
