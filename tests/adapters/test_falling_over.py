"""A feed that fails, in every way it can: the next one serves in the same round, and the message names it."""

import socket
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from adapters.daemon.compose import compose_for
from adapters.daemon.estates import Estates
from adapters.daemon.feed_job import FeedJob
from adapters.daemon.parts import Parts
from adapters.feeds.registry import feed_named
from adapters.store import Store, open_store
from adapters.weather import weather_now
from tests.adapters.daemon.fakes import HandClock
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, body, met_norway_answer, open_meteo_answer, weather
from tests.adapters.feeds.answers_other import bright_sky_answer, nws_answer, nws_point
from tests.adapters.feeds.servers import Handler, Server, serving
from tests.builders import lawn, liquid, programme, write_estate

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
NOW = MIDNIGHT + timedelta(hours=5)
ISSUED = NOW - timedelta(minutes=40)
PROVIDERS = ("met-norway", "nws", "bright-sky", "open-meteo")
STATES_ISSUE = ("met-norway", "nws")


def good(provider: str, path: str, issued: datetime = ISSUED, north: float = LATITUDE) -> bytes:
    """A whole answer of a mild, dry spell."""
    table = weather(MIDNIGHT, 120)
    if "/points/" in path:
        return body(nws_point(north))
    return body(
        {
            "met-norway": lambda: met_norway_answer(table, issued=issued, latitude=north),
            "nws": lambda: nws_answer(table, issued=issued, latitude=north),
            "bright-sky": lambda: bright_sky_answer(table, latitude=north),
            "open-meteo": lambda: open_meteo_answer(table, latitude=north),
        }[provider]()
    )


Fault = Callable[[Handler, str], object]


def status(code: int, content: bytes = b"{}", **headers: str) -> Fault:
    return lambda request, _provider: request.reply(content, code, **headers)


def whole(content: bytes) -> Fault:
    return lambda request, _provider: request.reply(content)


def spoilt(change: Callable[[bytes], bytes]) -> Fault:
    return lambda request, provider: request.reply(change(good(provider, request.path)))


def dated(issued: datetime) -> Fault:
    return lambda request, provider: request.reply(good(provider, request.path, issued))


def elsewhere(request: Handler, provider: str) -> None:
    request.reply(good(provider, request.path, north=LATITUDE + 5))


