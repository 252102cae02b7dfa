"""Weather warnings of the US National Weather Service for the cells of an estate, kept beside the forecasts."""

import logging
import time
from collections import Counter
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Protocol

import requests

from adapters.feeds import failures as fail
from adapters.feeds.alerts import ALERTS, ask_alerts, read_alerts
from adapters.feeds.asking import endpoint
from adapters.feeds.http import Answer, new_session
from adapters.feeds.state import FetchState, Outcome, failed, is_due, jitter_s
from adapters.store.forecasts import CLOCK_SLACK, NewRun
from adapters.store.store import Store
from adapters.weather import cells_of
from config.models import Estate, Feed
from scheduler.ports import FeedUnavailable, FeedUnusable
from scheduler.weather.cells import centre

log = logging.getLogger("ligule.warnings")

EVERY = timedelta(minutes=15)
PAUSE_S = 0.2  # as for the grid cells of the same host
MOST_FAULTS = 2  # of the host in a row; then it is left alone


class Ask(Protocol):
    """Asks for the warnings of one place; see `ask_alerts`."""

    def __call__(
        self,
        session: requests.Session,
        latitude: float,
        longitude: float,
        *,
        feed: Feed,
        environ: Mapping[str, str],
        allow_local: bool,
    ) -> Answer:
        """The answer. Raises FeedUnavailable."""


class Warn(Protocol):
    """Keeps the warnings of an estate; see `refresh_warnings`."""

    def __call__(
        self,
        store: Store,
        estate: Estate,
        now: datetime,
        environ: Mapping[str, str],
        *,
        allow_local: bool,
        sleep: Callable[[float], None],
    ) -> None:
        """Ask for what is due."""


def refresh_warnings(
    store: Store,
    estate: Estate,
    now: datetime,
    environ: Mapping[str, str],
    *,
    allow_local: bool,
    sleep: Callable[[float], None] = time.sleep,
    ask: Ask = ask_alerts,
) -> None:
    """Ask for the warnings of the cells that are due, at most every quarter of an hour, and keep the answers.

    Nothing is asked unless the estate names the service among its feeds. Failures are kept and never raised. `sleep`
    is called between requests and may raise to end the round; what was received by then is kept.
    """
    if "nws" not in estate.feed.order:
        return
    known = store.feed_states(ALERTS)
    states = [known.get(cell, FetchState(ALERTS, cell)) for cell in cells_of(estate)]
    due = [state for state in states if is_due(state, now) or _is_from_later(state, now)]
    if not due:
        return
    try:
        host = endpoint("nws", estate.feed, environ).host
    except FeedUnavailable as failure:
        waiting = FeedUnavailable(str(failure), now + fail.SETTINGS_WAIT, operator=True)
        _keep(store, [failed(state, waiting, now) for state in due], now)
        return
    outcomes: list[Outcome] = []
    try:
        with new_session() as session:

            def one(state: FetchState) -> Answer:
                place = centre(state.cell)
                return ask(session, *place, feed=estate.feed, environ=environ, allow_local=allow_local)

            _ask_all(due, one, host, now, sleep, outcomes)
    finally:
        _keep(store, outcomes, now)


def _ask_all(
    due: list[FetchState],
    ask: Callable[[FetchState], Answer],
    host: str,
    now: datetime,
    sleep: Callable[[float], None],
    outcomes: list[Outcome],
) -> None:
    """Place after place into `outcomes`. When the host is down or refuses us the rest is left alone and waits too."""
    faults = 0
    for number, state in enumerate(due):
        if number:
            sleep(PAUSE_S)
        try:
            answer = ask(state)
        except FeedUnavailable as failure:
            outcome, is_fault, is_for_all = failed(state, failure, now), True, failure.operator
        else:
            outcome = _read(answer, state, host, now)
            is_fault, is_for_all = answer.status >= 500, fail.is_host_wide(answer)
        outcomes.append(outcome)
        faults = faults + 1 if is_fault else 0
        if is_for_all or faults >= MOST_FAULTS:
            why = FeedUnavailable(outcome.error or "", outcome.state.next_try_at, operator=outcome.operator)
            outcomes += [failed(left, why, now) for left in due[number + 1 :]]
            return


def _read(answer: Answer, state: FetchState, host: str, now: datetime) -> Outcome:
    """The outcome of one answer. One that cannot be read is a failure: half a list of warnings is none."""
    if answer.status != 200:
        return failed(state, fail.failure_of(answer, host, now=now, failures=state.failures), now)
    try:
        read_alerts(answer.body, now)
    except FeedUnusable as fault:
        return failed(state, FeedUnavailable(str(fault)), now)
    again = now + EVERY + timedelta(seconds=jitter_s(ALERTS, state.cell))
    return Outcome(FetchState(ALERTS, state.cell, next_try_at=again, last_attempt_at=now), body=answer.body)


def _is_from_later(state: FetchState, now: datetime) -> bool:
    """Written under a clock that was ahead."""
    return state.last_attempt_at is not None and state.last_attempt_at > now + CLOCK_SLACK


def _keep(store: Store, outcomes: list[Outcome], now: datetime) -> None:
    if not outcomes:
        return
    runs = [
        NewRun.of(one.state.cell, ALERTS, issued_at=now, received_at=now, body=one.body)
        for one in outcomes
        if one.body is not None
    ]
    store.save_feed([one.state for one in outcomes], runs)
    for said, count in Counter(one.error for one in outcomes if one.error).items():
        log.warning("weather warnings: %d of %d cells: %s", count, len(outcomes), said)
