"""Weather warnings: when the service is asked, what is kept, and what is said to be known."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from adapters.daemon.feed_job import FeedJob
from adapters.feeds.http import Answer
from adapters.store import Store, open_store
from adapters.warnings import EVERY, refresh_warnings
from adapters.weather import weather_now
from config.models import Estate
from scheduler.ports import FeedUnavailable
from scheduler.values import WeatherWarning
from tests.adapters.daemon.fakes import HandClock, parts_in
from tests.builders import build_estate, lawn

NOW = datetime(2026, 5, 4, 11, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
PLACES = [(40.0, -90.0), (41.0, -91.0), (42.0, -92.0)]
CELLS = ["40.00,-90.00", "41.00,-91.00", "42.00,-92.00"]
FEED = {"order": ["met-norway", "nws"], "contact": "grounds@example.org"}


def listed(*events: str, onset: datetime = NOW - HOUR, ends: datetime | None = NOW + 3 * HOUR) -> bytes:
    """An answer of /alerts/active; its shape: weather-gov.github.io/api."""
    features = [
        {"properties": {"event": event, "severity": "Moderate", "status": "Actual", "messageType": "Alert",
                        "onset": onset.isoformat(), "ends": ends.isoformat() if ends else None}}
        for event in events
    ]  # fmt: skip
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


class Service:
    """Stands in for the network; `answer` is what every place gets, or a function of the latitude."""

    def __init__(self, answer: Answer | FeedUnavailable | Callable[[float], Answer]) -> None:
        self.answer = answer
        self.asked: list[float] = []

    def __call__(self, _session: object, latitude: float, _longitude: float, **_: object) -> Answer:
        self.asked.append(latitude)
        if isinstance(self.answer, FeedUnavailable):
            raise self.answer
        return self.answer if isinstance(self.answer, Answer) else self.answer(latitude)


def ok(*events: str, **more: Any) -> Answer:
    return Answer(200, {}, listed(*events, **more))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def estate(tmp_path: Path) -> Estate:
    rows = [lawn(id=f"l{n}", latitude=north, longitude=east) for n, (north, east) in enumerate(PLACES)]
    return build_estate(tmp_path / "estate", feed=FEED, lawns=rows)


def ask(store: Store, estate: Estate, service: Service, now: datetime = NOW, **more: Any) -> None:
    given = {"sleep": lambda _s: None, **more}
    refresh_warnings(store, estate, now, {}, allow_local=False, ask=service, **given)


def known(store: Store, estate: Estate, now: datetime = NOW) -> list[tuple[str, ...] | None]:
    """The events of each cell, None where nothing is known."""
    found = weather_now(store, estate, now)
    return [None if (w := found[cell].warnings) is None else tuple(one.event for one in w) for cell in CELLS]


def test_an_estate_that_does_not_name_the_service_asks_nothing_and_knows_nothing(store: Store, tmp_path: Path) -> None:
    estate = build_estate(tmp_path / "other", feed={**FEED, "order": ["met-norway"]})
    service = Service(ok("Flood Watch"))
    ask(store, estate, service)
    assert service.asked == []
    assert [at.warnings for at in weather_now(store, estate, NOW).values()] == [None]


def test_each_cell_is_asked_at_most_every_quarter_of_an_hour(store: Store, estate: Estate) -> None:
    service = Service(ok())
    assert known(store, estate) == [None, None, None]
    for minutes in range(61):
        ask(store, estate, service, NOW + timedelta(minutes=minutes))
    for north, _ in PLACES:
        assert 3 <= service.asked.count(north) <= 5  # every 15 to 20 minutes
    ask(store, estate, service, NOW + HOUR - EVERY)  # the clock was put back
    assert known(store, estate, NOW + HOUR) == [(), (), ()]


def test_what_is_in_force_or_to_come_is_known_with_its_times(store: Store, estate: Estate) -> None:
    def answer(north: float) -> Answer:
        return ok("Flood Watch", onset=NOW + HOUR, ends=None) if north == 41.0 else ok()

    ask(store, estate, Service(answer))
    assert known(store, estate) == [(), ("Flood Watch",), ()]
    (warning,) = weather_now(store, estate, NOW)[CELLS[1]].warnings or ()
    assert warning == WeatherWarning("Flood Watch", NOW + HOUR, None)


def test_a_warning_that_has_ended_is_gone_before_the_next_look(store: Store, estate: Estate) -> None:
    ask(store, estate, Service(ok("High Wind Warning", ends=NOW + timedelta(minutes=10))))
    assert known(store, estate, NOW + timedelta(minutes=9))[0] == ("High Wind Warning",)
    assert known(store, estate, NOW + timedelta(minutes=10))[0] == ()


@pytest.mark.parametrize(
    "fault",
    [Answer(503, {}, b"busy"), Answer(200, {}, b"<html>"), Answer(200, {}, b'{"features": [NaN]}'),
     FeedUnavailable("cannot be reached"), Answer(403, {}, b"")],
    ids=["503", "web page", "nan", "no connection", "403"],
)  # fmt: skip
def test_while_the_service_fails_the_last_word_stands_for_an_hour_and_then_nothing_is_known(
    store: Store, estate: Estate, fault: Answer | FeedUnavailable
) -> None:
    service = Service(ok("Freeze Warning"))
    ask(store, estate, service)
    service.answer = fault
    for minutes in range(20, 61, 5):
        ask(store, estate, service, NOW + timedelta(minutes=minutes))
    assert known(store, estate, NOW + HOUR)[0] == ("Freeze Warning",)
    assert known(store, estate, NOW + HOUR + timedelta(minutes=1)) == [None, None, None]


@pytest.mark.parametrize("status", [403, 429])
def test_a_service_that_refuses_us_is_left_alone_for_all_places(store: Store, estate: Estate, status: int) -> None:
    service = Service(Answer(status, {}, b""))
    ask(store, estate, service)
    ask(store, estate, service, NOW + timedelta(minutes=1))
    assert len(service.asked) == 1


def test_a_place_outside_the_services_area_costs_the_others_nothing(store: Store, estate: Estate) -> None:
    service = Service(lambda north: ok("Flood Watch") if north == 42.0 else Answer(400, {}, b"{}"))
    ask(store, estate, service)
    assert known(store, estate) == [None, None, ("Flood Watch",)]
    service.asked.clear()
    ask(store, estate, service, NOW + HOUR)
    assert service.asked == [42.0]


def test_two_faults_in_a_row_end_the_round(store: Store, estate: Estate) -> None:
    service = Service(Answer(502, {}, b""))
    ask(store, estate, service)
    assert len(service.asked) == 2


def test_what_was_received_before_the_round_was_ended_is_kept(store: Store, estate: Estate) -> None:
    def stop(_seconds: float) -> None:
        raise InterruptedError

    with pytest.raises(InterruptedError):
        ask(store, estate, Service(ok("Flood Watch")), sleep=stop)
    assert known(store, estate) == [("Flood Watch",), None, None]


def test_the_feed_job_asks_for_warnings_after_the_forecasts(store: Store, tmp_path: Path) -> None:
    rows = [lawn(latitude=40.0, longitude=-90.0)]
    parts = parts_in(tmp_path / "job", store, HandClock(NOW), feed=FEED, lawns=rows)
    order: list[str] = []

    def forecasts(provider: str, *_: object, **__: object) -> dict[str, Any]:
        order.append(provider)
        return {}

    def warn(_store: Store, _estate: Estate, now: datetime, *_: object, **__: object) -> None:
        order.append(f"warnings at {now:%H:%M}")

    job = FeedJob(parts, forecasts, warn)  # type: ignore[arg-type]
    job.run()
    assert order == ["met-norway", "nws", "warnings at 11:00"]
    assert job.looked_at(CELLS[0]) == NOW
