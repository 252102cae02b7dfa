"""When a feed is asked, how, and what becomes of each answer."""

import json
import logging
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
import responses

from adapters.feeds.fetch import FetchState, Outcome, is_due, refresh
from config.models import Feed
from scheduler.weather.cells import centre
from tests.adapters.feeds.answers import body, met_norway_answer, open_meteo_answer, weather

NOW = datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
TABLE = weather("2026-05-04T05:00", 60)
MET = "https://met.example/weatherapi/locationforecast/2.0/complete"
OPEN = "https://open.example/v1/forecast"
FEED = Feed(
    contact="office@lawns.example",
    urls={"met-norway": "https://met.example", "open-meteo": "https://open.example?apikey=${KEY}"},
)
CELLS = ["51.48,-0.62", "51.50,-0.60", "52.00,0.00", "53.00,1.00"]


@pytest.fixture
def web() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def ask(
    provider: str,
    cells: list[str],
    states: dict[str, FetchState] | None = None,
    *,
    now: datetime = NOW,
    feed: Feed = FEED,
    slept: list[float] | None = None,
) -> dict[str, Outcome]:
    pauses = [] if slept is None else slept
    return refresh(provider, cells, states or {}, feed=feed, environ={"KEY": "planted"}, now=now, sleep=pauses.append)


def states_of(outcomes: dict[str, Outcome]) -> dict[str, FetchState]:
    return {cell: outcome.state for cell, outcome in outcomes.items()}


def http_time(when: datetime) -> str:
    return format_datetime(when, usegmt=True)


def serve_met(web: responses.RequestsMock, **headers: str) -> None:
    """Answers for whatever place is asked."""

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], bytes]:
        asked = parse_qs(urlsplit(str(request.url)).query)
        made = met_norway_answer(TABLE, latitude=float(asked["lat"][0]), longitude=float(asked["lon"][0]))
        return 200, headers, body(made)

    web.add_callback(responses.GET, MET, callback=answer)


def serve_open(web: responses.RequestsMock, spoil: str = "", refuse: str = "") -> None:
    """Answers for the places asked; the one at latitude `spoil` has a text for a number, `refuse` gets all a 400."""

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], bytes]:
        asked = parse_qs(urlsplit(str(request.url)).query)
        norths, easts = asked["latitude"][0].split(","), asked["longitude"][0].split(",")
        if refuse in norths:
            return 400, {}, body({"error": True, "reason": "No data is available for this location"})
        every = [_one(north, east, north == spoil) for north, east in zip(norths, easts, strict=True)]
        return 200, {}, body(every if len(every) > 1 else every[0])

    web.add_callback(responses.GET, OPEN, callback=answer)


def _one(north: str, east: str, spoilt: bool) -> dict[str, Any]:
    made = open_meteo_answer(TABLE, latitude=float(north), longitude=float(east))
    if spoilt:
        made["hourly"]["precipitation"][3] = "0.4"
    return made


def queries(web: responses.RequestsMock) -> list[dict[str, list[str]]]:
    return [parse_qs(urlsplit(str(call.request.url)).query) for call in web.calls]


# --- MET Norway: one place per request, Expires, If-Modified-Since (api.met.no/doc/TermsOfService) -------------------


def test_each_cell_is_asked_for_alone_with_our_name_and_a_pause(web: responses.RequestsMock) -> None:
    serve_met(web)
    slept: list[float] = []
    outcomes = ask("met-norway", CELLS, slept=slept)
    assert sorted(outcomes) == sorted(CELLS)
    assert [q["lat"] for q in queries(web)] == [["51.48"], ["51.5"], ["52"], ["53"]]
    assert web.calls[0].request.headers["User-Agent"].startswith("ligule/")
    assert "office@lawns.example" in web.calls[0].request.headers["User-Agent"]
    assert web.calls[0].request.headers["Accept-Encoding"] == "gzip"
    assert len(slept) == 3
    assert min(slept) >= 1 / 20  # at most 20 requests a second
    for cell, outcome in outcomes.items():
        assert outcome.error is None
        assert outcome.forecast is not None
        assert (outcome.forecast.latitude, outcome.forecast.longitude) == centre(cell)
        assert outcome.forecast.received == NOW
        assert json.loads(outcome.body or b"")["type"] == "Feature"


