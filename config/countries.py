"""Countries and places of the time zones, from the IANA time zone database (zone.tab, as shipped in tzdata)."""

import math
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

_PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")  # ISO 6709, as zone.tab writes it


@dataclass(frozen=True)
class Zone:
    """A time zone: ISO 3166 code of its country, and its principal place [degrees]."""

    name: str
    country: str
    latitude: float
    longitude: float


@cache
def _zones() -> dict[str, Zone]:
    text = (files("tzdata") / "zoneinfo" / "zone.tab").read_text("utf-8")
    rows = [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
    return {name: Zone(name, country, *_degrees(place)) for country, place, name, *_ in rows}


def _degrees(place: str) -> tuple[float, float]:
    found = _PLACE.fullmatch(place)
    if found is None:
        raise ValueError(f"zone.tab: {place!r}")
    parts = found.groups()
    return _decimal(*parts[:4]), _decimal(*parts[4:])


def _decimal(sign: str, degrees: str, minutes: str, seconds: str | None) -> float:
    value = int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600
    return -value if sign == "-" else value


def country_of(zone: str) -> str | None:
    """ISO 3166 code of the country a zone belongs to; None for zones of no country, and for old names."""
    found = _zones().get(zone)
    return found.country if found else None


def place_of(zone: str) -> tuple[float, float] | None:
    """Principal place of a zone, latitude and longitude [degrees]; None for zones of no country, and for old names."""
    found = _zones().get(zone)
    return (found.latitude, found.longitude) if found else None


def nearest_zone(latitude: float, longitude: float) -> str:
    """The zone whose principal place is nearest to a place [degrees]: a first guess, wrong near borders."""

    def nearness(zone: Zone) -> float:
        """Cosine of the angle between the two places: the larger, the nearer."""
        there, here = math.radians(zone.latitude), math.radians(latitude)
        turn = math.radians(zone.longitude - longitude)
        return math.sin(there) * math.sin(here) + math.cos(there) * math.cos(here) * math.cos(turn)

    return max(_zones().values(), key=nearness).name
