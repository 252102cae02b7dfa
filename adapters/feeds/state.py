"""How a feed stands for a cell: what is stored between requests, and when the next one may be made."""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from adapters.feeds import failures as fail
from scheduler.ports import FeedUnavailable
from scheduler.weather.forecast import Forecast

JITTER_S = 300
LONGEST_STATE = timedelta(hours=25)  # a wait beyond it was written by a clock that was wrong


@dataclass(frozen=True)
class FetchState:
    """How one feed stands for one cell: what the next request needs, when it may be made, what failed last."""

    provider: str
    cell: str
    last_modified: str | None = None
    etag: str | None = None
    expires_at: datetime | None = None
    next_try_at: datetime | None = None
    failures: int = 0
    last_error: str = ""
    last_attempt_at: datetime | None = None
    extra: Mapping[str, str] = field(default_factory=dict)  # what a feed must remember, and a mark of the settings


@dataclass(frozen=True)
class Outcome:
    """What asking for one cell gave: a forecast with the bytes it was read from, "not modified", or an error."""

    state: FetchState
    forecast: Forecast | None = None
    body: bytes | None = None
    not_modified: bool = False
    error: str | None = None
    operator: bool = False


def is_due(state: FetchState, now: datetime, mark: str = "") -> bool:
    """True when a cell may be asked for again. New settings end a wait for the operator at once."""
    waits = [when for when in (state.next_try_at, state.expires_at) if when is not None]
    if state.failures and mark and state.extra.get("settings", mark) != mark:
        return True
    return not any(now < when <= now + LONGEST_STATE for when in waits)


def failed(state: FetchState, failure: FeedUnavailable, now: datetime, mark: str = "") -> Outcome:
    """The outcome of a failure: one more in a row, and the wait it asks for."""
    wait = fail.OPERATOR_WAIT if failure.operator else fail.back_off(state.failures)
    said = str(failure)
    after = replace(
        state,
        next_try_at=failure.retry_at or now + wait,
        failures=state.failures + 1,
        last_error=said,
        last_attempt_at=now,
        extra=noted(state, mark),
    )
    return Outcome(after, error=said, operator=failure.operator)


def noted(state: FetchState, mark: str) -> dict[str, str]:
    """What the state remembers, with the mark of the settings it was asked under."""
    return {**state.extra, **({"settings": mark} if mark else {})}


def jitter_s(provider: str, cell: str) -> int:
    """0..300 s, the same for a cell every time, so that not all cells and not all installations ask together."""
    return zlib.crc32(f"{provider} {cell}".encode()) % (JITTER_S + 1)
