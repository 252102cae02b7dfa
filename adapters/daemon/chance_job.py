"""Keeps score of the feeds beside the briefs: chances noted in the morning, settled when their time has passed."""

from datetime import date, datetime, timedelta

from adapters import chances
from adapters.daemon.parts import Parts
from adapters.weather import cells_of, weather_now
from scheduler.decide.said import is_morning

HOUR = timedelta(hours=1)


class ChanceJob:
    """One look: cells whose morning it is are noted once a day, outcomes looked for every hour."""

    def __init__(self, parts: Parts) -> None:
        self.parts = parts
        self._noted: dict[str, date] = {}
        self._settle_at: datetime | None = None
        self._learned_on: date | None = None

    def run(self) -> None:
        """Note, settle, learn. A clock that was set by hand, or cannot be believed, keeps no score."""
        parts, now = self.parts, self.parts.now()
        if parts.is_trial or parts.gate.is_shut:
            return
        estate = parts.estates.current()
        cells = cells_of(estate)
        mornings = [cell for cell in cells if self._noted.get(cell) != now.date() and is_morning(cell, now)]
        if mornings:
            weather = weather_now(parts.store, estate, now, parts.shelf)
            fresh = {cell: weather[cell] for cell in mornings if weather[cell].state == "fresh"}
            chances.say(parts.store, estate, fresh, now)
            self._noted |= dict.fromkeys(fresh, now.date())
        if self._settle_at is None or not self._settle_at - HOUR <= now < self._settle_at:
            chances.settle(parts.store, now)
            self._settle_at = now + HOUR
        if self._learned_on != now.date():
            chances.learn_due(parts.store, cells, now)
            chances.forget(parts.store, now)
            self._learned_on = now.date()
