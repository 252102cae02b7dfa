"""From raw tables to models: every mistake becomes a Problem, and what remains sound can still be cross-checked."""

import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, time
from functools import cache
from typing import Annotated, Any, Generic, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from config import text
from config.models import Estate, Lawn, Part, Person, Product, Programme, Step
from config.problems import Problem
from config.wording import allowed_text, field_text, found_text, key_text, known_text

Path = tuple[str | int, ...]
M = TypeVar("M", bound=Part)

# Stand-ins for required fields that are missing or wrong, so that the rest of a part can still be looked at.
# Checks never see them: they ask Item.sound() first.
_STAND_INS: dict[type[BaseModel], dict[str, Any]] = {
    Estate: {"name": "-"},
    Person: {"id": "x", "name": "-"},
    Lawn: {"id": "x", "name": "-", "latitude": 0.0, "longitude": 0.0, "area_m2": 1.0},
    Product: {"id": "x", "name": "-", "form": "liquid"},
    Programme: {"id": "x", "steps": (Step.model_validate({"product": "x", "from": "01-01", "to": "12-31"}),)},
    Step: {"product": "x", "from": "01-01", "to": "12-31"},
}
_HINTS: dict[tuple[type[BaseModel], Path], str] = {
    (Lawn, (name,)): ", or an outline to take it from" for name in ("area_m2", "latitude", "longitude")
}
_NOT_SHOWN = ("reach", "urls")  # may hold passwords


@dataclass(frozen=True)
class Source:
    """Where a table came from. `base` is its path in the file, `label` how a person would call it."""

    file: str
    lines: Mapping[Path, int] = field(default_factory=dict)
    base: Path = ()
    label: str = ""
    row: int | None = None

    def problem(self, path: Path, found: str, allowed: str) -> Problem:
        """A problem with the field at `path` below this table."""
        return Problem(self.file, self._line(path), self._name(path), found, allowed, self.row)

    def place(self) -> str:
        """The place in words, for a problem that points to another."""
        line = self._line(())
        if self.row is not None:
            return f"{self.file}, row {self.row}"
        return self.file if line is None else f"{self.file}, line {line}"

    def _line(self, path: Path) -> int | None:
        whole = (*self.base, *path)
        return next((self.lines[whole[:end]] for end in range(len(whole), 0, -1) if whole[:end] in self.lines), None)

    def _name(self, path: Path) -> str:
        name = self.label
        for part in path:
            shown = key_text(part) if isinstance(part, str) else f"[{part + 1}]"
            name += shown if isinstance(part, int) or not name else f".{shown}"
        return name


@dataclass(frozen=True)
class Item(Generic[M]):
    """One part with its source, its raw table, and the fields that were already reported as wrong."""

    part: M
    source: Source
    raw: Mapping[str, Any]
    wrong: frozenset[Path] = frozenset()

    def sound(self, *names: str) -> bool:
        """True if none of these fields (dotted for nested ones) has been reported."""
        paths = [tuple(name.split(".")) for name in names]
        return not any(path[: len(bad)] == bad or bad[: len(path)] == path for path in paths for bad in self.wrong)

    def texts(self, name: str) -> list[tuple[int, str]]:
        """The texts of a list field as typed, with their positions, whether or not the whole list is sound."""
        value = self.raw.get(name)
        entries = text.clean(value, (name,)) if isinstance(value, list) else []
        return [(number, entry) for number, entry in enumerate(entries) if isinstance(entry, str)]

    def problem(self, name: str, found: object, allowed: str) -> Problem:
        """A problem with one field (dotted for nested ones); a text is taken as words, anything else is shown."""
        words = found if isinstance(found, str) else found_text(found)
        return self.source.problem(tuple(name.split(".")), words, allowed)


def build(
    model: type[M], raw: object, source: Source, problems: list[Problem], wrong: frozenset[Path] = frozenset()
) -> Item[M]:
    """Validate one raw table. `wrong` names fields that were reported before and are left out without a word."""
    if not isinstance(raw, dict):
        problems.append(source.problem((), found_text(raw), "a table"))
        return Item(_salvage(model, {}), source, {}, frozenset({(name,) for name in fields_of(model)}))
    bad = set(wrong)
    table = raw
    for path in bad:
        table = _without(table, path)
    table = text.clean(table)
    for path, key, known in list(_unknown_keys(model, table)):
        problems.append(source.problem((*path, key), "an unknown key", known_text(key, known, "a known key")))
        table = _without(table, (*path, key))
    for path, found, allowed in text.faults(table):
        problems.append(source.problem(path, found, allowed))
        bad.add(_field_path(model, path))
    for path in bad:
        table = _without(table, path)
    try:
        return Item(model.model_validate(_shape(model, table), strict=True), source, raw, frozenset(bad))
    except ValidationError as error:
        bad |= _report(model, table, error, source, problems, frozenset(bad))
    for path in bad:
        table = _without(table, path)
    return Item(_salvage(model, table), source, raw, frozenset(bad))


