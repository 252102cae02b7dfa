"""lawns.csv as spreadsheets write it: delimiters, decimal commas, quoted cells, blank rows; one raw table per row."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from config.files import read_text
from config.models import Lawn
from config.parts import fields_of
from config.problems import Problem
from config.wording import field_text, found_text, key_text, known_text

_TRUE = ("true", "yes", "1")
_FALSE = ("false", "no", "0")
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
_THOUSANDS = re.compile(r"[0-9]{1,3}([.,][0-9]{3})+")


@dataclass
class Row:
    """One row: its physical line (from 1), its filled cells by column, whether it has the header's length, and the
    columns whose cells were reported already."""

    number: int
    cells: dict[str, Any]
    whole: bool = True
    wrong: frozenset[str] = frozenset()


@dataclass
class Sheet:
    """The rows of lawns.csv, the required columns it lacks, and whether it has columns nobody knows (both reported)."""

    rows: list[Row] = field(default_factory=list)
    lacking: frozenset[str] = frozenset()
    has_unknown: bool = False


def read_lawns(path: Path, problems: list[Problem]) -> Sheet | None:
    """Read lawns.csv; None if nothing in it can be used, with the reason added to `problems`.

    Cells are turned into the kind their column holds where they read as such, else left as text for the model to
    refuse. Decimal commas are read in semicolon and tab files.
    """
    content = read_text(path, problems)
    if content is None:
        return None
    return _Reader(path.name, content, problems).read()


class _Reader:
    def __init__(self, file: str, content: str, problems: list[Problem]) -> None:
        self.file = file
        self.content = content
        self.problems = problems

    def read(self) -> Sheet | None:
        content, self.delimiter, skipped = delimiter_of(self.content)
        records = self._records(content, skipped)
        first = next(records, None)
        if first is None:
            # A broken first record was reported by _records; an empty file was not.
            if not any(problem.file == self.file for problem in self.problems):
                self._fail(None, "", "an empty file", "a header row and one row per lawn")
            return None
        header_row, header = first
        columns = self._columns(header_row, header)
        lacking = self._lacking(header_row, columns)
        rows = [self._row(number, cells, header, columns) for number, cells in records]
        return Sheet(rows, lacking, any(title and title.lower() not in fields_of(Lawn) for title in header))

    def _records(self, content: str, skipped: int) -> Iterator[tuple[int, list[str]]]:
        """Rows that are not blank, with the physical line each begins on."""
        reader = csv.reader(io.StringIO(content, newline=""), delimiter=self.delimiter, strict=True)
        while True:
            number = reader.line_num + 1 + skipped
            try:
                cells = [cell.strip() for cell in next(reader)]
            except StopIteration:
                return
            except csv.Error as error:
                self._fail(number, "", csv_fault(error), "cells whose quotes are closed, a quote inside doubled")
                return
            if any(cells):
                yield number, cells

    def _columns(self, row: int, header: list[str]) -> dict[int, str]:
        """Known columns by position. Unknown, repeated and unnamed ones are reported (unnamed: if a row fills it)."""
        known = fields_of(Lawn)
        columns: dict[int, str] = {}
        for position, title in enumerate(header):
            name = title.lower()
            if not name:
                continue
            if name not in known:
                self._fail(row, key_text(title), "an unknown column", known_text(name, known, "a known column"))
            elif name in columns.values():
                self._fail(row, name, "the same column twice", "each column once")
            else:
                columns[position] = name
        return columns

    def _lacking(self, row: int, columns: Mapping[int, str]) -> frozenset[str]:
        present = set(columns.values())
        lacking = {name for name, info in fields_of(Lawn).items() if info.is_required()} - present
        if "outline" in present:
            lacking -= {"area_m2", "latitude", "longitude"}
        for name in lacking:
            self._fail(row, name, "no such column", "a column for it" + _OR_OUTLINE.get(name, ""))
        return frozenset(lacking)

    def _row(self, number: int, cells: list[str], header: list[str], columns: Mapping[int, str]) -> Row:
        if len(cells) < len(header) or any(cells[len(header) :]):
            self._fail(number, "", f"{len(cells)} cells", f"{len(header)} cells, as in the header")
            named = {columns[i]: cell for i, cell in enumerate(cells) if i in columns and cell}
            return Row(number, named, whole=False)
        for position, title in enumerate(header):
            if not title and cells[position]:
                self._fail(number, "", f"{found_text(cells[position])} in a column without a name", "a named column")
        filled = {name: cells[position] for position, name in columns.items() if cells[position]}
        values = {name: self._value(name, cell) for name, cell in filled.items()}
        unclear = frozenset(name for name, value in values.items() if _kind(name) is float and isinstance(value, str))
        for name in unclear:
            allowed = f"{field_text(fields_of(Lawn)[name])}, without a thousands separator"
            allowed += ", with a decimal point" if self.delimiter == "," and "," in filled[name] else ""
            self._fail(number, name, found_text(filled[name]), allowed)
        return Row(number, values, wrong=unclear)

    def _value(self, name: str, cell: str) -> Any:
        kind = _kind(name)
        if kind is bool:
            low = cell.lower()
            return True if low in _TRUE else False if low in _FALSE else cell
        if get_origin(kind) is Literal:
            return cell.lower()
        if kind is float:
            return self._number(name, cell)
        return cell

    def _number(self, name: str, cell: str) -> float | str:
        plain = cell.replace("\u2212", "-")  # the typographic minus that spreadsheets write
        if self.delimiter != ",":
            # 1.200 in such a file may be 1.2 or 1200: only a coordinate can be told.
            if name == "area_m2" and _THOUSANDS.fullmatch(plain):
                return cell
            if plain.count(",") == 1 and "." not in plain:
                plain = plain.replace(",", ".")
        return float(plain) if _NUMBER.fullmatch(plain) else cell

    def _fail(self, row: int | None, column: str, found: str, allowed: str) -> None:
        self.problems.append(Problem(self.file, None, column, found, allowed, row))


_OR_OUTLINE = dict.fromkeys(("area_m2", "latitude", "longitude"), ", or outline")


def delimiter_of(content: str) -> tuple[str, str, int]:
    """The text after a spreadsheet's `sep=` line, the delimiter, and how many lines were left out."""
    if found := re.match(r'"?sep=([,;\t])"?[^\S\r\n]*(\r\n|\r|\n)', content, re.IGNORECASE):
        return content[found.end() :], found.group(1), 1
    header = re.sub(r'"[^"]*"', "", content.lstrip().split("\n", 1)[0].split("\r", 1)[0])
    counts = Counter({mark: header.count(mark) for mark in ",;\t"})
    return content, counts.most_common(1)[0][0], 0


@cache
def _kind(name: str) -> Any:
    kind = fields_of(Lawn)[name].annotation
    if get_origin(kind) is Union or type(kind).__name__ == "UnionType":
        kind = next(arm for arm in get_args(kind) if arm is not type(None))
    while hasattr(kind, "__metadata__"):
        kind = get_args(kind)[0]
    return kind


def csv_fault(error: csv.Error) -> str:
    """What a CSV reader stumbled over, in words."""
    if "end of data" in str(error):
        return "a quote that is never closed"
    if "field larger" in str(error):
        return "a cell of more than 131072 characters"
    return "a cell whose quotes do not fit"
