"""Reference data of grasses and soils (config/reference/*.toml), typed. Each value keeps its source beside it."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

from config.defaults import Sourced
from config.models import Soil, Species

GrassKind = Literal["cool", "warm"]


@dataclass(frozen=True)
class SoilTexture:
    """Water of a soil texture as fractions of its volume, and the days it takes to drain from full to capacity."""

    name: Soil
    sand_pct: float
    clay_pct: float
    wilting: Sourced
    field_capacity: Sourced
    saturation: Sourced
    drained_days: Sourced


@dataclass(frozen=True)
class GrassType:
    """How cool- or warm-season grass answers to temperature and water."""

    name: GrassKind
    optimum_c: Sourced
    spread_c: Sourced
    full_above_optimum: Sourced
    seeding_soil_c: Sourced
    depletion_share: Sourced
    root_m: Sourced
    dormant_after_days: Sourced
    green_after_days: Sourced
    clippings_share: Sourced


@dataclass(frozen=True)
class GrassSpecies:
    """A species (or mixture): its type and the nitrogen it wants in a year; the most in a month where one is known."""

    id: Species
    name: str
    type: GrassKind
    year_n_g_m2: Sourced
    most_month_n_g_m2: Sourced | None = None


@cache
def soils() -> Mapping[Soil, SoilTexture]:
    """Every soil texture by name."""
    table = _read("soils.toml")
    return {name: SoilTexture(name=name, **_fields(table[name])) for name in get_args(Soil)}


@cache
def grass_types() -> Mapping[GrassKind, GrassType]:
    """Cool- and warm-season grass."""
    table = _read("grasses.toml")["types"]
    return {name: GrassType(name=name, **_fields(table[name])) for name in get_args(GrassKind)}


@cache
def grass_species() -> Mapping[Species, GrassSpecies]:
    """Every species by id."""
    table = _read("grasses.toml")["species"]
    return {name: GrassSpecies(id=name, **_fields(table[name])) for name in get_args(Species)}


@cache
def crop_coefficients(grass: GrassKind) -> Sourced:
    """Crop coefficients of turf, January to December, for the northern hemisphere."""
    return Sourced(**_read("crop_coefficients.toml")[grass]["months"])


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((files("config") / "reference" / name).read_text("utf-8"))


def _fields(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key: Sourced(**value) if isinstance(value, dict) else value for key, value in table.items()}
