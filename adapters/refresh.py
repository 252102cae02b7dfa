"""Fresh forecasts for an estate: feeds asked in its order, the next only for cells that the one before left without."""

import logging
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Protocol

import requests

from adapters.feeds import fetch
from adapters.feeds.asking import ENSEMBLE, endpoint
from adapters.feeds.registry import feed_named
from adapters.feeds.state import FetchState, Outcome, failed, is_due
from adapters.store.forecasts import CLOCK_SLACK, NewRun
from adapters.store.store import Store
from adapters.weather import Shelf, cells_of
from config.models import Estate, Feed
from config.resolve import oldest_forecast_h
from scheduler.ports import FeedUnavailable
from scheduler.weather.past import past_rain
from scheduler.weather.trust import FUTURE_SLACK

log = logging.getLogger("ligule.feeds")

BATCH = 200  # cells kept together: what was received is in the store before the next are asked for


class Refresh(Protocol):
    """Asks one feed for those of the cells that are due."""

    def __call__(
        self,
        provider: str,
        cells: Iterable[str],
        states: Mapping[str, FetchState],
        *,
        feed: Feed,
        environ: Mapping[str, str],
        now: datetime,
        session: requests.Session | None,
        allow_local: bool,
        sleep: Callable[[float], None],
    ) -> dict[str, Outcome]:
        """The outcomes of the cells that were due."""


def refresh_estate(
    store: Store,
    estate: Estate,
    now: datetime,
    environ: Mapping[str, str],
    *,
    allow_local: bool,
    sleep: Callable[[float], None] = time.sleep,
    refresh: Refresh = fetch.refresh,
    shelf: Shelf | None = None,
) -> None:
    """Ask the feeds for what is due at `now` and keep what they give. Failures are kept too, and never raised.

    A cell that the first feed leaves without a fresh forecast is asked of the next one. `sleep` is called between
    requests and may raise to end the round. What was read goes on the `shelf`, and need not be read again.
    """
    wanted = cells_of(estate)
    ask = partial(refresh, feed=estate.feed, environ=environ, now=now, session=None, allow_local=allow_local)

    def pause(provider: str) -> Callable[[], object]:
        return lambda: sleep(_pause_s(provider, estate.feed, environ))

    for provider in estate.feed.order:
        _round(store, provider, wanted, partial(ask, sleep=sleep), now, pause(provider), shelf)
        wanted = _without_fresh(store, provider, wanted, now, estate.feed)
        if not wanted:
            break
    if estate.feed.ensemble and "open-meteo" in estate.feed.order:
        _round(store, ENSEMBLE, cells_of(estate), partial(ask, sleep=sleep), now, pause(ENSEMBLE), shelf)


def refresh_all(
    store: Store,
    estate: Estate,
    cells: Sequence[str],
    now: datetime,
    environ: Mapping[str, str],
    *,
    allow_local: bool,
    sleep: Callable[[float], None] = time.sleep,
    refresh: Refresh = fetch.refresh,
) -> None:
    """Ask every feed in the estate's order for the cells that are due, also those behind a fresh one."""
    ask = partial(refresh, feed=estate.feed, environ=environ, now=now, session=None, allow_local=allow_local)
    for provider in estate.feed.order:
        pause = partial(sleep, _pause_s(provider, estate.feed, environ))
        _round(store, provider, cells, partial(ask, sleep=sleep), now, pause, None)


def _round(
    store: Store,
    provider: str,
    cells: Sequence[str],
    ask: Callable[[str, Sequence[str], Mapping[str, FetchState]], Mapping[str, Outcome]],
    now: datetime,
    pause: Callable[[], object],
    shelf: Shelf | None,
) -> None:
    """One feed, batch by batch, each kept before the next. After a batch that failed alike the rest is left alone."""
    states = _not_from_later(store.feed_states(provider), now)
    down: Outcome | None = None
    outcomes: Mapping[str, Outcome] = {}
    for start in range(0, len(cells), BATCH):
        batch = cells[start : start + BATCH]
        if down is not None:
            keep(store, provider, _left_alone(batch, states, provider, down, now), now)
            continue
        if outcomes:
            pause()
        outcomes = ask(provider, batch, states)
        keep(store, provider, outcomes, now, shelf)
        down = _same_failure(outcomes)


def _pause_s(provider: str, feed: Feed, environ: Mapping[str, str]) -> float:
    """Seconds between two batches; without an address nothing is asked and nothing need be waited for."""
    try:
        return fetch.pause_s(feed_named(provider), endpoint(provider, feed, environ).host)
    except FeedUnavailable:
        return 0.0


def keep(
    store: Store, provider: str, outcomes: Mapping[str, Outcome], now: datetime, shelf: Shelf | None = None
) -> None:
    """Keep the answers and states of one round with one feed."""
    if not outcomes:
        return
    good = [(cell, got.forecast, got.body) for cell, got in outcomes.items() if got.forecast and got.body is not None]
    runs = [NewRun.of(cell, provider, issued_at=read.issued, received_at=now, body=body) for cell, read, body in good]
    numbers = store.save_feed([outcome.state for outcome in outcomes.values()], runs)
    if shelf is not None:
        for number, (cell, read, _) in zip(numbers, good, strict=True):
            shelf.put(number, cell, read)
    if provider != ENSEMBLE:  # a mean of members is no account of the past
        store.save_observed({c: past_rain(got.forecast, now) for c, got in outcomes.items() if got.forecast}, now)
    faults = Counter(outcome.error for outcome in outcomes.values() if outcome.error)
    for said, count in faults.items():
        log.warning("feed %s: %d of %d cells: %s", provider, count, len(outcomes), said)
    log.info("feed %s: %d asked, %d new", provider, len(outcomes), len(runs))


def _not_from_later(states: Mapping[str, FetchState], now: datetime) -> dict[str, FetchState]:
    """The states but those written under a clock that was ahead: their waits would keep a feed from being asked."""
    limit = now + CLOCK_SLACK
    return {
        cell: state for cell, state in states.items() if not state.last_attempt_at or state.last_attempt_at <= limit
    }


def _same_failure(outcomes: Mapping[str, Outcome]) -> Outcome | None:
    """A failure that all cells of a batch met: the feed is down or refuses us, and the other batches wait as well."""
    if len(outcomes) < 2 or not all(outcome.error for outcome in outcomes.values()):
        return None
    return next(iter(outcomes.values()))


def _left_alone(
    cells: Sequence[str], states: Mapping[str, FetchState], provider: str, like: Outcome, now: datetime
) -> dict[str, Outcome]:
    why = FeedUnavailable(like.error or "", like.state.next_try_at, operator=like.operator)
    mark = like.state.extra.get("settings", "")
    known = {cell: states.get(cell, FetchState(provider, cell)) for cell in cells}
    return {cell: failed(state, why, now, mark) for cell, state in known.items() if is_due(state, now, mark)}


def _without_fresh(store: Store, provider: str, cells: Sequence[str], now: datetime, feed: Feed) -> list[str]:
    """The cells for which the feed's newest answer is missing, too old, or dated after now."""
    oldest = timedelta(hours=oldest_forecast_h(feed).number)
    heads = store.newest_runs(now)
    issued = {cell: heads[(cell, provider)].issued_at for cell in cells if (cell, provider) in heads}
    return [cell for cell in cells if cell not in issued or not -FUTURE_SLACK <= now - issued[cell] <= oldest]
