"""Decides the briefs that are due and puts their messages into the outbox, in one transaction."""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from adapters.daemon.compose import Composed, compose_for
from adapters.daemon.parts import Parts
from adapters.notify.letter import clean, one_line
from adapters.store.briefs import QueuedBrief
from adapters.store.engine import StoreError
from adapters.weather import weather_now
from config.models import Estate, Person
from scheduler.clockwork.due import BriefDue, briefs_due
from scheduler.clockwork.retry import STEPS
from scheduler.values import CellWeather, Entry, Message
from scheduler.weather.cells import cell_of

log = logging.getLogger("ligule.briefs")

RECENT = timedelta(minutes=60)  # a look at the feeds within that time before a brief is due is recent enough
PATIENCE = timedelta(minutes=5)  # a brief waits that long for it, and then says what is known
MOST_TRIES = 5  # for a brief that cannot be written; others are not held up by it
BATCH, BATCH_TEXT = 100, 8_000_000  # briefs, and characters of their lines, that are recorded together

Compose = Callable[..., Composed]
Key = tuple[str, date]


@dataclass
class _Trouble:
    """How often the brief of one person and date failed, and when it is tried again."""

    tries: int
    again_at: datetime


class BriefJob:
    """One look at the clock and the records: what is due and not yet decided is decided now."""

    def __init__(
        self,
        parts: Parts,
        looked_at: Callable[[str], datetime | None],
        compose: Compose = compose_for,
    ) -> None:
        self.parts, self.looked_at, self.compose = parts, looked_at, compose
        self._troubles: dict[Key, _Trouble] = {}
        self._began: datetime | None = None  # a service that starts late looks at the feeds first, too

    def run(self) -> None:
        """Record what came too late, and decide and queue what is due."""
        parts, now = self.parts, self.parts.now()
        if parts.gate.is_shut:
            return
        self._began = self._began or now
        estate = parts.estates.current()
        recorded = parts.store.recorded_briefs((now - timedelta(days=3)).date())
        due = briefs_due(estate, now, recorded, not_before=parts.store.restored_at())
        people = {person.id: person for person in estate.people}
        self._expire([brief for brief in due if brief.action == "expire"], people, now)
        ready = [brief for brief in due if brief.action == "send" and self._is_ready(brief, people, estate, now)]
        if ready:
            self._decide(ready, people, estate, now)

    def _is_ready(self, brief: BriefDue, people: Mapping[str, Person], estate: Estate, now: datetime) -> bool:
        """True once the feeds were looked at for the person's cells, or the wait for them has been long enough."""
        trouble = self._troubles.get((brief.person, brief.local_date))
        if trouble is not None and now < trouble.again_at:
            return False
        if now >= max(brief.due_at, self._began or now) + PATIENCE:
            return True
        cells = {cell_of(lawn.latitude, lawn.longitude) for lawn in estate.lawns_of(people[brief.person])}
        looked = [self.looked_at(cell) for cell in cells]
        return all(when is not None and when >= brief.due_at - RECENT for when in looked)

    def _decide(self, ready: Sequence[BriefDue], people: Mapping[str, Person], estate: Estate, now: datetime) -> None:
        store = self.parts.store
        weather: Mapping[str, CellWeather] = weather_now(store, estate, now, self.parts.shelf)
        entries: Sequence[Entry] = store.entries()
        composed = self.compose(estate, now, weather, entries, trial=self.parts.is_trial)
        unreached = store.undelivered_briefs((now - timedelta(days=3)).date())
        batch: list[QueuedBrief] = []
        for brief in ready:
            if self.parts.stop.is_set():
                break
            before = brief.local_date - timedelta(days=1)
            missed = before if (brief.person, before) in unreached else None
            queued = self._written(brief, people[brief.person], composed, missed, now)
            batch += [queued] if queued else []
            if len(batch) >= BATCH or sum(len(one.lines) for one in batch) >= BATCH_TEXT:
                self._queue(batch, now)
                batch = []
        self._queue(batch, now)

    def _written(
        self, brief: BriefDue, person: Person, composed: Composed, missed: date | None, now: datetime
    ) -> QueuedBrief | None:
        """The brief of one person; None if writing it fails, which must not cost the others theirs."""
        try:
            lines, told = composed(person, brief.delayed, missed)
            message = Message(one_line(told.title), clean(told.text), clean(told.html), told.pictures)
        except Exception as error:  # noqa: BLE001 - whatever it is, it is this person's brief alone
            self._note_trouble(brief, person, f"{type(error).__name__}: {error}", now)
            return None
        return QueuedBrief(
            person.id, brief.local_date, person.reach, brief.due_at, brief.expires_at, message, lines=lines
        )

    def _queue(self, batch: Sequence[QueuedBrief], now: datetime) -> None:
        if not batch:
            return
        self.parts.point("before the briefs are recorded")
        try:
            new = self.parts.store.queue_briefs(batch, now)
        except StoreError:
            if len(batch) == 1:
                raise
            log.warning("a batch of %d briefs could not be recorded; trying one by one", len(batch))
            for brief in batch:
                self._queue_alone(brief, now)
            return
        self.parts.point("briefs recorded")
        for brief in batch:
            self._troubles.pop((brief.person, brief.local_date), None)
        late_s = max((now - brief.due_at).total_seconds() for brief in batch)
        log.info("%d briefs decided and queued, the latest %.0f s after it was due", new, late_s)

    def _queue_alone(self, brief: QueuedBrief, now: datetime) -> None:
        try:
            self._queue([brief], now)
        except StoreError as error:
            log.error("the brief of %s for %s could not be recorded: %s", brief.person, brief.local_date, error)

    def _note_trouble(self, brief: BriefDue, person: Person, why: str, now: datetime) -> None:
        key = (brief.person, brief.local_date)
        tries = self._troubles[key].tries + 1 if key in self._troubles else 1
        log.error("the brief of %s for %s cannot be written (try %d): %s", *key, tries, one_line(why))
        log.debug("where it failed", exc_info=True)
        self._troubles[key] = _Trouble(tries, now + STEPS[min(tries, len(STEPS)) - 1])
        if tries >= MOST_TRIES:
            self._give_up(brief, person, "dead", why[:500], now)

    def _expire(self, late: Sequence[BriefDue], people: Mapping[str, Person], now: datetime) -> None:
        for brief in late:
            self._give_up(brief, people[brief.person], "expired", "came too late to be of use", now)

    def _give_up(self, brief: BriefDue, person: Person, state: str, why: str, now: datetime) -> None:
        given_up = QueuedBrief(
            person.id,
            brief.local_date,
            person.reach,
            brief.due_at,
            brief.expires_at,
            state="dead" if state == "dead" else "expired",
            note=why,
        )
        self.parts.store.queue_brief(given_up, now)
        self._troubles.pop((brief.person, brief.local_date), None)
        log.error("the brief of %s for %s is not sent: %s", brief.person, brief.local_date, why)