def test_a_cell_is_not_asked_for_before_its_answer_expires(web: responses.RequestsMock) -> None:
    expires = NOW + timedelta(minutes=31)
    serve_met(web, Expires=http_time(expires))
    states = states_of(ask("met-norway", CELLS))
    assert {state.expires_at for state in states.values()} == {expires}
    assert ask("met-norway", CELLS, states, now=expires - timedelta(seconds=1)) == {}
    again = {cell: state.next_try_at for cell, state in states.items()}
    assert all(when and expires <= when <= expires + timedelta(minutes=5) for when in again.values())
    assert len(set(again.values())) > 1  # not all at once
    assert states_of(ask("met-norway", CELLS)) == states  # the same spread every time
    assert sorted(ask("met-norway", CELLS, states, now=expires + timedelta(minutes=5))) == sorted(CELLS)


def test_not_modified_keeps_the_data_and_takes_the_new_expiry(web: responses.RequestsMock) -> None:
    said = "Mon, 04 May 2026 05:11:07 GMT"
    serve_met(web, **{"Expires": http_time(NOW + timedelta(minutes=30)), "Last-Modified": said})
    states = states_of(ask("met-norway", CELLS[:1]))
    later = NOW + timedelta(minutes=40)
    web.replace(responses.GET, MET, status=304, headers={"Expires": http_time(later + timedelta(minutes=30))})
    outcome = ask("met-norway", CELLS[:1], states, now=later)[CELLS[0]]
    assert web.calls[-1].request.headers["If-Modified-Since"] == said
    assert (outcome.not_modified, outcome.forecast, outcome.error) == (True, None, None)
    assert outcome.state.expires_at == later + timedelta(minutes=30)
    assert outcome.state.last_modified == said
    assert ask("met-norway", CELLS[:1], {CELLS[0]: outcome.state}, now=later + timedelta(minutes=29)) == {}


def test_not_modified_without_having_asked_for_it_is_a_failure(web: responses.RequestsMock) -> None:
    web.add(responses.GET, MET, status=304)
    assert ask("met-norway", CELLS[:1])[CELLS[0]].error


@pytest.mark.parametrize(
    ("header", "most"),
    [
        (None, timedelta(minutes=35)),
        ("soon", timedelta(minutes=35)),
        (http_time(NOW - timedelta(days=1)), timedelta(minutes=35)),
        ("Fri, 31 Dec 9999 23:59:59 GMT", timedelta(hours=6, minutes=5)),
    ],
)
def test_an_expiry_that_makes_no_sense_neither_floods_nor_blinds(
    web: responses.RequestsMock, header: str | None, most: timedelta
) -> None:
    serve_met(web, **({"Expires": header} if header else {}))
    state = ask("met-norway", CELLS[:1])[CELLS[0]].state
    assert state.next_try_at is not None
    assert timedelta(minutes=5) <= state.next_try_at - NOW <= most


def test_a_203_is_used_and_logged(web: responses.RequestsMock, caplog: pytest.LogCaptureFixture) -> None:
    web.add(responses.GET, MET, body(met_norway_answer(TABLE)), status=203)
    with caplog.at_level(logging.WARNING):
        assert ask("met-norway", CELLS[:1])[CELLS[0]].forecast is not None
    assert "203" in caplog.text


def test_a_wait_that_a_wrong_clock_wrote_does_not_last() -> None:
    far = FetchState(
        "met-norway", CELLS[0], next_try_at=NOW + timedelta(days=400), expires_at=NOW + timedelta(days=400)
    )
    assert is_due(far, NOW)
    assert not is_due(replace(far, next_try_at=NOW + timedelta(hours=24)), NOW)


# --- Open-Meteo: many places per request ------------------------------------------------------------------------------


def test_all_cells_are_asked_for_at_once_and_each_gets_its_own_answer(web: responses.RequestsMock) -> None:
    serve_open(web)
    outcomes = ask("open-meteo", CELLS)
    assert len(web.calls) == 1
    assert queries(web)[0]["latitude"] == ["51.48,51.5,52,53"]
    assert queries(web)[0]["apikey"] == ["planted"]
    for outcome in outcomes.values():
        assert outcome.forecast is not None
        assert isinstance(json.loads(outcome.body or b""), dict)


def test_two_hundred_places_at_most_in_one_request(web: responses.RequestsMock) -> None:
    serve_open(web)
    cells = [f"{50 + i * 0.02:.2f},1.00" for i in range(201)]
    outcomes = ask("open-meteo", cells)
    assert len(web.calls) == 2
    assert all(outcome.forecast for outcome in outcomes.values())


def test_a_single_place_is_an_object(web: responses.RequestsMock) -> None:
    serve_open(web)
    assert ask("open-meteo", CELLS[:1])[CELLS[0]].forecast is not None


