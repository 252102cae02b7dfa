"""Asking the feeds for what is due, politely: never before an answer expires, never in a row after a failure."""

import contextlib
import hashlib
import logging
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import requests

from adapters.feeds import failures as fail
from adapters.feeds.asking import Asking, Endpoint, endpoint, headers
from adapters.feeds.http import Answer, get, new_session
from adapters.feeds.registry import Finder, Source, feed_named
from adapters.feeds.state import FetchState, Outcome, failed, is_due, jitter_s, noted
from config.addresses import is_free_open_meteo
from config.models import Feed
from scheduler.ports import FeedUnavailable, FeedUnusable
from scheduler.weather.cells import centre

__all__ = ["FetchState", "Outcome", "is_due", "refresh"]

LONGEST_FRESH = timedelta(hours=6)  # an Expires beyond it is a fault of some proxy
LEAST_FRESH = timedelta(minutes=5)
TOGETHER = timedelta(minutes=10)  # more than the jitter
_NAMES_WANTED = ("api.met.no", "api.weather.gov")  # both answer 403 to who does not say whom to write to
_MOST_REQUESTS_FOR_HALVES = 24
_LONGEST_VALIDATOR = 200

log = logging.getLogger(__name__)


def refresh(
    provider: str,
    cells: Iterable[str],
    states: Mapping[str, FetchState],
    *,
    feed: Feed,
    environ: Mapping[str, str],
    now: datetime,
    session: requests.Session | None = None,
    allow_local: bool = False,
    sleep: Callable[[float], None] = time.sleep,
) -> dict[str, Outcome]:
    """Ask `provider` for those of `cells` that are due at `now`; cells that are not due are absent from the result.

    `states` holds what earlier calls returned. A state must come without `last_modified` and `etag` if the body they
    belong to is no longer kept: the feed would answer "not modified". Raises nothing of the feed's: failures are
    Outcomes with `error` set, and their state says when to try again.
    """
    source = feed_named(provider)
    known = {cell: states.get(cell, FetchState(provider, cell)) for cell in sorted(set(cells))}
    try:
        asked = endpoint(provider, feed, environ)
        _check_contact(asked, feed)
    except FeedUnavailable as failure:
        waiting = FeedUnavailable(str(failure), now + fail.SETTINGS_WAIT, operator=True)
        return {cell: failed(state, waiting, now) for cell, state in known.items() if is_due(state, now)}
    mark = _mark(asked, feed)
    due = {cell: state for cell, state in known.items() if is_due(state, now, mark)}
    if not due:
        return {}
    if source.at_once > 1:  # cells that are due soon come along, so that they never part into many small requests
        due |= {cell: state for cell, state in known.items() if _may_come_along(state, now)}
    with contextlib.nullcontext(session) if session else new_session() as own:
        call = Call(own, asked, feed.contact, now, allow_local, sleep, mark)
        return _ask_all(source, due, call)


def _may_come_along(state: FetchState, now: datetime) -> bool:
    """Soon due, and never before what the feed itself said."""
    said = state.expires_at is not None and state.expires_at > now
    return not (state.failures or said) and is_due(state, now + TOGETHER)


@dataclass(frozen=True)
class Call:
    """What all requests of one refresh share."""

    session: requests.Session
    endpoint: Endpoint
    contact: str
    now: datetime
    allow_local: bool
    sleep: Callable[[float], None]
    mark: str

    def get(self, asking: Asking, conditions: Mapping[str, str | None]) -> Answer:
        """One request with our name on it. Raises FeedUnavailable."""
        sent = headers(self.contact, {**asking.headers, **conditions})
        return get(self.session, asking.url, asking.params, sent, allow_local=self.allow_local)

    def failure(self, answer: Answer, failures: int) -> FeedUnavailable:
        """What a status other than 200, 203 and 304 means."""
        secrets = [text for _, text in self.endpoint.query if len(text) >= 4]
        return fail.failure_of(answer, self.endpoint.host, now=self.now, failures=failures, secrets=secrets)


