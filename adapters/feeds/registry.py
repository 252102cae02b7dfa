"""The feeds by name."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Protocol

from adapters.feeds.asking import Asking, Endpoint, Place
from adapters.feeds.met_norway import MetNorway
from adapters.feeds.open_meteo import OpenMeteo
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import Forecast


class Source(Protocol):
    """A feed: how it is asked, and how its answers are read."""

    provider: str
    attribution: str
    at_once: int  # places in one request
    pause_s: float  # between requests
    keep_least: timedelta  # an answer is not asked for again sooner
    keep_unstated: timedelta  # nor than this where no Expires is given

    def requests(self, places: Sequence[Place], *, endpoint: Endpoint) -> list[Asking]:
        """The requests that fetch the forecasts of `places`."""

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answer of one request as one answer for each of its `count` places. Raises FeedUnusable."""

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read the answer for one place. Raises FeedUnusable with the reason."""


_FEEDS: dict[str, Source] = {feed.provider: feed for feed in (MetNorway(), OpenMeteo())}


def feed_named(provider: str) -> Source:
    """The feed of that name. Raises FeedUnusable if there is none."""
    try:
        return _FEEDS[provider]
    except KeyError:
        raise FeedUnusable(f"no feed is called {provider!r}; there are {', '.join(_FEEDS)}") from None
