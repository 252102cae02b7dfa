"""Which feed is asked for which cell, and what the store then says of the weather."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from adapters.feeds.registry import feed_named
from adapters.feeds.state import FetchState, Outcome, failed, is_due
from adapters.refresh import BATCH, refresh_estate
from adapters.store import Store, open_store
from adapters.weather import Shelf, cells_of, weather_now
from config.models import Estate
from scheduler.ports import FeedUnavailable
from scheduler.weather.cells import centre
from tests.adapters.feeds.answers import body, met_norway_answer, open_meteo_answer, weather
from tests.builders import build_estate, lawn

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


def two_feeds(folder: Path, **more: Any) -> Estate:
    feed = {"order": ["met-norway", "open-meteo"], "contact": "grounds@example.org", "non_commercial": True}
    return build_estate(folder / "estate", feed=feed, **more)


def answer(provider: str, cell: str, issued: datetime) -> bytes:
    latitude, longitude = centre(cell)
    table = weather(issued, 72)
    if provider == "met-norway":
        return body(met_norway_answer(table, latitude=latitude, longitude=longitude, issued=issued))
    return body(open_meteo_answer(table, latitude=latitude, longitude=longitude))


class FakeFeeds:
    """Stands in for the network: `issued[provider]` is the issue time of its answers, None when it is down."""

    def __init__(self, **issued: datetime | None) -> None:
        self.issued = {name.replace("_", "-"): when for name, when in issued.items()}
        self.asked: list[tuple[str, int]] = []

    def __call__(
        self,
        provider: str,
        cells: Iterable[str],
        states: Mapping[str, FetchState],
        *,
        now: datetime,
        sleep: Callable[[float], None],
        **_: object,
    ) -> dict[str, Outcome]:
        due = [cell for cell in cells if is_due(states.get(cell, FetchState(provider, cell)), now)]
        if due:
            self.asked.append((provider, len(due)))
        return {cell: self._outcome(provider, cell, now) for cell in due}

    def _outcome(self, provider: str, cell: str, now: datetime) -> Outcome:
        issued = self.issued[provider]
        state = FetchState(provider, cell, next_try_at=now + HOUR, last_attempt_at=now)
        if issued is None:
            return failed(state, FeedUnavailable("the feed answers 503"), now)
        data = answer(provider, cell, issued)
        latitude, longitude = centre(cell)
        forecast = feed_named(provider).parse(data, latitude=latitude, longitude=longitude, received=now)
        return Outcome(state, forecast, data)


def ask(store: Store, estate: Estate, feeds: FakeFeeds, now: datetime = NOW) -> None:
    refresh_estate(store, estate, now, {}, allow_local=False, sleep=lambda _s: None, refresh=feeds)


def test_the_second_feed_is_not_asked_while_the_first_is_fresh(store: Store, tmp_path: Path) -> None:
    estate, feeds = two_feeds(tmp_path), FakeFeeds(met_norway=NOW - HOUR, open_meteo=NOW)
    ask(store, estate, feeds)
    ask(store, estate, feeds, NOW + HOUR / 2)
    assert feeds.asked == [("met-norway", 1)]
    (cell,) = weather_now(store, estate, NOW).values()
    assert cell.state == "fresh"
    assert cell.forecast is not None
    assert (cell.forecast.provider, cell.forecast.issued) == ("met-norway", NOW - HOUR)


@pytest.mark.parametrize("first", [None, NOW - 7 * HOUR])
def test_the_second_feed_steps_in_when_the_first_is_down_or_old(
    store: Store, tmp_path: Path, first: datetime | None
) -> None:
    estate, feeds = two_feeds(tmp_path), FakeFeeds(met_norway=first, open_meteo=NOW)
    ask(store, estate, feeds)
    assert feeds.asked == [("met-norway", 1), ("open-meteo", 1)]
    (cell,) = weather_now(store, estate, NOW).values()
    assert cell.state == "fresh"
    assert cell.forecast is not None
    assert cell.forecast.provider == "open-meteo"


def test_an_old_forecast_is_stale_with_its_age_and_the_reason(store: Store, tmp_path: Path) -> None:
    estate, feeds = two_feeds(tmp_path), FakeFeeds(met_norway=NOW, open_meteo=None)
    ask(store, estate, feeds)
    feeds.issued["met-norway"] = None
    later = NOW + 8 * HOUR
    ask(store, estate, feeds, later)
    (cell,) = weather_now(store, estate, later).values()
    assert cell.state == "stale"
    assert cell.forecast is not None
    assert "8 h old" in cell.why
    assert "answers 503" in cell.why


def test_without_any_forecast_a_cell_is_down_with_what_the_feeds_said(store: Store, tmp_path: Path) -> None:
    estate = two_feeds(tmp_path)
    (cell,) = weather_now(store, estate, NOW).values()
    assert (cell.state, cell.forecast) == ("down", None)
    assert "no forecast" in cell.why
    ask(store, estate, FakeFeeds(met_norway=None, open_meteo=None))
    (cell,) = weather_now(store, estate, NOW).values()
    assert cell.state == "down"
    assert "met-norway: the feed answers 503; open-meteo: the feed answers 503" in cell.why


def test_a_feed_that_fails_for_a_whole_batch_is_not_asked_for_the_others(store: Store, tmp_path: Path) -> None:
    lawns = [lawn(id=f"l{n}", latitude=round(50.0 + n * 0.02, 2)) for n in range(BATCH + 30)]
    estate, feeds = two_feeds(tmp_path, lawns=lawns), FakeFeeds(met_norway=None, open_meteo=NOW)
    assert len(cells_of(estate)) == BATCH + 30
    ask(store, estate, feeds)
    assert feeds.asked == [("met-norway", BATCH), ("open-meteo", BATCH), ("open-meteo", 30)]
    assert len(store.feed_states("met-norway")) == BATCH + 30
    ask(store, estate, feeds, NOW + timedelta(seconds=20))
    assert len(feeds.asked) == 3
    assert {cell.state for cell in weather_now(store, estate, NOW).values()} == {"fresh"}


def test_a_clock_put_back_asks_again(store: Store, tmp_path: Path) -> None:
    estate, feeds = two_feeds(tmp_path), FakeFeeds(met_norway=NOW, open_meteo=NOW)
    ask(store, estate, feeds)
    earlier = NOW - 20 * HOUR
    feeds.issued["met-norway"] = earlier
    ask(store, estate, feeds, earlier)
    assert feeds.asked == [("met-norway", 1), ("met-norway", 1)]
    (cell,) = weather_now(store, estate, earlier).values()
    assert cell.state == "fresh"


def test_what_a_feed_says_of_the_hours_before_is_kept_as_past_rain(store: Store, tmp_path: Path) -> None:
    feed = {"order": ["open-meteo"], "non_commercial": True}
    estate = build_estate(tmp_path / "estate", feed=feed)
    (cell,) = cells_of(estate)
    yesterday = NOW - 24 * HOUR

    def rainy(*_: object, **__: object) -> dict[str, Outcome]:
        latitude, longitude = centre(cell)
        table = weather(yesterday, 72, rain_mm={2: 1.5, 30: 9.0})
        data = body(open_meteo_answer(table, latitude=latitude, longitude=longitude))
        forecast = feed_named("open-meteo").parse(data, latitude=latitude, longitude=longitude, received=NOW)
        return {cell: Outcome(FetchState("open-meteo", cell), forecast, data)}

    refresh_estate(store, estate, NOW, {}, allow_local=False, sleep=lambda _s: None, refresh=rainy)
    kept = store.observed(cell, yesterday, NOW)
    assert [hour.hour for hour in kept] == [yesterday + n * HOUR for n in range(24)]
    assert {hour.hour: hour.rain_mm for hour in kept if hour.rain_mm} == {yesterday + 2 * HOUR: 1.5}
    assert {hour.source for hour in kept} == {"open-meteo"}


def test_runs_that_follow_each_other_leave_the_first_hours_of_each(store: Store, tmp_path: Path) -> None:
    estate, feeds = two_feeds(tmp_path), FakeFeeds(met_norway=NOW, open_meteo=NOW)
    for later in range(3):
        feeds.issued["met-norway"] = NOW + later * HOUR
        ask(store, estate, feeds, NOW + later * HOUR)
    (cell,) = cells_of(estate)
    kept = store.observed(cell, NOW - HOUR, NOW + 2 * HOUR)
    assert [(hour.hour, hour.source) for hour in kept] == [(NOW, "met-norway"), (NOW + HOUR, "met-norway")]


def test_lawns_that_lie_together_share_one_request(store: Store, tmp_path: Path) -> None:
    lawns = [lawn(), lawn(id="back", latitude=51.4822)]
    estate, feeds = two_feeds(tmp_path, lawns=lawns), FakeFeeds(met_norway=NOW, open_meteo=NOW)
    ask(store, estate, feeds)
    assert feeds.asked == [("met-norway", 1)]


def test_an_answer_is_read_once_and_one_that_is_refused_now_counts_as_none(store: Store, tmp_path: Path) -> None:
    estate, feeds = two_feeds(tmp_path), FakeFeeds(met_norway=NOW, open_meteo=NOW - HOUR)
    ask(store, estate, feeds)
    shelf = Shelf(store)
    first = weather_now(store, estate, NOW, shelf)
    again = weather_now(store, estate, NOW, shelf)
    (cell,) = first
    assert first[cell].forecast is again[cell].forecast
    with store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE forecast_run SET body_gz = x'1f8b08000000000000ff0300000000000000000000'")
    (spoilt,) = weather_now(store, estate, NOW).values()
    assert spoilt.state == "down"


def test_what_was_just_received_is_on_the_shelf_as_the_store_would_give_it(store: Store, tmp_path: Path) -> None:
    estate, feeds, shelf = two_feeds(tmp_path), FakeFeeds(met_norway=NOW, open_meteo=NOW), Shelf(store)
    (cell,) = cells_of(estate)
    for later in range(2):
        now = NOW + later * HOUR
        feeds.issued["met-norway"] = now
        refresh_estate(store, estate, now, {}, allow_local=False, sleep=lambda _s: None, refresh=feeds, shelf=shelf)
        (head,) = store.newest_runs(now).values()
        put, stored = shelf.forecast(head), Shelf(store).forecast(head)
        assert put is not None and stored is not None
        assert put is shelf.forecast(head)
        for name, value in vars(stored).items():
            np.testing.assert_array_equal(getattr(put, name), value)
    assert weather_now(store, estate, now, shelf)[cell].forecast is put
