"""Lawns from lawns.csv and from [[lawns]] in estate.toml, measured from their outlines where they have one."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeGuard

from config.lawns_csv import Sheet, read_lawns
from config.models import Lawn
from config.outline import OutlineInvalid, measure_outline
from config.parts import Item, Source, build
from config.problems import Problem
from config.reference_data import grass_species

AREA_TOLERANCE = 0.25  # given area against the outline's, as a share of the outline's
PLACE_TOLERANCE_DEG = 0.1  # about 11 km: beyond it the forecast of another place would be read

_MEASURED = ("area_m2", "latitude", "longitude")
_SWAPPED = "a number from -90 to 90 (latitude and longitude swapped?)"

RawPath = tuple[str | int, ...]


def read_lawn_items(
    folder: Path, entries: list[tuple[Any, Source]], problems: list[Problem], *, other_file_read: bool
) -> tuple[list[Item[Lawn]], bool]:
    """All lawns of an estate (`entries` are those of estate.toml), and whether all their ids could be read."""
    items = [_item(folder, raw, source, problems) for raw, source in entries]
    path = folder / "lawns.csv"
    if not path.exists() and not path.is_symlink():
        if not entries and other_file_read:
            problems.append(Problem(path.name, None, "", "no lawns", "a lawns.csv, or [[lawns]] in estate.toml"))
        return items, True
    before = len(problems)
    sheet = read_lawns(path, problems)
    if sheet is None:
        return items, False
    if not sheet.rows and not entries and len(problems) == before:
        problems.append(Problem(path.name, None, "", "a header without rows", "one row per lawn"))
    return items + sheet_items(folder, sheet, path.name, problems), "id" not in sheet.lacking


def sheet_items(folder: Path, sheet: Sheet, file: str, problems: list[Problem]) -> list[Item[Lawn]]:
    """One item for each row of a sheet of lawns, in order; outlines are looked for in `folder`."""
    items = []
    for row in sheet.rows:
        source = Source(file, row=row.number)
        wrong: set[RawPath] = {(name,) for name in sheet.lacking | row.wrong}
        if sheet.has_unknown and "round" not in row.cells:
            wrong.add(("round",))  # it may stand in the column nobody knows
        if row.whole:
            items.append(_item(folder, row.cells, source, problems, frozenset(wrong)))
        else:
            # Cells may have slid sideways: only the id is kept, so that references to the lawn hold.
            everything: set[RawPath] = {(name,) for name in Lawn.model_fields}
            items.append(build(Lawn, row.cells, source, problems, frozenset(everything)))
    return items


def _item(
    folder: Path, raw: Any, source: Source, problems: list[Problem], wrong: frozenset[RawPath] = frozenset()
) -> Item[Lawn]:
    if not isinstance(raw, dict):
        return build(Lawn, raw, source, problems, wrong)
    filled, bad = _measured(folder, raw, source, problems, wrong)
    if _looks_swapped(filled):
        problems.append(source.problem(("latitude",), f"{filled['latitude']:g}", _SWAPPED))
        bad |= {("latitude",)}
    return build(Lawn, _with_grass(filled), source, problems, wrong | bad)


def _with_grass(raw: dict[str, Any]) -> dict[str, Any]:
    """The kind of grass follows from the species where only that is given."""
    species = raw.get("species")
    known = grass_species().get(species) if isinstance(species, str) else None  # type: ignore[call-overload]
    return {"grass": known.type, **raw} if known else raw


def _measured(
    folder: Path, raw: dict[str, Any], source: Source, problems: list[Problem], wrong: frozenset[RawPath]
) -> tuple[dict[str, Any], frozenset[RawPath]]:
    """The raw lawn with what its outline tells filled in, and the fields that must not be judged again."""
    outline = raw.get("outline")
    if not isinstance(outline, str) or not outline.strip() or ("outline",) in wrong:
        return raw, frozenset()
    try:
        measures = dict(zip(_MEASURED, measure_outline(folder / outline.strip()), strict=True))
    except OutlineInvalid as error:
        problems.append(source.problem(("outline",), error.found, error.allowed))
        absent: set[RawPath] = {(name,) for name in _MEASURED if name not in raw}
        return raw, frozenset({("outline",), *absent})
    problems += _contradictions(raw, measures, source)
    return {**measures, **raw}, frozenset()


def _contradictions(raw: Mapping[str, Any], measures: Mapping[str, float], source: Source) -> list[Problem]:
    """Where what was typed cannot be the place or size that was drawn."""
    found = []
    area, drawn = raw.get("area_m2"), measures["area_m2"]
    if _is_number(area) and abs(area - drawn) > AREA_TOLERANCE * drawn:
        allowed = f"within {AREA_TOLERANCE:.0%} of the outline's {drawn:.4g} m2, or only one of the two"
        found.append(source.problem(("area_m2",), f"{area:.6g} m2", allowed))
    for name in ("latitude", "longitude"):
        given = raw.get(name)
        if _is_number(given) and abs(given - measures[name]) > PLACE_TOLERANCE_DEG:
            allowed = f"near the outline's {measures[name]:.4f} (longitude comes first in GeoJSON)"
            found.append(source.problem((name,), f"{given:.6g}", allowed))
    return found


def _looks_swapped(raw: Mapping[str, Any]) -> bool:
    latitude, longitude = raw.get("latitude"), raw.get("longitude")
    return _is_number(latitude) and _is_number(longitude) and 90 < abs(latitude) <= 180 and abs(longitude) <= 90


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9
