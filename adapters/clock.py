"""The only reader of the wall clock."""

import time
from datetime import UTC, datetime, timedelta


class SystemClock:
    """The machine's clock."""

    trial = False

    def now(self) -> datetime:
        """The present instant, UTC."""
        return datetime.now(UTC)  # noqa: TID251


class TrialClock:
    """A clock that starts at a given instant and runs at true speed: for trials and tests, said on every message."""

    trial = True

    def __init__(self, start: datetime) -> None:
        self._start = start.astimezone(UTC)
        self._began = time.monotonic()

    def now(self) -> datetime:
        """The trial instant, UTC."""
        return self._start + timedelta(seconds=time.monotonic() - self._began)
