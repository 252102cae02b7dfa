"""What the brain asks of the outside: small protocols that adapters implement."""

from datetime import datetime
from typing import Protocol

from scheduler.weather.forecast import Forecast


class FeedUnavailable(Exception):
    """The feed did not answer usefully (network, 5xx, 429, not due yet). Try again at `retry_at`.

    `operator` says that trying again will not help until somebody changes a setting (key, host, place, contact).
    """

    def __init__(self, why: str, retry_at: datetime | None = None, *, operator: bool = False) -> None:
        super().__init__(why)
        self.retry_at = retry_at
        self.operator = operator


class FeedUnusable(Exception):
    """An answer came but must not be used (not JSON, wrong units or place, NaN, gaps, old or future issue time)."""


class Clock(Protocol):
    """Where `now` comes from; only the shells (command line, daemon) hold one."""

    def now(self) -> datetime:
        """The present instant, aware, UTC."""


class ForecastFeed(Protocol):
    """A forecast provider."""

    provider: str

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read one recorded or received answer for one place. Raises FeedUnusable with the reason."""