def _ask_all(source: Source, due: Mapping[str, FetchState], call: Call) -> dict[str, Outcome]:
    """Request after request. A host that is down or refuses us is left alone, and the rest waits as long.

    A batch that is refused as a whole is asked again in halves, so that one place outside the feed's area does not
    cost the others their forecast.
    """
    outcomes: dict[str, Outcome] = {}
    ready = list(due)
    waiting = [ready[i : i + source.at_once] for i in range(0, len(ready), source.at_once)]
    asked = faults = 0
    while waiting:
        cells = waiting.pop(0)
        if asked:
            call.sleep(pause_s(source, call.endpoint.host))
        asked += 1
        done, bad = _ask(source, [due[cell] for cell in cells], call)
        if bad and bad.status == 400 and len(cells) > 1 and asked < _MOST_REQUESTS_FOR_HALVES:
            half = len(cells) // 2
            waiting = [cells[:half], cells[half:], *waiting]
            continue
        outcomes |= done
        faults = faults + 1 if bad and bad.is_fault_of_host else 0
        if bad and (bad.is_for_all or faults > 1):
            return outcomes | {
                c: failed(s, bad.failure(call, 0), call.now, call.mark) for c, s in due.items() if c not in outcomes
            }
    return outcomes


def pause_s(source: Source, host: str) -> float:
    """Seconds between two requests: longer on a host that counts what is asked of it in a minute."""
    return source.free_pause_s if is_free_open_meteo(host) else source.pause_s


class _Bad(Exception):
    """A request that gave nothing: the answer, or the failure to get one."""

    def __init__(self, got: Answer | FeedUnavailable) -> None:
        super().__init__()
        self._got = got

    @property
    def status(self) -> int | None:
        return self._got.status if isinstance(self._got, Answer) else None

    @property
    def is_fault_of_host(self) -> bool:
        return self.status is None or self.status >= 500

    @property
    def is_for_all(self) -> bool:
        return fail.is_host_wide(self._got) if isinstance(self._got, Answer) else self._got.operator

    def failure(self, call: Call, failures: int) -> FeedUnavailable:
        return call.failure(self._got, failures) if isinstance(self._got, Answer) else self._got


def _ask(source: Source, states: list[FetchState], call: Call) -> tuple[dict[str, Outcome], _Bad | None]:
    """One request (two, where the place must be found first): the outcomes of its places, and what went wrong."""
    try:
        if isinstance(source, Finder) and not source.is_found(states[0].extra, call.now):
            states = [_found(source, states[0], call)]
        asking, answer = _send(source, states, call)
    except _Bad as bad:
        if bad.status == 404 and isinstance(source, Finder):
            return {states[0].cell: _lost(source, states[0], bad, call)}, bad
        return {s.cell: failed(s, bad.failure(call, s.failures), call.now, call.mark) for s in states}, bad
    except FeedUnusable as fault:
        why = FeedUnavailable(str(fault))
        return {s.cell: failed(s, why, call.now, call.mark) for s in states}, None
    return _read(source, answer, asking, states, call), None


def _found(source: Finder, state: FetchState, call: Call) -> FetchState:
    """The state with what the look-up taught. Raises _Bad, FeedUnusable."""
    bare = replace(state, last_modified=None, etag=None)
    _, answer = _send(source, [bare], call)
    return replace(bare, extra={**state.extra, **source.learn(answer.body, centre(state.cell), call.now)})


def _lost(source: Finder, state: FetchState, bad: _Bad, call: Call) -> Outcome:
    """After a 404: the place is looked up anew if that was long ago, else the operator is called."""
    left = source.forget(state.extra, call.now)
    if left is None:
        return failed(state, bad.failure(call, state.failures), call.now, call.mark)
    why = FeedUnavailable(f"{call.endpoint.host} no longer knows the place: it is looked up anew")
    return failed(replace(state, extra=left), why, call.now, call.mark)


