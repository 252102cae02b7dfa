"""Reading tables of times and numbers (CSV, plain or gzip), with every mistake named by row and field."""

import csv
import gzip
import io
import math
import re
import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import NoReturn, TypeVar

import numpy as np

from config.problems import EstateInvalid, Problem
from config.wording import found_text, known_text
from scheduler.weather.forecast import Floats

MAX_BYTES = 300_000_000  # of text, unpacked
MOST_PROBLEMS = 20
MISSING = {"", "na", "nan", "null", "none", "-"}
NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?")


@dataclass(frozen=True)
class Column:
    """A column of numbers: its name and the values it may hold."""

    name: str
    low: float
    high: float
    required: bool = False


@dataclass(frozen=True)
class Table:
    """The rows of a file. `times` as written where they carry no offset, else UTC; numbers NaN where missing."""

    times: list[datetime]
    columns: dict[str, Floats]
    rows: list[int]  # line of the file that each row begins on
    offset_s: float | None  # the first row's offset from UTC, None where times carry none


T = TypeVar("T")


class _Refused(Exception):
    """A value that cannot be used: what is allowed instead."""


def read_table(path: Path, time_name: str, columns: Sequence[Column], more: Callable[[str], Column | None]) -> Table:
    """Read a table; EstateInvalid with up to 20 mistakes.

    `columns` are looked for by name; `more` says for every other heading what it may hold, None where it is to be left
    alone. Separators are comma, semicolon or tab; a decimal comma is understood where the separator is not a comma.
    """
    return _Reader(path, time_name, {column.name: column for column in columns}, more).read()


class _Reader:
    def __init__(
        self, path: Path, time_name: str, known: dict[str, Column], more: Callable[[str], Column | None]
    ) -> None:
        self.file, self.path = path.name, path
        self.time_name, self.known, self.more = time_name, known, more
        self.problems: list[Problem] = []

    def read(self) -> Table:
        text = self._text()
        first = text.split("\n", 1)[0]
        delimiter = max(",;\t", key=first.count)
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        times: list[datetime] = []
        lines: list[int] = []
        try:
            names = [name.strip().lower() for name in next(rows, [])]
            wanted = self._wanted(names)
            values: dict[str, list[float]] = {column.name: [] for column in wanted.values()}
            place = names.index(self.time_name)
            for line, row in self._filled(rows, len(names)):
                when = self._parsed(line, self.time_name, row[place], _time)
                if when is not None:
                    times.append(when)
                    lines.append(line)
                for k, column in wanted.items():
                    number = self._parsed(line, column.name, row[k], partial(_number, column, delimiter))
                    values[column.name].append(math.nan if number is None else number)
        except csv.Error as error:
            self._stop(Problem(self.file, None, "", f"a row that cannot be read ({error})", "rows of a CSV file",
                               rows.line_num))  # fmt: skip
        if not times and not self.problems:
            self._stop(Problem(self.file, None, "", "no row", "a heading and at least one row below it"))
        self._check_offsets(times, lines)
        if self.problems:
            raise EstateInvalid(tuple(self.problems))
        aware = times[0].tzinfo is not None
        offset = times[0].utcoffset() if aware else None
        plain = [when.astimezone(UTC).replace(tzinfo=None) if aware else when for when in times]
        numbers = {name: np.array(column) for name, column in values.items()}
        return Table(plain, numbers, lines, None if offset is None else offset.total_seconds())

    def _text(self) -> str:
        try:
            if not self.path.is_file():
                raise _Refused("no such file" if not self.path.exists() else "not a plain file")
            with self.path.open("rb") as file:
                packed = file.read(2) == b"\x1f\x8b"
            with gzip.open(self.path) if packed else self.path.open("rb") as file:
                data = file.read(MAX_BYTES + 1)
            if len(data) > MAX_BYTES:
                raise _Refused(f"more than {MAX_BYTES // 1_000_000} MB of text")
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            found = "bytes that are not UTF-8"
        except (_Refused, EOFError, zlib.error, OSError, ValueError) as error:
            found = str(error) if isinstance(error, _Refused) else getattr(error, "strerror", None) or str(error)
        return self._stop(Problem(self.file, None, "", found, "a CSV file in UTF-8, plain or gzip"))

    def _wanted(self, names: list[str]) -> dict[int, Column]:
        """The columns to read, by place."""
        needed = [self.time_name, *(column.name for column in self.known.values() if column.required)]
        for name in needed:
            if name not in names:
                self._stop(Problem(self.file, None, name, "no such column", _headings(names, name), 1))
        found: dict[int, Column] = {}
        for place, name in enumerate(names):
            column = self.known.get(name) or (None if name == self.time_name else self.more(name))
            if names.count(name) > 1 and (column is not None or name == self.time_name):
                self._stop(Problem(self.file, None, name, "the column twice", "each column once", 1))
            if column is not None:
                found[place] = column
        return found

    def _filled(self, rows: Iterator[list[str]], width: int) -> Iterator[tuple[int, list[str]]]:
        """Rows that hold something, each as wide as the heading, with their line."""
        for number, row in enumerate(rows, 2):
            if not any(cell.strip() for cell in row):
                continue
            if len(row) != width:
                self._add(
                    Problem(self.file, None, "", f"{len(row)} cells", f"{width} cells, as in the heading", number)
                )
                continue
            yield number, row

    def _parsed(self, line: int, field: str, text: str, parse: Callable[[str], T]) -> T | None:
        try:
            return parse(text.strip())
        except _Refused as error:
            self._add(Problem(self.file, None, field, found_text(text.strip()), str(error), line))
            return None

    def _check_offsets(self, times: list[datetime], lines: list[int]) -> None:
        for when, line in zip(times, lines, strict=True):
            if (when.tzinfo is None) != (times[0].tzinfo is None):
                word = "without" if when.tzinfo is None else "with"
                self._add(Problem(self.file, None, self.time_name, f"a time {word} offset",
                                  "offsets in all rows or in none", line))  # fmt: skip
                return

    def _add(self, problem: Problem) -> None:
        self.problems.append(problem)
        if len(self.problems) >= MOST_PROBLEMS:
            raise EstateInvalid(tuple(self.problems))

    def _stop(self, problem: Problem) -> NoReturn:
        raise EstateInvalid((*self.problems, problem))


def _headings(names: Collection[str], wanted: str) -> str:
    return f"a column {wanted}; the heading has {known_text(wanted, names, 'one of')}" if names else "a heading"


def _time(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise _Refused("an ISO 8601 time, such as 2026-05-04T06:00 or 2026-05-04T06:00Z") from None


def _number(column: Column, delimiter: str, text: str) -> float:
    if text.lower() in MISSING:
        return math.nan
    allowed = f"a number from {column.low:g} to {column.high:g}, or nothing where it is missing"
    if not NUMBER.fullmatch(text) or ("," in text and delimiter == ","):
        raise _Refused(allowed)
    number = float(text.replace(",", "."))
    if not column.low <= number <= column.high:
        raise _Refused(allowed)
    return number
