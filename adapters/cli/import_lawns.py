"""Lawns of a spreadsheet, judged as `ligule check` would, and put at the end of lawns.csv in one step."""

import csv
import io
import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from adapters.cli.context import Context, Ended
from config.check import check
from config.draft import Draft
from config.lawns import sheet_items
from config.lawns_csv import Row, delimiter_of, read_lawns
from config.load import read_draft
from config.models import Lawn
from config.parts import Item
from config.problems import EstateInvalid, Problem

FILE = "lawns.csv"
COLUMNS = tuple(Lawn.model_fields)
_THOUSANDS = re.compile(r"[0-9]{1,3}(\.[0-9]{3})+")


@dataclass(frozen=True)
class NewLawn:
    """A row of the file that can be added: the line it begins on, the lawn, and its cells as read."""

    row: int
    lawn: Lawn
    cells: Mapping[str, Any]


def read_new_lawns(context: Context, path: Path) -> tuple[list[NewLawn], list[NewLawn]]:
    """The lawns of a file that the estate has not, and those whose id it has already.

    EstateInvalid with every mistake, in the file or in the estate as it stands.
    """
    problems: list[Problem] = []
    draft = _draft(context, problems)
    mine: list[Problem] = []
    sheet = read_lawns(path, mine)
    rows: list[Row] = sheet.rows if sheet else []
    items = sheet_items(context.folder, sheet, path.name, mine) if sheet else []
    there = {item.raw.get("id") for item in draft.lawns}
    new = [(row, item) for row, item in zip(rows, items, strict=True) if item.raw.get("id") not in there]
    known = [(row, item) for row, item in zip(rows, items, strict=True) if item.raw.get("id") in there]
    draft = replace(draft, lawns=[*draft.lawns, *(item for _, item in new)])
    problems += [*mine, *check(draft, context.environ)]
    if problems:
        raise EstateInvalid(tuple(problems))
    return [_new(*pair) for pair in new], [_new(*pair) for pair in known]


def _draft(context: Context, problems: list[Problem]) -> Draft:
    """The estate as it stands; that it has no lawns yet is no mistake here."""
    found: list[Problem] = []
    draft = read_draft(context.folder, found)
    if draft is None:
        raise EstateInvalid(tuple(found))
    problems += [x for x in found if draft.lawns or x.file != FILE or x.row is not None or x.field]
    return draft


def _new(row: Row, item: Item[Lawn]) -> NewLawn:
    return NewLawn(row.number, item.part, row.cells)


def append_lawns(folder: Path, rows: Sequence[NewLawn]) -> None:
    """Put the rows at the end of lawns.csv, or into a new one; the file is exchanged in one step.

    What stands in it stays as it is, but for columns that the new rows need and it lacks. Ended if that cannot be done.
    """
    place = (folder / FILE).resolve()
    added = [row.cells for row in rows]
    try:
        old = place.read_bytes().decode("utf-8") if place.exists() else ""
        meant = [*(_read_back(place) if old else []), *added]
        _exchange(place, with_rows(old, added), meant)
    except OSError as error:
        raise Ended(f"{place.name} cannot be written: {error.strerror}; nothing was changed") from None


def _read_back(path: Path) -> list[Mapping[str, Any]]:
    sheet = read_lawns(path, [])
    return [row.cells for row in sheet.rows] if sheet else []


def with_rows(old: str, rows: Sequence[Mapping[str, Any]]) -> str:
    """The text of a lawns.csv with rows added, in its own delimiter and line ends."""
    content, delimiter, skipped = delimiter_of(old.removeprefix("\ufeff"))
    header = _header(content, delimiter)
    if not header:
        delimiter, header, old = ",", [name for name in COLUMNS if any(name in row for row in rows)], ""
        return _lines([header, *(_cells(row, header, delimiter) for row in rows)], delimiter, "\n")
    ends = "\r\n" if "\r\n" in old else "\r" if "\r" in old and "\n" not in old else "\n"
    lacking = [name for name in COLUMNS if name not in header and any(name in row for row in rows)]
    if lacking:
        head = old[: len(old) - len(content)]
        old = head + _widened(content, delimiter, lacking, ends)
    added = _lines([_cells(row, [*header, *lacking], delimiter) for row in rows], delimiter, ends)
    return old + ("" if old.endswith(("\n", "\r")) else ends) + added


def _header(content: str, delimiter: str) -> list[str]:
    rows = csv.reader(io.StringIO(content, newline=""), delimiter=delimiter)
    found = next((cells for cells in rows if any(cell.strip() for cell in cells)), [])
    return [cell.strip().lower() for cell in found]


def _widened(content: str, delimiter: str, lacking: Sequence[str], ends: str) -> str:
    """The rows with columns added on the right: their names in the header, empty cells in what follows."""
    rows = list(csv.reader(io.StringIO(content, newline=""), delimiter=delimiter))
    first = next(i for i, cells in enumerate(rows) if any(cell.strip() for cell in cells))
    width = len(rows[first])
    for i, cells in enumerate(rows):
        if i >= first and any(cell.strip() for cell in cells):
            rows[i] = [*cells[:width], *(lacking if i == first else [""] * len(lacking))]
    return _lines(rows, delimiter, ends)


def _lines(rows: Sequence[Sequence[str]], delimiter: str, ends: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator=ends).writerows(rows)
    return out.getvalue()


def _cells(row: Mapping[str, Any], header: Sequence[str], delimiter: str) -> list[str]:
    return [_cell(row.get(name), delimiter) for name in header]


def _cell(value: Any, delimiter: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = str(int(value)) if value == int(value) else repr(value)
        # Between semicolons 1.234 might be read as thousands; 1.2340 is not.
        return text + "0" if delimiter != "," and _THOUSANDS.fullmatch(text) else text
    return str(value)


def _exchange(place: Path, text: str, meant: Sequence[Mapping[str, Any]]) -> None:
    """Write beside the file and put it in its place, so that a reader sees the old file or the new one.

    Only if it reads as what was `meant`: spreadsheets write tables in more ways than one can think of.
    """
    handle, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
    beside = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        if _read_back(beside) != list(meant):
            raise Ended(f"{place.name} is written in a way that rows cannot be added to; nothing was changed")
        beside.chmod(place.stat().st_mode & 0o7777 if place.exists() else 0o644)
        beside.replace(place)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
