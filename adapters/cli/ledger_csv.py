"""The ledger as CSV: columns, how a cell is written and read back. Text never runs as a formula; nothing is lost."""

import csv
import re
from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path

from adapters.cli.context import Ended
from scheduler.values import Entry

# Column -> field of a row, where the two differ.
FIELD_OF = {"date": "local_date"}
COLUMNS = (
    "id", "lawn", "product", "kind", "at", "date", "amount", "by", "note", "undone_at", "end", "area_m2", "water_l",
    "batch", "licence", "equipment", "calibrated_on", "reason", "crop", "temperature_c", "humidity_pct", "wind_m_s",
    "wind_from", "soil", "weather_by", "forecast_provider", "forecast_issued", "forecast_chance", "forecast_of",
    "buffer_m", "signs_posted", "reentry_told",
)  # fmt: skip

# What a spreadsheet takes for the beginning of a formula (common practice for CSV; the wide forms are those of East
# Asian keyboards), and texts that it would turn into another number or a date: 00417, 12E5, 3-4, 20 digits.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_REWRITTEN = re.compile(r"0[0-9]+|[0-9]{16,}|[0-9]+(\.[0-9]+)?[eE][0-9]+|[0-9]{1,4}[-/.:][0-9]{1,2}([-/.:][0-9]{1,4})?")


def write_csv(path: Path, rows: Iterable[Entry]) -> None:
    """Write the rows (UTF-8 with a byte order mark, as spreadsheets know it). Ended if the file cannot be written."""
    try:
        with path.open("w", encoding="utf-8-sig", newline="") as file:
            out = csv.writer(file)
            out.writerow(COLUMNS)
            for row in rows:
                out.writerow([written(getattr(row, FIELD_OF.get(name, name))) for name in COLUMNS])
    except OSError as error:
        raise Ended(f"--csv: {path} cannot be written: {error.strerror}") from None


def written(value: object) -> object:
    """A value as a cell: instants in UTC and full, yes and no in words, numbers as numbers, text guarded."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    return safe_cell(value) if isinstance(value, str) else value


def safe_cell(text: str) -> str:
    """Text that no spreadsheet runs or rewrites: where it might, an apostrophe goes before it. See `plain_cell`."""
    return f"'{text}" if _at_risk(text) or _is_guarded(text) else text


def plain_cell(cell: str) -> str:
    """The text of a cell; exactly undoes `safe_cell`. An apostrophe that guards nothing belongs to the text."""
    return cell[1:] if _is_guarded(cell) else cell


def _at_risk(text: str) -> bool:
    return text.startswith(_FORMULA) or _REWRITTEN.fullmatch(text) is not None


def _is_guarded(cell: str) -> bool:
    return cell.startswith("'") and (_at_risk(cell[1:]) or cell.startswith("''"))
