"""What the jobs of the service share."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from adapters.daemon.estates import Estates
from adapters.store.store import Store
from adapters.weather import Shelf
from scheduler.ports import Clock


def nowhere(_point: str) -> None:
    """The hook that does nothing. Tests put one in its place that ends the process at a chosen point."""


@dataclass
class Gate:
    """Shut while the clock cannot be believed: nothing is decided, nothing sent."""

    why: str = ""

    @property
    def is_shut(self) -> bool:
        """True when nothing may be decided or sent."""
        return bool(self.why)


@dataclass(frozen=True)
class Parts:
    """The wiring. `point` is called before and after every commit and send, by name."""

    store: Store
    estates: Estates
    clock: Clock
    environ: Mapping[str, str]
    owner: str
    stop: threading.Event = field(default_factory=threading.Event)
    gate: Gate = field(default_factory=Gate)
    point: Callable[[str], None] = nowhere

    @cached_property
    def shelf(self) -> Shelf:
        """The stored answers as they were read: what comes in is read once, also for the briefs."""
        return Shelf(self.store)

    def now(self) -> datetime:
        """The present instant, UTC."""
        return self.clock.now()

    @property
    def is_trial(self) -> bool:
        """True when the clock was set by hand."""
        return bool(getattr(self.clock, "trial", False))
