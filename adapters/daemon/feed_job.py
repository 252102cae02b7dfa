"""Keeps the forecasts fresh."""

import contextlib
from datetime import datetime

from adapters.daemon.parts import Parts
from adapters.feeds import fetch
from adapters.notify.send import allows_local
from adapters.refresh import Refresh, refresh_estate
from adapters.warnings import Warn, refresh_warnings
from adapters.weather import cells_of


class _Ended(Exception):
    """The service stops; the round ends where it is."""


class FeedJob:
    """One round over all feeds and cells; feeds that are not due are not asked."""

    def __init__(self, parts: Parts, refresh: Refresh = fetch.refresh, warn: Warn = refresh_warnings) -> None:
        self.parts, self.refresh, self.warn = parts, refresh, warn
        self._looked: dict[str, datetime] = {}

    def run(self) -> None:
        """Ask what is due, and note which cells were looked at."""
        parts = self.parts
        now, estate = parts.now(), parts.estates.current()
        try:
            refresh_estate(
                parts.store,
                estate,
                now,
                parts.environ,
                allow_local=allows_local(parts.environ),
                sleep=self._sleep,
                refresh=self.refresh,
                shelf=parts.shelf,
            )
        except _Ended:
            return
        parts.point("forecasts kept")
        self._looked = dict.fromkeys(cells_of(estate), now)
        with contextlib.suppress(_Ended):
            local = allows_local(parts.environ)
            self.warn(parts.store, estate, now, parts.environ, allow_local=local, sleep=self._sleep)

    def looked_at(self, cell: str) -> datetime | None:
        """When the last whole round ended that included the cell."""
        return self._looked.get(cell)

    def _sleep(self, seconds: float) -> None:
        if self.parts.stop.wait(seconds):
            raise _Ended