def test_an_hour_passes_before_the_next_request(web: responses.RequestsMock) -> None:
    serve_open(web)
    states = states_of(ask("open-meteo", CELLS))
    assert ask("open-meteo", CELLS, states, now=NOW + timedelta(minutes=54)) == {}
    assert sorted(ask("open-meteo", CELLS, states, now=NOW + timedelta(minutes=60))) == sorted(CELLS)


def test_one_bad_place_does_not_spoil_the_others(web: responses.RequestsMock) -> None:
    serve_open(web, spoil="52")
    outcomes = ask("open-meteo", CELLS)
    assert [cell for cell, outcome in outcomes.items() if outcome.error] == ["52.00,0.00"]
    assert sum(outcome.forecast is not None for outcome in outcomes.values()) == 3


def test_one_refused_place_does_not_cost_the_others_their_forecast(web: responses.RequestsMock) -> None:
    serve_open(web, refuse="52")
    outcomes = ask("open-meteo", CELLS)
    bad = outcomes["52.00,0.00"]
    assert bad.operator
    assert bad.state.next_try_at == NOW + timedelta(hours=24)
    assert sum(outcome.forecast is not None for outcome in outcomes.values()) == 3


def test_an_answer_with_too_few_places_is_not_guessed_at(web: responses.RequestsMock) -> None:
    web.add(responses.GET, OPEN, body([open_meteo_answer(TABLE)] * 3))
    assert all(outcome.error and not outcome.forecast for outcome in ask("open-meteo", CELLS).values())


# --- failures ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reason", "wait_until"),
    [
        # The four limits, in the words of RateLimiter.swift of the open-meteo server.
        ("Minutely API request limit exceeded. Please try again in one minute.", NOW + timedelta(seconds=60)),
        ("Too many concurrent requests", NOW + timedelta(seconds=15)),
        ("Hourly API request limit exceeded. Please try again in the next hour.", datetime(2026, 5, 4, 6, tzinfo=UTC)),
        ("Daily API request limit exceeded. Please try again tomorrow.", datetime(2026, 5, 5, tzinfo=UTC)),
    ],
)
def test_a_limit_says_how_long_to_wait(web: responses.RequestsMock, reason: str, wait_until: datetime) -> None:
    web.add(responses.GET, OPEN, body({"error": True, "reason": reason}), status=429)
    outcomes = ask("open-meteo", CELLS)
    assert {outcome.state.next_try_at for outcome in outcomes.values()} == {wait_until}
    assert not any(outcome.operator for outcome in outcomes.values())
    assert reason.split()[0] in str(outcomes[CELLS[0]].error)


@pytest.mark.parametrize(
    ("said", "wait"),
    [
        ("900", timedelta(minutes=15)),
        (http_time(NOW + timedelta(minutes=20)), timedelta(minutes=20)),
        ("86400", timedelta(hours=6)),
        ("9" * 400, timedelta(hours=6)),
        ("-5", timedelta(minutes=5)),
        ("never", timedelta(minutes=5)),
    ],
)
def test_retry_after_is_honoured_up_to_six_hours(web: responses.RequestsMock, said: str, wait: timedelta) -> None:
    # RFC 9110 section 10.2.3.
    web.add(responses.GET, MET, "busy", status=429, headers={"Retry-After": said})
    outcomes = ask("met-norway", CELLS)
    assert len(web.calls) == 1  # "limit traffic immediately": the other places wait too
    assert {outcome.state.next_try_at for outcome in outcomes.values()} == {NOW + wait}


def test_server_faults_back_off_from_one_to_sixty_minutes(web: responses.RequestsMock) -> None:
    web.add(responses.GET, MET, "<html>", status=503)
    states: dict[str, FetchState] = {}
    now, waits = NOW, []
    for _ in range(8):
        states = states_of(ask("met-norway", CELLS[:1], states, now=now))
        again = states[CELLS[0]].next_try_at
        assert again is not None
        waits.append((again - now) // timedelta(minutes=1))
        now = again
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60]
    assert states[CELLS[0]].failures == 8
    web.remove(responses.GET, MET)
    serve_met(web)
    state = ask("met-norway", CELLS[:1], states, now=now)[CELLS[0]].state
    assert (state.failures, state.last_error) == (0, "")


@pytest.mark.parametrize("status", [400, 401, 403, 404, 422])
def test_a_refusal_waits_a_day_and_calls_the_operator(web: responses.RequestsMock, status: int) -> None:
    web.add(responses.GET, MET, "<html>no</html>", status=status)
    outcome = ask("met-norway", CELLS[:1])[CELLS[0]]
    assert outcome.operator
    assert outcome.state.next_try_at == NOW + timedelta(hours=24)
    assert str(status) in str(outcome.error)


