"""What a feed is asked: addresses out of the settings, coordinates and the name we go by."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_DOWN, Decimal
from importlib.metadata import version
from urllib.parse import parse_qsl, urlsplit, urlunsplit

from config.addresses import feed_address_fault, host_of, is_free_open_meteo
from config.models import Feed
from config.secrets import SecretMissing, fill
from scheduler.ports import FeedUnavailable

Place = tuple[float, float]  # latitude, longitude [degrees]

ENSEMBLE = "open-meteo-ensemble"
DEFAULTS = {
    "open-meteo": "https://api.open-meteo.com/v1/forecast",
    "met-norway": "https://api.met.no/weatherapi/locationforecast/2.0/complete",
    "nws": "https://api.weather.gov",
    "bright-sky": "https://api.brightsky.dev/weather",
}
# Path endings that are whole addresses already, and beginnings that only lack their last part.
_WHOLE = {
    "open-meteo": ("/forecast", "/ensemble"),
    "met-norway": ("/complete", "/compact"),
    "bright-sky": ("/weather",),
}
_LACKING = {"open-meteo": ("/v1", "/forecast"), "met-norway": ("/2.0", "/complete")}


@dataclass(frozen=True)
class Endpoint:
    """An address without its query, and the query that the settings want on every request (keys among it)."""

    url: str
    query: tuple[tuple[str, str], ...] = ()

    @property
    def host(self) -> str:
        """Host name in small letters."""
        return host_of(self.url)

    def params(self, own: Mapping[str, str]) -> dict[str, str]:
        """The settings' query with `own` on top: units and times are ours to pin."""
        return {**dict(self.query), **own}

    def below(self, path: str) -> "Endpoint":
        """The address with `path` appended."""
        return Endpoint(self.url.rstrip("/") + path, self.query)


@dataclass(frozen=True)
class Asking:
    """One request, and the places its answer is about, in order."""

    url: str
    params: dict[str, str]
    places: tuple[Place, ...]
    headers: Mapping[str, str] = field(default_factory=dict)


def endpoint(provider: str, feed: Feed, environ: Mapping[str, str]) -> Endpoint:
    """Where to ask `provider`: its public address, or the one in the settings, which may be a base or a whole address.

    `${NAME}` in it is filled from `environ`. Raises FeedUnavailable (operator) for an address that cannot be used, an
    unset name, and for the free Open-Meteo hosts unless the settings say the use is not commercial. The words of the
    error never quote the address: a key may be in it.
    """
    if provider == ENSEMBLE:
        return _ensemble(feed, environ)
    urls = {str(name): url for name, url in feed.urls.items()}
    given = urls.get(provider) or DEFAULTS[provider]
    try:
        asked = _filled(provider, given, environ)
        fault = feed_address_fault(asked.url)
    except SecretMissing as error:
        fault = str(error)
    except ValueError:
        fault = "an address that does not read as one"
    if fault:
        raise FeedUnavailable(f"feed.urls.{provider}: {fault}", operator=True)
    if is_free_open_meteo(asked.host) and not feed.non_commercial:
        raise FeedUnavailable(
            "the free Open-Meteo host is for non-commercial use only: set non_commercial, or another address",
            operator=True,
        )
    return asked


def _filled(provider: str, given: str, environ: Mapping[str, str]) -> Endpoint:
    """The parts are filled one by one, so that a key with & or # in it stays one value."""
    parts = urlsplit(fill(given, environ) if given.startswith("${") else given)
    host, path = fill(parts.netloc, environ), fill(parts.path, environ)
    query = tuple((key, fill(text, environ)) for key, text in parse_qsl(parts.query, keep_blank_values=True))
    return Endpoint(urlunsplit((parts.scheme, host, _path(provider, path), "", "")), query)


def _ensemble(feed: Feed, environ: Mapping[str, str]) -> Endpoint:
    """Beside the forecast: the same account, another host (open-meteo.com/en/docs/ensemble-api) and product."""
    if feed.ensemble is None:
        raise FeedUnavailable("feed.ensemble names no model", operator=True)
    beside = endpoint("open-meteo", feed, environ)
    url = re.sub(r"^(https?://(?:customer-)?)(api\.open-meteo\.com)", r"\1ensemble-\2", beside.url, flags=re.IGNORECASE)
    query = tuple((key, text) for key, text in beside.query if key != "models")
    return Endpoint(re.sub(r"/forecast$", "/ensemble", url), (*query, ("models", feed.ensemble)))


def _path(provider: str, path: str) -> str:
    path = path.rstrip("/")
    default = urlsplit(DEFAULTS[provider]).path
    if not path or not default:
        return path or default
    if path.endswith(_WHOLE.get(provider, ())):
        return path
    if provider in _LACKING and path.endswith(_LACKING[provider][0]):
        return path + _LACKING[provider][1]
    return path + default


def cut(degrees: float) -> str:
    """A coordinate with at most 4 decimals, the rest cut off, not rounded (MET Norway answers 403 to more)."""
    text = f"{Decimal(repr(float(degrees))).quantize(Decimal('0.0001'), ROUND_DOWN):f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def user_agent(contact: str) -> str:
    """`ligule/<version> (+contact)`: services ask to be told whom to write to when something goes wrong."""
    plain = "".join(c for c in contact if " " <= c <= "~").strip()
    name = f"ligule/{version('ligule')}"
    return f"{name} (+{plain})" if plain else name


def headers(contact: str, more: Mapping[str, str | None]) -> dict[str, str]:
    """Headers of every request; None values are left out."""
    given = {"User-Agent": user_agent(contact), "Accept-Encoding": "gzip", **more}
    return {key: value for key, value in given.items() if value is not None}