@cache
def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """The fields of a model by the key a user writes."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _report(
    model: type[M],
    table: dict[str, Any],
    error: ValidationError,
    source: Source,
    problems: list[Problem],
    known_bad: frozenset[Path],
) -> set[Path]:
    """Add a Problem for each value pydantic refused; returns the fields they belong to."""
    bad: set[Path] = set()
    seen: set[Path] = set()
    for detail in error.errors(include_url=False, include_context=False, include_input=False):
        path = _field_path(model, detail["loc"])
        place = _value_path(table, path, detail["loc"][len(path) :])
        if place in seen or path in known_bad:
            continue
        bad.add(path)
        seen.add(place)
        value = _at(table, place)
        hint = _HINTS.get((model, path), "") if value is None else ""
        found = found_text(value, secret=any(part in _NOT_SHOWN for part in path))
        problems.append(source.problem(place, found, _allowed(model, path, place) + hint))
    return bad


def _salvage(model: type[M], table: dict[str, Any]) -> M:
    """A model of what is sound in a table, with stand-ins for what is required and missing."""
    stand_ins = _STAND_INS.get(model, {})
    try:
        return model.model_validate({**stand_ins, **_shape(model, table)}, strict=True)
    except ValidationError:
        return model.model_validate(stand_ins, strict=True)


def _unknown_keys(model: type[BaseModel], table: dict[str, Any], path: Path = ()) -> Iterator[tuple[Path, str, Any]]:
    known = fields_of(model)
    for key, value in table.items():
        if key not in known:
            yield path, key, known
        elif (inner := _nested(known[key])) and isinstance(value, dict):
            yield from _unknown_keys(inner, value, (*path, key))
        elif get_origin(known[key].annotation) is dict and isinstance(value, dict):
            names = get_args(get_args(known[key].annotation)[0])
            yield from (((*path, key), name, names) for name in value if name not in names)


def _nested(info: FieldInfo) -> type[Part] | None:
    kind = info.annotation
    return kind if isinstance(kind, type) and issubclass(kind, Part) else None


def _field_path(model: type[BaseModel], loc: tuple[str | int, ...]) -> Path:
    """The leading steps of a pydantic location that are fields (the rest lies inside one field's value)."""
    path: Path = ()
    current: type[BaseModel] | None = model
    for part in loc:
        info = fields_of(current).get(str(part)) if current else None
        if info is None:
            break
        path = (*path, part)
        current = _nested(info)
    return path


def _value_path(table: dict[str, Any], path: Path, rest: tuple[str | int, ...]) -> Path:
    """`path` and those steps of `rest` that exist in the table (pydantic adds marks of its own)."""
    for part in rest:
        holder = _at(table, path)
        inside = isinstance(holder, list) and isinstance(part, int) and part < len(holder)
        if not inside and not (isinstance(holder, dict) and part in holder):
            break
        path = (*path, part)
    return path


def _allowed(model: type[BaseModel], path: Path, place: Path) -> str:
    """What the value at `place` may be: the field at `path`, or one entry of its list or table."""
    current = model
    for part in path[:-1]:
        current = _nested(fields_of(current)[str(part)]) or current
    info = fields_of(current)[str(path[-1])]
    kind: Any = info.annotation
    for part in place[len(path) :]:
        arms = [arm for arm in (get_args(kind) if _is_union(kind) else [kind]) if get_origin(arm) in (tuple, dict)]
        if not arms:
            return field_text(info)
        inner = get_args(arms[0])
        kind = inner[part] if isinstance(part, int) and part < len(inner) and inner[-1] is not Ellipsis else inner[0]
        kind = inner[1] if get_origin(arms[0]) is dict else kind
    return field_text(info) if kind is info.annotation else allowed_text(kind)


def _is_union(kind: Any) -> bool:
    return get_origin(kind) in (Union, types.UnionType)


def _at(table: Any, path: Path) -> Any:
    for part in path:
        if isinstance(table, dict):
            table = table.get(part)
        elif isinstance(table, list) and isinstance(part, int):
            table = table[part]
        else:
            return None
    return table


def _without(table: dict[str, Any], path: Path) -> dict[str, Any]:
    head, *rest = path
    if head not in table:
        return table
    if rest and isinstance(table[str(head)], dict):
        return {**table, str(head): _without(table[str(head)], tuple(rest))}
    return {key: value for key, value in table.items() if key != head}


def _shape(model: type[BaseModel], table: dict[str, Any]) -> dict[str, Any]:
    """Lists become tuples, and texts that read as times or dates become such; all else is left for strict checking."""
    known, plain = fields_of(model), _plain_fields(model)
    return {key: value if key in plain else _shaped(known[key].annotation, value) for key, value in table.items()}


@cache
def _plain_fields(model: type[BaseModel]) -> frozenset[str]:
    """Fields whose values need no shaping: kept apart because an estate may have very many lawns."""

    def is_plain(kind: Any) -> bool:
        if get_origin(kind) is Annotated or _is_union(kind):
            return all(is_plain(arm) for arm in get_args(kind) if isinstance(arm, type) or get_origin(arm))
        return kind in (str, float, int, bool, types.NoneType) or get_origin(kind) is Literal

    return frozenset(key for key, info in fields_of(model).items() if is_plain(info.annotation))


def _shaped(kind: Any, value: Any) -> Any:
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Annotated:
        return _shaped(inner[0], value)
    if _is_union(kind):
        for arm in inner:
            value = _shaped(arm, value)
        return value
    if origin is tuple and isinstance(value, list):
        kinds = [inner[0]] * len(value) if inner[-1] is Ellipsis else [*inner, *[None] * len(value)]
        return tuple(_shaped(kind, entry) for kind, entry in zip(kinds, value, strict=False))
    if isinstance(kind, type) and issubclass(kind, BaseModel) and isinstance(value, dict):
        return _shape(kind, value)
    if kind is time and isinstance(value, str) and re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", value):
        return time.fromisoformat(value)
    if kind is date and isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            return value
    return value
