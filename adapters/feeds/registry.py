"""The feeds by name."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Protocol, runtime_checkable

from adapters.feeds.asking import Asking, Endpoint, Place
from adapters.feeds.bright_sky import BrightSky
from adapters.feeds.ensemble import OpenMeteoEnsemble
from adapters.feeds.met_norway import MetNorway
from adapters.feeds.nws import Nws
from adapters.feeds.open_meteo import OpenMeteo
from scheduler.ports import FeedUnusable
from scheduler.weather.forecast import Forecast


class Source(Protocol):
    """A feed: how it is asked, and how its answers are read."""

    provider: str
    attribution: str
    at_once: int  # places in one request
    pause_s: float  # between requests
    free_pause_s: float  # the same on the free hosts of Open-Meteo
    keep_least: timedelta  # an answer is not asked for again sooner
    keep_unstated: timedelta  # nor than this where no Expires is given

    def requests(
        self, places: Sequence[Place], *, endpoint: Endpoint, now: datetime, known: Mapping[str, str]
    ) -> list[Asking]:
        """The requests that fetch the forecasts of `places`; `known` is what earlier answers taught."""

    def split(self, body: bytes, count: int) -> list[bytes]:
        """The answer of one request as one answer for each of its `count` places. Raises FeedUnusable."""

    def parse(self, body: bytes, *, latitude: float, longitude: float, received: datetime) -> Forecast:
        """Read the answer for one place. Raises FeedUnusable with the reason."""


@runtime_checkable
class Finder(Source, Protocol):
    """A feed that must look up where a place lies before it can be asked; one place at a time."""

    def is_found(self, known: Mapping[str, str], now: datetime) -> bool:
        """True if `known` is enough to ask; if not, `requests` gives the look-up."""

    def learn(self, body: bytes, place: Place, now: datetime) -> dict[str, str]:
        """What the look-up's answer adds to `known`. Raises FeedUnusable."""

    def forget(self, known: Mapping[str, str], now: datetime) -> dict[str, str] | None:
        """`known` without what no longer holds (the feed answered 404); None if looking it up again is no use."""


_FEEDS: dict[str, Source] = {
    feed.provider: feed for feed in (MetNorway(), Nws(), BrightSky(), OpenMeteo(), OpenMeteoEnsemble())
}


def feed_named(provider: str) -> Source:
    """The feed of that name. Raises FeedUnusable if there is none."""
    try:
        return _FEEDS[provider]
    except KeyError:
        raise FeedUnusable(f"no feed is called {provider!r}; there are {', '.join(_FEEDS)}") from None
