"""Rows of a spreadsheet as rows of the ledger: every cell judged, every mistake named by row and field."""

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time
from functools import partial
from typing import Any, get_args
from zoneinfo import ZoneInfo

from adapters.cli.context import Ended
from adapters.cli.history_cells import (
    NUMBER,
    START,
    Wrong,
    date_in,
    instant_in,
    name_in,
    number_in,
    on_the_wall,
    one_of,
    start_in,
    units_of,
)
from adapters.cli.ledger_csv import COLUMNS, FIELD_OF, plain_cell
from adapters.cli.measures import parse_amount
from adapters.cli.records import CLOCK_SLACK
from config.lawns_csv import csv_fault, delimiter_of
from config.models import Estate
from config.problems import Problem
from config.wording import found_text, key_text, known_text
from scheduler.values import Entry
from scheduler.weather.forecast import FIELDS

_TYPES = {field.name: (get_args(field.type) or (field.type,))[0] for field in fields(Entry)}
_BOUNDS = {name: FIELDS[name][1:] for name in ("temperature_c", "humidity_pct", "wind_m_s")} | {
    "forecast_chance": (0.0, 1.0)
}
_YES, _NO = ("true", "yes", "1"), ("false", "no", "0")


@dataclass(frozen=True)
class Read:
    """A row of the file that can be recorded: the line it begins on, and whether it comes out of a ledger."""

    row: int
    entry: Entry
    of_ledger: bool


def header_of(content: str) -> list[str]:
    """The column names of a file, in lower case; empty for an empty file."""
    text, delimiter, _ = delimiter_of(content)
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        return next((_named(cells) for cells in rows if any(cell.strip() for cell in cells)), [])
    except csv.Error:
        return []


def _named(cells: Sequence[str]) -> list[str]:
    return [re.sub(r"\s+", "_", cell.strip().lower()) for cell in cells]


def read_history(file: str, content: str, estate: Estate, now: datetime, problems: list[Problem]) -> list[Read]:
    """The rows of a history. What is wrong goes to `problems`, each with its row, field, what was found and allowed.

    A row with an `id` was exported from a ledger: it is taken as it stands, even if its lawn, its product or its zone
    have left the estate since. Rows typed by hand are held against the estate and the clock.
    """
    return list(_Reader(file, content, estate, now, problems).rows())


