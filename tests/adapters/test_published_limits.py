"""What a business with 2,000 lawns in 300 cells asks of the feeds, counted over simulated hours of the service.

Limits: terms of open-meteo.com and its server's RateLimiter.swift (600 calls a minute, 5,000 an hour, 10,000 a day on
the free hosts; a place weighs a tenth of its variables, members counted, and at least one call); terms of api.met.no
(20 requests a second, never before Expires).
"""

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
import urllib3

from adapters.feeds import fetch
from adapters.feeds.asking import ENSEMBLE
from adapters.feeds.guard import GuardedAdapter
from adapters.refresh import refresh_estate
from adapters.store import Store, open_store
from adapters.weather import cells_of, weather_now
from config.models import Estate
from tests.adapters.feeds.answers import Weather, body, met_norway_answer, open_meteo_answer, weather
from tests.adapters.feeds.answers_other import bright_sky_answer, ensemble_answer, nws_answer, nws_point
from tests.builders import build_estate, lawn

START = datetime(2026, 5, 4, tzinfo=UTC)
HOUR = timedelta(hours=1)
TICK = timedelta(seconds=20)  # of the service's feed job
MEMBERS = 51
Reply = tuple[int, dict[str, str], bytes]


@dataclass
class Clock:
    """Time passes only where somebody waits."""

    at: datetime = START

    def sleep(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)


@dataclass(frozen=True)
class Asked:
    """One request: when, and what it weighs in calls of Open-Meteo."""

    at: datetime
    host: str
    path: str
    place: str
    weight: float
    conditional: bool


class Web(GuardedAdapter):
    """The whole network: notes each request, and answers it out of `reply`."""

    def __init__(self, clock: Clock, reply: Callable[[str, dict[str, str], requests.PreparedRequest], Reply]) -> None:
        super().__init__()
        self.clock, self.reply = clock, reply
        self.asked: list[Asked] = []

    def send(self, request: requests.PreparedRequest, *_: Any, **__: Any) -> requests.Response:
        url = urlsplit(request.url or "")
        query = {key: values[0] for key, values in parse_qs(url.query).items()}
        place = query.get("latitude") or f"{query.get('lat', url.path)},{query.get('lon', '')}"
        conditional = "If-Modified-Since" in request.headers
        self.asked.append(
            Asked(self.clock.at, url.hostname or "", url.path, place, self._weight(url.path, query), conditional)
        )
        status, headers, content = self.reply(url.path, query, request)
        raw = urllib3.HTTPResponse(io.BytesIO(content), headers=headers, status=status, preload_content=False)
        return self.build_response(request, raw)

    def _weight(self, path: str, query: dict[str, str]) -> float:
        if "latitude" not in query:
            return 1.0
        variables = len(query["hourly"].split(",")) * (MEMBERS if path.endswith("ensemble") else 1)
        days = int(query["forecast_days"]) + int(query.get("past_days", 0))
        return (query["latitude"].count(",") + 1) * max(1.0, variables / 10, variables / 10 * days / 14)


def table(now: datetime) -> Weather:
    return weather(now.replace(minute=0, second=0, microsecond=0), 18)


