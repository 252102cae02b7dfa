"""Cells of a history as values; a cell that cannot be used raises Wrong with what was found and what is allowed."""

import math
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from adapters.cli.measures import GRAMS, ML
from adapters.cli.records import LONGEST_NAME
from config.models import Product
from config.wording import found_text

NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
START = "ISO 8601, such as 2026-05-04T09:30+01:00; without offset it is the time on the lawn, a date alone its noon"

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_YEARS = (1970, 2200)
_INSTANT = "ISO 8601 with offset, such as 2026-05-04T09:30+01:00"


class Wrong(Exception):
    """A cell that cannot be used: the column, what was found, what is allowed."""

    def __init__(self, column: str, found: str, allowed: str) -> None:
        super().__init__(column, found, allowed)
        self.column, self.found, self.allowed = column, found, allowed


def units_of(product: Product) -> str:
    """How an amount of the product may be written."""
    units = ML if product.rate_ml_m2 is not None else GRAMS
    return f"a number of {next(iter(units))}, or one with {', '.join(units)}"


def number_in(name: str, cell: str, bounds: tuple[float, float], *, whole: bool = False) -> float:
    """A number within bounds, both inclusive."""
    plain = cell.replace("\u2212", "-")  # the typographic minus that spreadsheets write
    number = float(plain) if NUMBER.fullmatch(plain) else math.nan
    if not bounds[0] <= number <= bounds[1] or (whole and number != int(number)):
        what = "a whole number" if whole else "a number"
        raise Wrong(name, found_text(cell), f"{what} from {bounds[0]:g} to {bounds[1]:g}")
    return number


def start_in(cell: str) -> datetime:
    """The start as written: with its offset, else naive."""
    if _DAY.fullmatch(cell):
        return datetime.combine(date_in("at", cell), time(12))
    return _when("at", cell, START)


def instant_in(name: str, cell: str) -> datetime:
    """An instant, UTC."""
    when = _when(name, cell, _INSTANT)
    if when.tzinfo is None:
        raise Wrong(name, f"{found_text(cell)}, which has no offset", _INSTANT)
    return when.astimezone(UTC)


def _when(name: str, cell: str, allowed: str) -> datetime:
    try:
        when = datetime.fromisoformat(cell)
    except ValueError:
        raise Wrong(name, found_text(cell), allowed) from None
    if not _YEARS[0] <= when.year <= _YEARS[1]:
        raise Wrong(name, found_text(cell), f"a year from {_YEARS[0]} to {_YEARS[1]}")
    return when


def date_in(name: str, cell: str) -> date:
    """A date."""
    try:
        day = date.fromisoformat(cell) if _DAY.fullmatch(cell) else None
    except ValueError:
        day = None
    if day is None or not _YEARS[0] <= day.year <= _YEARS[1]:
        raise Wrong(name, found_text(cell), "a date such as 2026-05-04")
    return day


def on_the_wall(at: datetime, zone: ZoneInfo) -> datetime:
    """A wall time on the lawn; of an hour that comes twice in autumn the first."""
    there = at.replace(tzinfo=zone)
    if there.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != at:
        raise Wrong("at", f"{at}, which the clocks leapt over", START)
    return there


def one_of(name: str, cell: str, words: Sequence[str]) -> str:
    """One of some words, in lower case."""
    if cell.lower() not in words:
        raise Wrong(name, found_text(cell), f"one of {', '.join(words)}")
    return cell.lower()


def name_in(text: str) -> str:
    """The name of a person, as long as the ledger keeps one."""
    if len(text) > LONGEST_NAME:
        raise Wrong("by", f"{len(text)} characters", f"at most {LONGEST_NAME} characters")
    return text