def cut_off(request: Handler, provider: str) -> None:
    content = good(provider, request.path)
    request.send_response(200)
    request.send_header("Content-Length", str(len(content)))
    request.end_headers()
    request.wfile.write(content[: len(content) // 2])
    request.close_connection = True


def hang_up(request: Handler, _provider: str) -> None:
    request.connection.shutdown(socket.SHUT_RDWR)
    request.close_connection = True


def number(text: bytes) -> Callable[[bytes], bytes]:
    """Puts something else where the last number of the answer stands."""

    def change(content: bytes) -> bytes:
        head, sep, tail = content.rpartition(b"12.0")
        assert sep
        return head + text + tail

    return change


FAULTS: dict[str, Fault] = {
    "400": status(400), "403": status(403), "404": status(404), "429": status(429, Retry_After="86400"),
    "500": status(500), "502": status(502, b"<html>Bad gateway</html>"), "503": status(503, b"busy"),
    "204": status(204, b""), "redirect": status(302, b"", Location="http://127.0.0.1:1/"),
    "a web page": whole(b"<!doctype html><title>Sorry</title>"), "nothing": whole(b""), "null": whole(b"null"),
    "an empty list": whole(b"[]"), "an empty object": whole(b"{}"), "deep nesting": whole(b"[" * 200_000),
    "too large": whole(b" " * 9_000_000), "cut off": cut_off, "hang up": hang_up,
    "cut short": spoilt(lambda content: content[: len(content) // 2]),
    "NaN": spoilt(number(b"NaN")), "1e400": spoilt(number(b"1e400")), "a text": spoilt(number(b'"12"')),
    "no weather": spoilt(number(b"312.0")), "another place": elsewhere,
}  # fmt: skip
OLD = {
    "seven hours old": dated(NOW - timedelta(hours=7)), "a week old": dated(NOW - timedelta(days=7)),
    "from tomorrow": dated(NOW + timedelta(days=1)),
}  # fmt: skip
CASES = [(first, fault) for first in PROVIDERS for fault in (*FAULTS, *(OLD if first in STATES_ISSUE else ()))]


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    """Each provider has its own path: /met-norway/... and so on. A test names the provider that fails, and how."""
    with serving(lambda _request: None) as running:
        yield running


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


def estate_with(folder: Path, first: str, second: str, urls: dict[str, str]) -> Path:
    feed = {"order": [first, second], "contact": "grounds@example.org", "urls": urls}
    steps = [{"product": "leaf-feed", "from": "04-01", "to": "09-30"}]
    place = lawn(latitude=LATITUDE, longitude=LONGITUDE)
    return write_estate(
        folder, feed=feed, timezone="Europe/London", lawns=[place], products=[liquid()],
        programmes=[programme(steps=steps)],
    )  # fmt: skip


def urls_at(base: str) -> dict[str, str]:
    ends = {"met-norway": "/complete", "nws": "", "bright-sky": "/weather", "open-meteo": "/v1/forecast"}
    return {provider: f"{base}/{provider}{end}" for provider, end in ends.items()}


def one_round(folder: Path, store: Store, first: str, second: str, urls: dict[str, str]) -> tuple[str, str]:
    """One run of the service's feed job: the feed that serves, and the text of the message with its go."""
    environ = {"LIGULE_ALLOW_LOCAL": "1"}
    estates = Estates(estate_with(folder, first, second, {name: urls[name] for name in (first, second)}), environ)
    parts = Parts(store, estates, HandClock(NOW), environ, "me")
    FeedJob(parts, warn=lambda *_, **__: None).run()
    estate = estates.current()
    (at,) = weather_now(store, estate, NOW).values()
    assert at.state == "fresh"
    assert at.forecast is not None
    lines, told = compose_for(estate, NOW, {at.cell: at}, [], trial=False)(estate.people[0], False, None)
    assert '"verdict":"go"' in lines
    return at.forecast.provider, told.text


@pytest.mark.parametrize(("first", "fault"), CASES, ids=lambda value: str(value).replace(" ", "-"))
def test_the_next_feed_serves_in_the_same_round_and_is_named(
    server: Server, store: Store, tmp_path: Path, first: str, fault: str
) -> None:
    second = PROVIDERS[(PROVIDERS.index(first) + 1) % len(PROVIDERS)]
    failing = {**FAULTS, **OLD}[fault]

    def answer(request: Handler) -> None:
        provider = urlsplit(request.path).path.split("/")[1]
        if provider == first:
            failing(request, provider)
        else:
            request.reply(good(provider, request.path))

    server.behaviour = answer
    server.paths.clear()
    serves, text = one_round(tmp_path / "estate", store, first, second, urls_at(server.url))
    assert serves == second
    assert feed_named(second).attribution in text
    assert feed_named(first).attribution not in text
    assert any(path.startswith(f"/{first}") for path in server.paths)


def test_a_host_that_nobody_answers_at_is_fallen_over_from_too(server: Server, store: Store, tmp_path: Path) -> None:
    server.behaviour = lambda request: request.reply(good("open-meteo", request.path))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        closed = probe.getsockname()[1]
    urls = {**urls_at(server.url), "met-norway": f"http://127.0.0.1:{closed}/complete"}
    serves, text = one_round(tmp_path / "estate", store, "met-norway", "open-meteo", urls)
    assert serves == "open-meteo"
    assert "Open-Meteo" in text


@pytest.mark.parametrize("first", PROVIDERS)
def test_a_feed_that_is_well_is_not_left_for_the_next(server: Server, store: Store, tmp_path: Path, first: str) -> None:
    server.behaviour = lambda request: request.reply(good(first, request.path))
    server.paths.clear()
    other = PROVIDERS[PROVIDERS.index(first) - 1]
    serves, text = one_round(tmp_path / "estate", store, first, other, urls_at(server.url))
    assert serves == first
    assert feed_named(first).attribution in text
    assert all(path.startswith(f"/{first}") for path in server.paths)