class _Reader:
    def __init__(self, file: str, content: str, estate: Estate, now: datetime, problems: list[Problem]) -> None:
        self.file, self.estate, self.now, self.problems = file, estate, now, problems
        self.lawns = {lawn.id: lawn for lawn in estate.lawns}
        self.products = {product.id: product for product in estate.products}
        self.text, self.delimiter, self.skipped = delimiter_of(content)
        self.columns: dict[int, str] = {}

    def rows(self) -> Iterator[Read]:
        records = self._records()
        row, header = next(records, (0, []))
        if not header:
            if not self.problems:
                self._fail(1, "", "an empty file", "a header, and one row for each job")
            return
        if not self._columns(row, _named(header)):
            return
        for row, cells in records:
            named = {name: cells[i] for i, name in self.columns.items() if i < len(cells)}
            if len(cells) < len(header) or any(cell.strip() for cell in cells[len(header) :]):
                self._fail(row, "", f"{len(cells)} cells", f"{len(header)} cells, as in the header")
                continue
            read = self._row(row, named)
            if read is not None:
                yield read

    def _records(self) -> Iterator[tuple[int, list[str]]]:
        """Rows that are not blank, with the line each begins on."""
        reader = csv.reader(io.StringIO(self.text, newline=""), delimiter=self.delimiter, strict=True)
        while True:
            number = reader.line_num + 1 + self.skipped
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                self._fail(number, "", csv_fault(error), "cells whose quotes are closed, a quote inside doubled")
                return
            if any(cell.strip() for cell in cells):
                yield number, cells

    def _columns(self, row: int, header: list[str]) -> bool:
        """Note the known columns by position; False if they do not make a history."""
        before = len(self.problems)
        for position, name in enumerate(header):
            if not name:
                continue
            if name not in COLUMNS:
                self._fail(
                    row, key_text(name), "an unknown column", known_text(name, COLUMNS, "a column of the ledger")
                )
            elif name in self.columns.values():
                self._fail(row, name, "the same column twice", "each column once")
            self.columns[position] = name
        for needed in (("lawn",), ("product",), ("at", "date")):
            if not set(needed) & set(header):
                self._fail(row, needed[0], "no such column", f"a column for it{' or date' * (len(needed) > 1)}")
        return len(self.problems) == before

    def _row(self, row: int, cells: Mapping[str, str]) -> Read | None:
        """One row; None with its mistakes noted: every cell's, else what the cells together cannot mean."""
        before = len(self.problems)
        of_ledger = bool(cells.get("id", "").strip())
        values: dict[str, Any] = {}
        for name, cell in cells.items():
            values |= self._try(row, partial(self._value, name, cell, of_ledger))
        for step in (self._amount, self._start, self._judged):
            if len(self.problems) == before:
                values |= self._try(row, partial(step, values, cells, of_ledger))
        return Read(row, Entry(**values), of_ledger) if len(self.problems) == before else None

    def _try(self, row: int, step: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        try:
            return step()
        except Wrong as wrong:
            self._fail(row, wrong.column, wrong.found, wrong.allowed)
            return {}

    def _fail(self, row: int, column: str, found: str, allowed: str) -> None:
        self.problems.append(Problem(self.file, None, column, found, allowed, row))

    # --- cells -----------------------------------------------------------------------------------------------------

    def _value(self, name: str, cell: str, of_ledger: bool) -> dict[str, Any]:
        """A cell as the field it fills; nothing for an empty one, so that the row's own default stands."""
        field, plain = FIELD_OF.get(name, name), cell.strip()
        if name in ("lawn", "product"):
            return {name: self._known(name, plain_cell(plain), of_ledger)}
        if name == "amount" or not (plain or _TYPES[field] is str):
            return {}
        read: dict[str, Callable[[], Any]] = {
            "at": lambda: start_in(plain),
            "kind": lambda: one_of("kind", plain, ("done", "skipped")),
            "by": lambda: name_in(plain_cell(cell)),
        }
        by_type: dict[Any, Callable[[], Any]] = {
            datetime: lambda: instant_in(name, plain),
            date: lambda: date_in(name, plain),
            float: lambda: self._number(name, plain),
            bool: lambda: one_of(name, plain, (*_YES, *_NO)) in _YES,
            int: lambda: int(number_in(name, plain, (1, 2**31), whole=True)),
            str: lambda: plain_cell(cell),
        }
        return {field: (read.get(name) or by_type[_TYPES[field]])()}

    def _known(self, name: str, found: str, of_ledger: bool) -> str:
        known = self.lawns if name == "lawn" else self.products
        if not found or (found not in known and not of_ledger):
            raise Wrong(name, found_text(found), known_text(found, known, f"the id of a {name} of the estate"))
        return found

    def _number(self, name: str, cell: str) -> float:
        return number_in(name, self._with_point(cell), _BOUNDS.get(name, (0.0, 1e9)))

    def _with_point(self, cell: str) -> str:
        """A decimal comma as a point, where commas do not part the cells."""
        return cell.replace(",", ".") if self.delimiter != "," and cell.count(",") == 1 and "." not in cell else cell

    # --- rows ------------------------------------------------------------------------------------------------------

    def _amount(self, values: Mapping[str, Any], cells: Mapping[str, str], _: bool) -> dict[str, Any]:
        """A bare number is ml or g as the product's sheet has it; a unit may stand beside it."""
        cell = self._with_point(cells.get("amount", "").strip())
        product = self.products.get(values["product"])
        if not cell:
            return {}
        if product is None or NUMBER.fullmatch(cell):
            return {"amount": number_in("amount", cell, (0.0, 1e9))}
        try:
            return {"amount": parse_amount(cell, product)}
        except Ended:
            raise Wrong("amount", found_text(cell), units_of(product)) from None

    def _start(self, values: Mapping[str, Any], _: Mapping[str, str], of_ledger: bool) -> dict[str, Any]:
        """Start in UTC and date on the lawn, each from the other where only one is given."""
        lawn = self.lawns.get(values["lawn"])
        at: datetime | None = values.get("at")
        day: date | None = values.get("local_date")
        if at is None and day is None:
            raise Wrong("at", "nothing", START)
        if lawn is None:
            if at is None or at.tzinfo is None or day is None:
                raise Wrong("at", "no start with its date", "both, for a lawn that has left the estate")
            return {"at": at.astimezone(UTC)}
        zone = ZoneInfo(self.estate.zone_of(lawn))
        if at is None:
            at = datetime.combine(day or date.min, time(12), zone)  # only the day is known
        elif at.tzinfo is None:
            at = on_the_wall(at, zone)
        there = at.astimezone(zone).date()
        if day not in (None, there) and not of_ledger:
            raise Wrong("date", day.isoformat(), f"{there}, the date on the lawn at that start, or nothing")
        return {"at": at.astimezone(UTC), "local_date": day or there}

    def _judged(self, values: Mapping[str, Any], _: Mapping[str, str], of_ledger: bool) -> dict[str, Any]:
        """What cannot be so, whatever the cells say one by one."""
        at, end = values["at"], values.get("end")
        if not of_ledger and at > self.now + CLOCK_SLACK:
            raise Wrong("at", at.isoformat(), "up to now; what is still to come cannot be recorded")
        if end is not None and end < at:
            raise Wrong("end", end.isoformat(), "not before the start")
        if values.get("area_m2") == 0:
            raise Wrong("area_m2", "0", "a number above 0, or nothing for the whole lawn")
        return {}
