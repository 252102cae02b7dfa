"""What the adviser goes by: thresholds of a drafted programme, and a coarse climate by latitude. All with source."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from config.defaults import Sourced


@dataclass(frozen=True)
class Zonal:
    """Mean of the year and half the yearly swing [C] at some latitudes (degrees from the equator)."""

    latitude: tuple[float, ...]
    mean_c: tuple[float, ...]
    swing_c: tuple[float, ...]


@dataclass(frozen=True)
class CoarseClimate:
    """Temperatures by latitude, from memory. `warmest_day` is a day of the northern year."""

    source: str
    warmest_day: int
    north: Zonal
    south: Zonal


@cache
def advice(section: str) -> dict[str, Sourced]:
    """The values of one section of advice.toml. KeyError for another name."""
    return {name: Sourced(**entry) for name, entry in _read("advice.toml")[section].items()}


@cache
def coarse_climate() -> CoarseClimate:
    """The coarse temperatures by latitude."""
    table = _read("climate.toml")
    zones = {name: Zonal(**{key: tuple(values) for key, values in table[name].items()}) for name in ("north", "south")}
    return CoarseClimate(table["source"], table["warmest_day"], **zones)


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((files("config") / "reference" / name).read_text("utf-8"))