def _send(source: Source, states: list[FetchState], call: Call) -> tuple[Asking, Answer]:
    """The next request for these places, and its good answer. Raises _Bad."""
    alone = states[0] if len(states) == 1 else FetchState("", "")
    places = [centre(state.cell) for state in states]
    asking = source.requests(places, endpoint=call.endpoint, now=call.now, known=alone.extra)[0]
    conditions = {"If-Modified-Since": alone.last_modified, "If-None-Match": alone.etag}
    try:
        answer = call.get(asking, conditions)
    except FeedUnavailable as failure:
        raise _Bad(failure) from None
    if answer.status in (200, 203) or _is_unmodified(answer, states):
        return asking, answer
    raise _Bad(answer)


def _is_unmodified(answer: Answer, states: list[FetchState]) -> bool:
    return answer.status == 304 and len(states) == 1 and bool(states[0].last_modified or states[0].etag)


def _read(source: Source, answer: Answer, asking: Asking, states: list[FetchState], call: Call) -> dict[str, Outcome]:
    """The outcome of each place of one good answer. A place that cannot be used does not spoil the others."""
    if answer.status == 304:
        return {states[0].cell: Outcome(_fresh(source, states[0], answer, call), not_modified=True)}
    if answer.status == 203:
        log.warning("%s answers 203: this version of the feed will end or is a trial", call.endpoint.host)
    try:
        bodies = source.split(answer.body, len(states))
    except FeedUnusable as fault:
        return {s.cell: _unusable(s, fault, answer, call) for s in states}
    return {
        s.cell: _parsed(source, s, body, place, answer, call)
        for s, body, place in zip(states, bodies, asking.places, strict=True)
    }


def _parsed(
    source: Source, state: FetchState, body: bytes, place: tuple[float, float], answer: Answer, call: Call
) -> Outcome:
    try:
        forecast = source.parse(body, latitude=place[0], longitude=place[1], received=call.now)
    except FeedUnusable as fault:
        return _unusable(state, fault, answer, call)
    return Outcome(_fresh(source, state, answer, call), forecast, body)


def _unusable(state: FetchState, fault: FeedUnusable, answer: Answer, call: Call) -> Outcome:
    """The validators stay those of the good answer that is still kept."""
    expires = _expires(answer, call.now) or call.now
    again = max(call.now + fail.back_off(state.failures), expires)
    return failed(state, FeedUnavailable(str(fault), again), call.now, call.mark)


def _fresh(source: Source, state: FetchState, answer: Answer, call: Call) -> FetchState:
    """The state after a good answer or "not modified": validators verbatim, and the next time to ask."""
    expires = _expires(answer, call.now)
    until = max(expires or call.now + source.keep_unstated, call.now + source.keep_least, call.now + LEAST_FRESH)
    again = answer.status == 304
    return replace(
        state,
        last_modified=_validator(answer, "Last-Modified") or (state.last_modified if again else None),
        etag=_validator(answer, "ETag") or (state.etag if again else None),
        expires_at=expires,
        next_try_at=until + timedelta(seconds=jitter_s(state.provider, state.cell)),
        failures=0,
        last_error="",
        last_attempt_at=call.now,
        extra=noted(state, call.mark),
    )


def _validator(answer: Answer, name: str) -> str | None:
    """The header as it stands, to be sent back as it stands; one that no server sends is left out."""
    text = answer.headers.get(name, "")
    return text if text and text.isprintable() and len(text) <= _LONGEST_VALIDATOR else None


def _expires(answer: Answer, now: datetime) -> datetime | None:
    """The Expires header, if it lies ahead; at most LONGEST_FRESH away."""
    when = fail.http_date(answer.headers.get("Expires"))
    return min(when, now + LONGEST_FRESH) if when and when > now else None


def _mark(asked: Endpoint, feed: Feed) -> str:
    """A short mark of the settings that a request depends on; keys cannot be read out of it."""
    return hashlib.sha256(repr((asked, feed.contact)).encode()).hexdigest()[:12]


def _check_contact(asked: Endpoint, feed: Feed) -> None:
    if asked.host in _NAMES_WANTED and not feed.contact.strip():
        raise FeedUnavailable(f"feed.contact is empty: the terms of {asked.host} ask whom to write to", operator=True)
