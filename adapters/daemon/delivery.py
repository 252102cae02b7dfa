"""Takes messages out of the outbox, sends them, and records what became of each. No transaction spans a send."""

import itertools
import logging
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from typing import Protocol

from adapters.daemon.parts import Parts
from adapters.notify.results import Failed, Outcome
from adapters.notify.send import send as send_message
from adapters.store.briefs import OutboxRow, channel_key
from adapters.store.engine import StoreError
from scheduler.clockwork.retry import RetryDecision, after_failure
from scheduler.values import Message

log = logging.getLogger("ligule.delivery")

MOST_CARRIERS = 8  # sends at a time, however slow the receivers
SLOW_S = 1.0  # a send that takes longer is overtaken by the next
RECORD_WAITS_S = (0.2, 1.0, 5.0, 10.0, 20.0)  # a delivery that is not recorded would be repeated


class Send(Protocol):
    """Sends one message over one channel; never raises for what the channel does."""

    def __call__(self, reach: str, message: Message, key: str, *, now: datetime, environ: Mapping[str, str]) -> Outcome:
        """What became of it."""


class Delivery:
    """Starts carriers for what is due; each carries message after message until there is nothing left to take.

    A sudden end of the process can repeat a message that was handed over and not yet recorded. So that it is one at
    most, one quick send is under way at a time (or as many as LIGULE_CARRIERS allows, for those who send thousands);
    only slow ones are overtaken.
    """

    def __init__(self, parts: Parts, send: Send = send_message) -> None:
        self.parts, self.send = parts, send
        self.at_once = _at_once(parts.environ)
        self._pool = ThreadPoolExecutor(MOST_CARRIERS, thread_name_prefix="carrier")
        self._busy: dict[int, float] = {}  # carrier -> since when it is at its present message [monotonic s]
        self._turn = threading.Lock()
        self._numbers = itertools.count()

    def run(self) -> None:
        """Give back what dead owners held, close what is past its time, and set carriers going."""
        parts, now = self.parts, self.parts.now()
        if parts.gate.is_shut or parts.stop.is_set():
            return
        if given_back := parts.store.release(now):
            log.warning("%d messages were held too long and are taken up again", given_back)
        if closed := parts.store.close_overdue(now):
            log.error("%d messages could not be delivered in time", closed)
        while (carrier := self._hired()) is not None:
            row = None
            try:
                row = self._claim()
            finally:
                if row is None:
                    self._dismiss(carrier)
            if row is None:
                return
            self._pool.submit(self._carry, carrier, row)

    def close(self) -> None:
        """Wait for the running sends; each is recorded before its carrier ends."""
        self._pool.shutdown(wait=True)

    @property
    def is_idle(self) -> bool:
        """True when no carrier is at work."""
        return not self._busy

    def _hired(self) -> int | None:
        """A carrier's number; None when there are enough."""
        with self._turn:
            if len(self._busy) >= MOST_CARRIERS or self._quick() >= self.at_once:
                return None
            carrier = next(self._numbers)
            self._busy[carrier] = time.monotonic()
            return carrier

    def _quick(self) -> int:
        now_s = time.monotonic()
        return sum(now_s - since_s <= SLOW_S for since_s in self._busy.values())

    def _dismiss(self, carrier: int) -> None:
        with self._turn:
            self._busy.pop(carrier, None)

    def _goes_on(self, carrier: int) -> bool:
        """True if the carrier takes another message: not when others overtook it meanwhile."""
        with self._turn:
            self._busy.pop(carrier, None)
            if self._quick() >= self.at_once:
                return False
            self._busy[carrier] = time.monotonic()
            return True

    def _claim(self) -> OutboxRow | None:
        parts = self.parts
        if parts.stop.is_set() or parts.gate.is_shut:
            return None
        rows = parts.store.claim(parts.now(), parts.owner, 1)
        if rows:
            parts.point("message claimed")
        return rows[0] if rows else None

    def _carry(self, carrier: int, row: OutboxRow | None) -> None:
        try:
            while row is not None:
                self.deliver(row)
                row = self._claim() if self._goes_on(carrier) else None
        except StoreError as error:
            log.error("%s; a message stays claimed until its lease runs out", error)
        except Exception as error:  # noqa: BLE001 - a carrier that dies silently would never be missed
            log.error("a carrier failed: %s", type(error).__name__)
            log.debug("where it failed", exc_info=True)
        finally:
            self._dismiss(carrier)

    def deliver(self, row: OutboxRow) -> None:
        """Send one claimed message and record the outcome."""
        parts = self.parts
        reach = self._reach(row)
        if reach is None:
            gone = RetryDecision("dead", "its channel is no longer declared")
            self._record(lambda: parts.store.mark_failed(row.id, parts.owner, gone, why=gone.why))
            log.error("%s is not sent: %s", _name(row), gone.why)
            return
        outcome = self._sent(row, reach)
        parts.point("message sent, not yet recorded")
        if isinstance(outcome, Failed):
            self._note_failure(row, outcome)
        else:
            now = parts.now()
            self._record(lambda: parts.store.mark_sent(row.id, parts.owner, now))
            log.info("%s sent (try %d, %.0f s after it was due)", _name(row), row.attempts, _dwell_s(row, now))
        parts.point("outcome recorded")

    def _sent(self, row: OutboxRow, reach: str) -> Outcome:
        shown = self.parts.store.pictures(row.person, row.local_date) if "cid:" in row.html else ()
        message = Message(row.title, row.text, row.html, shown)
        try:
            return self.send(reach, message, row.idempotency_key, now=self.parts.now(), environ=self.parts.environ)
        except Exception as error:  # noqa: BLE001 - a poisonous message must not end the delivery of the others
            log.debug("where the send failed", exc_info=True)
            return Failed(f"the send itself failed ({type(error).__name__})")

    def _note_failure(self, row: OutboxRow, failed: Failed) -> None:
        parts = self.parts
        decision = after_failure(
            parts.now(),
            row.expires_at,
            failures=row.failures + (not failed.unknown),
            permanent=failed.permanent,
            unknown=failed.unknown,
            unknowns=row.unknowns + failed.unknown,
        )
        self._record(
            lambda: parts.store.mark_failed(row.id, parts.owner, decision, why=failed.why, unknown=failed.unknown)
        )
        level = logging.WARNING if decision.state == "due" else logging.ERROR
        log.log(level, "%s not delivered: %s; %s", _name(row), failed.why, decision.why)

    def _reach(self, row: OutboxRow) -> str | None:
        """The channel as the estate declares it now; None if it no longer does."""
        for person in self.parts.estates.current().people:
            if person.id == row.person:
                return next((reach for reach in person.reach if channel_key(reach) == row.channel), None)
        return None

    def _record(self, mark: Callable[[], bool]) -> None:
        """Write an outcome, patiently: the database may be busy, and what is not recorded will be sent again."""
        for wait_s in RECORD_WAITS_S:
            try:
                if not mark():
                    log.warning("a message was taken over by another owner meanwhile")
                return
            except StoreError as error:
                log.warning("an outcome could not be recorded, trying again: %s", error)
                threading.Event().wait(wait_s)
        mark()


def _name(row: OutboxRow) -> str:
    """How a message is spoken of in the log: never by its address."""
    return f"{row.kind} {row.person} {row.local_date} channel {row.channel_index + 1}"


def _dwell_s(row: OutboxRow, now: datetime) -> float:
    return (now - row.due_at).total_seconds()


def _at_once(environ: Mapping[str, str]) -> int:
    """LIGULE_CARRIERS, 1 to MOST_CARRIERS; 1 if it is not a number."""
    given = environ.get("LIGULE_CARRIERS", "")
    return min(max(int(given), 1), MOST_CARRIERS) if given.isdecimal() else 1
