"""Writes small, valid, invented estates for tests.

write_estate(tmp_path)                                       the plain one
write_estate(tmp_path, timezone="America/Chicago")           a key of estate.toml changed (None leaves it out)
write_estate(tmp_path, lawns=[lawn(), lawn(id="back")])      lawns.csv rows; products=, programmes=, people= likewise
build_estate(tmp_path, ...)                                  the same, loaded
"""

import csv
import json
from collections.abc import Mapping, Sequence
from datetime import date, time
from pathlib import Path
from typing import Any

from config.load import load_estate
from config.models import Estate

Table = dict[str, Any]

# The common order of columns; unknown ones a test adds come after these.
LAWN_COLUMNS = ("id", "name", "latitude", "longitude", "area_m2")


def lawn(**overrides: Any) -> Table:
    """One row of lawns.csv: a front lawn at an invented address."""
    row: Table = {
        "id": "front",
        "name": "Front lawn, 4 Sedge Rise",
        "latitude": 51.482,
        "longitude": -0.617,
        "area_m2": 120,
        "grass": "cool",
        "soil": "loam",
        "programme": "spoon",
        "round": "north",
        "irrigation": "hose",
        "hard_edges": True,
        "children_or_pets": True,
    }
    return _with(row, overrides)


def person(**overrides: Any) -> Table:
    """One of [[people]]: the keeper of all lawns, reached through ${INES_MAIL}."""
    table: Table = {
        "id": "ines",
        "name": "Ines",
        "reach": ["${INES_MAIL}"],
        "brief_at": "06:00",
        "lawns": ["*"],
        "role": "keeper",
    }
    return _with(table, overrides)


def liquid(**overrides: Any) -> Table:
    """A liquid foliar feed."""
    table: Table = {
        "id": "leaf-feed",
        "name": "Leaf Feed",
        "form": "liquid",
        "analysis": "12-3-6",
        "basis": "w/w",
        "density_kg_l": 1.18,
        "iron_pct": 0.5,
        "rate_ml_m2": 3.5,
        "water_ml_m2": 60.0,
        "every_days": [7, 14],
        "most_per_year": 20,
        "weather": {"dry_for_h": 6, "wet_mm": 0.5},
        "label": {"keep_off": "until-dry", "stains_hard_surfaces": True},
    }
    return _with(table, overrides)


def granular(**overrides: Any) -> Table:
    """A slow-release granular feed."""
    table: Table = {
        "id": "spring-grain",
        "name": "Spring Grain",
        "form": "granular",
        "analysis": "20-5-8",
        "slow_n_pct": 50,
        "rate_g_m2": 25.0,
        "every_days": [56, 84],
        "most_per_year": 3,
        "label": {"keep_off": "until-dissolved"},
    }
    return _with(table, overrides)


def combined(**overrides: Any) -> Table:
    """A combined feed, weed and moss granule."""
    table: Table = {
        "id": "three-in-one",
        "name": "Three in One",
        "form": "combined",
        "analysis": "14-2-4",
        "iron_pct": 6.0,
        "rate_g_m2": 35.0,
        "every_days": [60, 90],
        "most_per_year": 2,
        "label": {"keep_off": "until-dissolved", "stains_hard_surfaces": True, "mow_gap_days": [3, 4]},
    }
    return _with(table, overrides)


def programme(**overrides: Any) -> Table:
    """A season of the three products."""
    table: Table = {
        "id": "spoon",
        "name": "Spoon feeding",
        "steps": [
            {"product": "spring-grain", "from": "03-15", "to": "05-15"},
            {"product": "leaf-feed", "from": "04-01", "to": "09-30", "every_days": [7, 10]},
            {"product": "three-in-one", "from": "04-15", "to": "09-15"},
        ],
    }
    return _with(table, overrides)


def estate_table(**overrides: Any) -> Table:
    """The contents of estate.toml."""
    table: Table = {
        "name": "Sedge Rise",
        "timezone": "Europe/London",
        "units": "metric",
        "tank_l": 15.0,
        "feed": {"order": ["met-norway"], "contact": "grounds@example.org"},
        "hours": {"start": "07:00", "end": "18:00", "days": ["mon", "tue", "wed", "thu", "fri", "sat"]},
        "risk": {"washed_off": 0.15},
        "people": [person()],
    }
    return _with(table, overrides)


def write_estate(folder: Path, **overrides: Any) -> Path:
    """Write an estate folder and return it.

    `lawns`, `products` and `programmes` are lists of tables (None writes no such file, [] an empty one);
    every other key goes to estate.toml, where None leaves the key out.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lawns = overrides.pop("lawns", [lawn()])
    products = overrides.pop("products", [liquid(), granular(), combined()])
    programmes = overrides.pop("programmes", [programme()])
    (folder / "estate.toml").write_text(to_toml(estate_table(**overrides)), encoding="utf-8")
    if lawns is not None:
        write_lawns(folder / "lawns.csv", lawns)
    if products is not None:
        (folder / "products.toml").write_text(to_toml({"products": products}), encoding="utf-8")
    if programmes is not None:
        (folder / "programmes.toml").write_text(to_toml({"programmes": programmes}), encoding="utf-8")
    return folder


def build_estate(folder: Path, **overrides: Any) -> Estate:
    """write_estate, then load it."""
    return load_estate(write_estate(folder, **overrides), {})


def write_lawns(path: Path, rows: Sequence[Mapping[str, Any]]) -> None:
    """Write lawns.csv with the columns the rows use."""
    columns = list(dict.fromkeys([*LAWN_COLUMNS, *(key for row in rows for key in row)]))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows({key: _cell(value) for key, value in row.items()} for row in rows)


def to_toml(table: Mapping[str, Any], path: tuple[str, ...] = ()) -> str:
    """A table as TOML text: plain values first, then sub-tables and arrays of tables."""
    plain = {k: v for k, v in table.items() if not isinstance(v, Mapping) and not _is_tables(v)}
    lines = [f"{_key(key)} = {_value(value)}" for key, value in plain.items()]
    for key, value in table.items():
        if key in plain:
            continue
        inner = (*path, key)
        header = ".".join(_key(part) for part in inner)
        opened, members = (f"[{header}]", [value]) if isinstance(value, Mapping) else (f"[[{header}]]", value)
        for member in members:
            lines += ["", opened, to_toml(member, inner).rstrip("\n")]
    return "\n".join(lines).strip("\n") + "\n"


def _with(table: Table, overrides: Mapping[str, Any]) -> Table:
    return {key: value for key, value in {**table, **overrides}.items() if value is not None}


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, Mapping) for item in value)


def _key(key: str) -> str:
    return key if key.replace("-", "").replace("_", "").isalnum() and key.isascii() else json.dumps(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)


def _cell(value: Any) -> str:
    return _value(value) if isinstance(value, bool | date) else str(value)
