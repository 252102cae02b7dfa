"""A clock that is turned by hand, a sender that keeps what it is given, and the parts of a service around a store."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from adapters.daemon.compose import Composed
from adapters.daemon.estates import Estates
from adapters.daemon.parts import Parts
from adapters.notify.results import Outcome, Sent
from adapters.store import Store
from config.models import Estate, Person
from scheduler.values import Message
from tests.builders import write_estate

DUE = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)  # 06:00 in London
MINUTE = timedelta(minutes=1)


@dataclass
class HandClock:
    """Stands still until it is set."""

    at: datetime = DUE
    trial: bool = False

    def now(self) -> datetime:
        return self.at


@dataclass
class FakeSend:
    """Keeps every send; `answer(reach, n)` for the n-th send over a channel (from 1)."""

    answer: Callable[[str, int], Outcome] = lambda _reach, _n: Sent()
    sends: list[tuple[str, Message, str]] = field(default_factory=list)
    turn: threading.Lock = field(default_factory=threading.Lock)

    def __call__(self, reach: str, message: Message, key: str, *, now: datetime, environ: Mapping[str, str]) -> Outcome:
        with self.turn:
            self.sends.append((reach, message, key))
            count = len([sent for sent in self.sends if sent[0] == reach])
        return self.answer(reach, count)

    def over(self, reach: str) -> int:
        """How many sends went over a channel."""
        return len([sent for sent in self.sends if sent[0] == reach])


def parts_in(folder: Path, store: Store, clock: HandClock, **estate: Any) -> Parts:
    """The parts of a service for an estate written into a folder."""
    return Parts(store, Estates(write_estate(folder, **estate), {}), clock, {}, "me")


def plain(_estate: Estate, _now: datetime, _weather: object, _entries: object, *, trial: bool) -> Composed:
    """Composes a message that names the person, and says when it is late or a trial."""

    def compose(person: Person, delayed: bool, missed: date | None) -> tuple[str, Message]:
        marks = f"{' late' if delayed else ''}{' trial' if trial else ''}{f' missed {missed}' if missed else ''}"
        return "[]", Message(f"for {person.id}", f"brief of {person.id}{marks}", "")

    return compose