def test_new_settings_end_the_wait_for_the_operator(web: responses.RequestsMock) -> None:
    web.add(responses.GET, MET, "who are you?", status=403)
    states = states_of(ask("met-norway", CELLS[:1]))
    assert ask("met-norway", CELLS[:1], states, now=NOW + timedelta(hours=1)) == {}
    known = FEED.model_copy(update={"contact": "new@lawns.example"})
    assert list(ask("met-norway", CELLS[:1], states, now=NOW + timedelta(hours=1), feed=known)) == CELLS[:1]


def test_a_host_that_is_down_is_left_alone_after_the_second_failure(web: responses.RequestsMock) -> None:
    web.add(responses.GET, MET, body=requests.ConnectionError("https://met.example/?k=planted"))
    outcomes = ask("met-norway", CELLS)
    assert len(web.calls) == 2
    assert sorted(outcomes) == sorted(CELLS)
    assert all(outcome.state.failures == 1 for outcome in outcomes.values())
    assert all("planted" not in str(outcome.error) for outcome in outcomes.values())


def test_a_single_fault_between_good_answers_stops_nothing(web: responses.RequestsMock) -> None:
    web.add(responses.GET, MET, status=502)
    serve_met(web)
    outcomes = ask("met-norway", CELLS)
    assert sum(outcome.forecast is not None for outcome in outcomes.values()) == 3


def test_a_redirect_is_not_followed(web: responses.RequestsMock) -> None:
    web.add(responses.GET, MET, status=302, headers={"Location": "https://169.254.169.254/"})
    outcomes = ask("met-norway", CELLS)
    assert len(web.calls) == 1
    assert all(outcome.operator for outcome in outcomes.values())


@pytest.mark.parametrize("raw", [b"<html>busy</html>", b"{", b'{"properties": NaN}', b"null"])
def test_a_useless_answer_keeps_what_is_known_and_backs_off(web: responses.RequestsMock, raw: bytes) -> None:
    web.add(responses.GET, MET, raw, headers={"Last-Modified": "Mon, 04 May 2026 05:00:00 GMT"})
    before = FetchState("met-norway", CELLS[0], last_modified="Mon, 04 May 2026 03:00:00 GMT", failures=2)
    outcome = ask("met-norway", CELLS[:1], {CELLS[0]: before})[CELLS[0]]
    assert outcome.forecast is None
    assert outcome.body is None
    assert outcome.state.last_modified == before.last_modified
    assert outcome.state.next_try_at == NOW + timedelta(minutes=4)
    assert outcome.state.failures == 3


def test_a_key_never_stands_in_an_error(web: responses.RequestsMock) -> None:
    web.add(responses.GET, OPEN, body({"error": True, "reason": "The key planted is wrong"}), status=401)
    outcome = ask("open-meteo", CELLS[:1])[CELLS[0]]
    assert "planted" not in f"{outcome.error}{outcome.state}"
    assert "wrong" in str(outcome.error)


@pytest.mark.parametrize(
    "feed",
    [
        Feed(contact="a@b.example", urls={"open-meteo": "https://x.example/?k=${NOT_SET}"}),
        Feed(contact="a@b.example"),
        Feed(contact="a@b.example", urls={"open-meteo": "ftp://x.example"}),
    ],
)
def test_settings_that_cannot_be_used_ask_nothing_and_call_the_operator(
    web: responses.RequestsMock, feed: Feed
) -> None:
    outcomes = ask("open-meteo", CELLS, feed=feed)
    assert sorted(outcomes) == sorted(CELLS)
    assert all(outcome.operator and outcome.error for outcome in outcomes.values())
    assert not web.calls
    assert ask("open-meteo", CELLS, states_of(outcomes), feed=feed, now=NOW + timedelta(minutes=1)) == {}


def test_a_service_that_wants_a_name_is_not_asked_without_one(web: responses.RequestsMock) -> None:
    outcome = ask("met-norway", CELLS[:1], feed=Feed())[CELLS[0]]
    assert outcome.operator
    assert "contact" in str(outcome.error)
    assert not web.calls


def test_a_private_host_in_the_settings_is_refused(web: responses.RequestsMock) -> None:
    web.add_passthru("https://localhost")
    feed = Feed(contact="a@b.example", urls={"met-norway": "https://localhost:9/2.0"})
    outcome = ask("met-norway", CELLS[:1], feed=feed)[CELLS[0]]
    assert outcome.operator
    assert "public" in str(outcome.error)
