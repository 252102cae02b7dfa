"""Rain of past hours by cell: the best figure there is for each hour."""

from collections.abc import Iterable, Mapping
from datetime import datetime

import numpy as np
from sqlalchemy import Connection, Row, delete, func, select

from adapters.store.tables import observed_rain
from adapters.store.types import Instant
from scheduler.weather.forecast import HOUR
from scheduler.weather.past import PastHour, PastRain

# One statement for SQLite and PostgreSQL, given to the driver as it is: an hour of every cell passes here every hour.
_KEEP = """
INSERT INTO observed_rain (cell, hour, rain_mm, grade, source, kept_at) VALUES (?, ?, ?, ?, ?, ?)
ON CONFLICT (cell, hour) DO UPDATE SET
  rain_mm = excluded.rain_mm, grade = excluded.grade, source = excluded.source, kept_at = excluded.kept_at
WHERE excluded.grade <= observed_rain.grade
"""


def save(connection: Connection, given: Mapping[str, PastRain], now: datetime) -> None:
    """Keep what is told of each cell's hours. A worse figure never takes the place of a better one."""
    stamps: dict[datetime, str | None] = {}

    def stamp(when: datetime) -> str | None:
        if when not in stamps:
            stamps[when] = _text(when)
        return stamps[when]

    rows = [
        (cell, stamp(told.start + t * HOUR), mm, grade, told.source, stamp(now))
        for cell, told in given.items()
        for t, mm, grade in zip(*_graded(told), strict=True)
    ]
    if rows:
        marks = "%s" if connection.dialect.paramstyle in ("format", "pyformat") else "?"
        connection.exec_driver_sql(_KEEP.replace("?", marks), rows)


def _graded(told: PastRain) -> tuple[list[int], list[float], list[int]]:
    """Index, rain and grade of the hours that have one, as plain numbers."""
    at = np.flatnonzero(told.grade)
    return at.tolist(), told.rain_mm[at].tolist(), told.grade[at].tolist()


def of_cell(connection: Connection, cell: str, since: datetime, until: datetime | None) -> list[PastHour]:
    """The hours of a cell from `since` on that are over at `until`; None: at the newest word about the cell."""
    if until is None:
        newest = select(func.max(observed_rain.c.kept_at)).where(observed_rain.c.cell == cell)
        until = connection.execute(newest).scalar_one()
    if until is None:
        return []
    return of_cells(connection, [cell], since, until).get(cell, [])


def of_cells(
    connection: Connection, cells: Iterable[str], since: datetime, until: datetime
) -> dict[str, list[PastHour]]:
    """Cell -> its hours from `since` on that are over at `until`, oldest first."""
    query = (
        select(observed_rain)
        .where(observed_rain.c.cell.in_(list(cells)))
        .where(observed_rain.c.hour >= since, observed_rain.c.hour <= until - HOUR)
        .order_by(observed_rain.c.cell, observed_rain.c.hour)
    )
    found: dict[str, list[PastHour]] = {}
    for row in connection.execute(query):
        found.setdefault(row.cell, []).append(_hour(row))
    return found


def forget(connection: Connection, before: datetime) -> int:
    """Drop the hours before an instant; how many."""
    return connection.execute(delete(observed_rain).where(observed_rain.c.hour < before)).rowcount


def _hour(row: Row) -> PastHour:  # type: ignore[type-arg]
    return PastHour(row.hour, row.rain_mm, row.source, row.grade)


def _text(when: datetime) -> str | None:
    return Instant().process_bind_param(when, None)
