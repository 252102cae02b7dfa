from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from adapters.feeds.state import FetchState
from adapters.store import Store, StoreError, open_store
from adapters.store.forecasts import KEPT, NewRun

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
HERE, THERE = "51.48,-0.62", "40.00,-90.00"
HOUR = timedelta(hours=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


def run(at: datetime, body: bytes = b"{}", cell: str = HERE, provider: str = "nws") -> NewRun:
    return NewRun.of(cell, provider, issued_at=at, received_at=at, body=body)


def test_the_newest_run_of_each_cell_and_provider_is_found_and_few_are_kept(store: Store) -> None:
    for n in range(6):
        for provider in ("met-norway", "nws"):
            store.save_feed([], [run(NOW + n * HOUR, f"{provider} {n}".encode(), provider=provider)])
    store.save_feed([], [run(NOW, b"other cell", THERE)])
    newest = store.newest_runs(NOW + 6 * HOUR)
    assert set(newest) == {(HERE, "met-norway"), (HERE, "nws"), (THERE, "nws")}
    head = newest[(HERE, "nws")]
    assert head.issued_at == NOW + 5 * HOUR
    kept = store.load_run(head.id)
    assert kept is not None
    assert (kept.body, kept.issued_at, kept.provider) == (b"nws 5", NOW + 5 * HOUR, "nws")
    with store.engine.connect().execution_options(readonly=True) as connection:
        count = connection.exec_driver_sql("SELECT count(*) FROM forecast_run").scalar_one()
    assert count == 2 * KEPT + 1
    assert store.load_run(1) is None


def test_a_clock_put_back_finds_the_run_received_under_it(store: Store) -> None:
    for n in range(KEPT):
        store.save_feed([], [run(NOW + timedelta(days=30 + n))])
    assert store.newest_runs(NOW) == {}
    (number,) = store.save_feed([], [run(NOW)])
    assert store.newest_runs(NOW)[(HERE, "nws")].id == number


def test_a_feeds_state_comes_back_whole_and_is_replaced_by_the_next(store: Store) -> None:
    state = FetchState(
        "nws", HERE, "Mon, 04 May 2026 04:30:00 GMT", '"tag"', NOW + HOUR, NOW + HOUR, 0, "", NOW, {"grid": "LWX/1,2"}
    )
    store.save_feed([state], [run(NOW)])
    assert store.feed_states("nws") == {HERE: state}
    assert store.feed_states("met-norway") == {}
    worse = FetchState("nws", HERE, failures=3, last_error="nws answers 503", next_try_at=NOW + 2 * HOUR)
    store.save_feed([worse, FetchState("nws", THERE, failures=1, next_try_at=NOW + HOUR)], [])
    assert store.feed_states("nws")[HERE] == worse
    assert set(store.feed_states("nws")) == {HERE, THERE}


def test_without_the_answer_they_belong_to_validators_are_forgotten(store: Store) -> None:
    store.save_feed([FetchState("nws", HERE, "yesterday", "tag", NOW + HOUR, NOW + HOUR)], [])
    assert store.feed_states("nws")[HERE] == FetchState("nws", HERE)
    waiting = FetchState("nws", HERE, "yesterday", failures=2, next_try_at=NOW + HOUR, last_error="503")
    store.save_feed([waiting], [])
    assert store.feed_states("nws")[HERE].next_try_at == NOW + HOUR


def test_state_and_answer_are_kept_together_or_not_at_all(store: Store) -> None:
    broken = NewRun(HERE, "nws", NOW, None, b"")  # type: ignore[arg-type]
    with pytest.raises(StoreError):
        store.save_feed([FetchState("nws", HERE, failures=1)], [broken])
    assert store.feed_states("nws") == {}