@dataclass
class Service:
    """The feed job's rounds, tick by tick; ticks at which nothing is due are passed over."""

    store: Store
    estate: Estate
    web: Web
    look_at: datetime = START

    def run(self, hours: float) -> None:
        clock, session = self.web.clock, requests.Session()
        session.mount("https://", self.web)

        def refresh(*words: Any, **settings: Any) -> Any:
            return fetch.refresh(*words, **{**settings, "session": session})

        end = clock.at + hours * HOUR
        while clock.at < end:
            begun = clock.at
            refresh_estate(self.store, self.estate, begun, {}, allow_local=False, sleep=clock.sleep, refresh=refresh)
            self._check_fresh(clock.at)
            waits = [state.next_try_at for name in self._feeds() for state in self.store.feed_states(name).values()]
            due = min((when for when in waits if when), default=begun)
            ticks = max(1, -((clock.at - max(due, clock.at + TICK)) // TICK))
            clock.at += ticks * TICK

    def _check_fresh(self, now: datetime) -> None:
        """Politeness must not cost anybody the forecast; looked at every two hours."""
        if now >= self.look_at:
            self.look_at = now + 2 * HOUR
            assert {cell.state for cell in weather_now(self.store, self.estate, now).values()} == {"fresh"}

    def _feeds(self) -> list[str]:
        return [*self.estate.feed.order, *([ENSEMBLE] if self.estate.feed.ensemble else [])]

    def most_in(self, span: timedelta, value: Callable[[Asked], float], host: str = "") -> float:
        """The largest sum of a value over any span of time, of the requests to one host (all if empty)."""
        asked = [one for one in self.web.asked if one.host == host or not host]
        sums, first, total = [0.0], 0, 0.0
        for one in asked:
            total += value(one)
            while asked[first].at <= one.at - span:
                total -= value(asked[first])
                first += 1
            sums.append(total)
        return max(sums)


@pytest.fixture
def business(tmp_path: Path) -> Iterator[Callable[..., Service]]:
    """2,000 lawns in 300 cells, with the feeds and the network that the test gives."""
    opened: list[Store] = []

    def made(feed: dict[str, Any], reply: Callable[..., Reply]) -> Service:
        places = [(round(50.0 + 0.1 * (n % 30), 2), round(-3.0 + 0.2 * (n // 30), 2)) for n in range(300)]
        rows = [
            lawn(id=f"l{n}", latitude=round(places[n % 300][0] + 0.001 * (n % 7), 3), longitude=places[n % 300][1])
            for n in range(2000)
        ]
        estate = build_estate(tmp_path / "estate", feed={"contact": "grounds@example.org", **feed}, lawns=rows)
        assert (len(estate.lawns), len(cells_of(estate))) == (2000, 300)
        opened.append(open_store(tmp_path))
        clock = Clock()
        return Service(opened[-1], estate, Web(clock, lambda *words: reply(clock.at, *words)))

    yield made
    for store in opened:
        store.close()


def open_meteo(now: datetime, path: str, query: dict[str, str], _request: requests.PreparedRequest) -> Reply:
    """One list for all places asked; the ensemble has two members, which weigh as 51."""
    made = []
    for north, east in zip(query["latitude"].split(","), query["longitude"].split(","), strict=True):
        place = {"latitude": float(north), "longitude": float(east)}
        hours = table(now)
        ensemble = path.endswith("ensemble")
        made.append(ensemble_answer(hours, [hours["rain_mm"]] * 2, **place) if ensemble else
                    open_meteo_answer(hours, **place))  # fmt: skip
    return 200, {}, body(made if len(made) > 1 else made[0])


PAID = {"order": ["open-meteo"], "urls": {"open-meteo": "https://customer-api.open-meteo.com/v1/forecast"}}


def test_a_day_of_open_meteo_takes_few_requests_a_refresh(business: Callable[..., Service]) -> None:
    service = business({**PAID, "ensemble": "invented"}, open_meteo)
    service.run(24)
    assert service.most_in(timedelta(minutes=54), lambda _: 1.0) <= 10
    forecasts = sum(one.path.endswith("forecast") for one in service.web.asked)
    assert 2 * 24 <= forecasts <= 2 * 27  # two for all places, every 55 min at most
    assert len(service.web.asked) - forecasts == 6 * 4  # ensembles every six hours
    # The smallest paid plan gives a million calls a month.
    assert 31 * sum(one.weight for one in service.web.asked) < 1_000_000


def test_the_free_open_meteo_host_is_kept_below_its_limits(business: Callable[..., Service]) -> None:
    service = business({"order": ["open-meteo"], "non_commercial": True}, open_meteo)
    service.run(3)
    for span, most in ((timedelta(minutes=1), 600), (HOUR, 5000), (3 * HOUR, 10_000 / 8)):
        assert service.most_in(span, lambda one: one.weight) <= most


def test_ensembles_of_the_free_host_are_spread_over_the_minutes(business: Callable[..., Service]) -> None:
    service = business({"order": ["open-meteo"], "non_commercial": True, "ensemble": "invented"}, open_meteo)
    service.run(0.5)
    host = "ensemble-api.open-meteo.com"
    assert sum(one.host == host for one in service.web.asked) >= 5
    assert service.most_in(timedelta(minutes=1), lambda one: one.weight, host) <= 600


def test_lawns_that_come_one_by_one_end_in_one_request(business: Callable[..., Service]) -> None:
    service = business(PAID, open_meteo)
    whole = service.estate
    for count in range(1, 13):  # a new place every five minutes
        service.estate = whole.model_copy(update={"lawns": whole.lawns[: 20 * count]})
        service.run(1 / 12)
    service.estate = whole.model_copy(update={"lawns": whole.lawns[:240]})
    service.run(2)
    service.web.asked.clear()
    service.run(2)
    assert service.most_in(timedelta(minutes=54), lambda _: 1.0) <= 2


def met_norway(now: datetime, _path: str, query: dict[str, str], request: requests.PreparedRequest) -> Reply:
    """A run every six hours, good for half an hour at a time."""
    run = now.replace(hour=now.hour // 6 * 6, minute=0, second=0, microsecond=0)
    said = format_datetime(run, usegmt=True)
    headers = {"Last-Modified": said, "Expires": format_datetime((now + HOUR / 2).replace(microsecond=0), usegmt=True)}
    if request.headers.get("If-Modified-Since") == said:
        return 304, headers, b""
    hours = weather(run, 24)
    answer = met_norway_answer(hours, latitude=float(query["lat"]), longitude=float(query["lon"]), issued=run)
    return 200, headers, body(answer)


def test_met_norway_is_never_asked_in_bursts_nor_before_its_answer_expires(business: Callable[..., Service]) -> None:
    service = business({"order": ["met-norway"]}, met_norway)
    service.run(2)
    assert service.most_in(timedelta(seconds=1), lambda _: 1.0) <= 20
    last: dict[str, datetime] = {}
    for one in service.web.asked:
        if one.place in last:
            assert one.at - last[one.place] >= HOUR / 2 - TICK  # a tick's requests share one clock reading
            assert one.conditional
        last[one.place] = one.at
    assert len(last) == 300


def nws(now: datetime, path: str, _query: dict[str, str], _request: requests.PreparedRequest) -> Reply:
    """Grid cells numbered after the place that was looked up."""
    if path.startswith("/points/"):
        north, east = path.removeprefix("/points/").split(",")
        grid = nws_point(float(north), float(east), x=round((float(north) - 50) * 100))
        grid["properties"]["gridY"] = round((float(east) + 3) * 100)
        return 200, {}, body(grid)
    x, y = path.rpartition("/")[2].split(",")
    return 200, {}, body(nws_answer(table(now), latitude=50 + int(x) / 100, longitude=int(y) / 100 - 3))


def bright_sky(now: datetime, _path: str, query: dict[str, str], _request: requests.PreparedRequest) -> Reply:
    answer = bright_sky_answer(table(now), latitude=float(query["lat"]), longitude=float(query["lon"]))
    return 200, {}, body(answer)


@pytest.mark.parametrize(("feed", "reply"), [("nws", nws), ("bright-sky", bright_sky)])
def test_the_other_feeds_are_asked_once_an_hour_for_each_place(
    business: Callable[..., Service], feed: str, reply: Callable[..., Reply]
) -> None:
    service = business({"order": [feed]}, reply)
    service.run(2)
    assert service.most_in(timedelta(seconds=1), lambda _: 1.0) <= 10
    looked_up = [one for one in service.web.asked if one.path.startswith("/points/")]
    assert len(looked_up) == (300 if feed == "nws" else 0)
    times: dict[str, list[datetime]] = {}
    for one in service.web.asked:
        if one not in looked_up:
            times.setdefault(one.place, []).append(one.at)
    assert len(times) == 300
    assert all(
        later - sooner >= timedelta(minutes=54) for t in times.values() for sooner, later in zip(t, t[1:], strict=False)
    )
