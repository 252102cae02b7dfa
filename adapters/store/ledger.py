"""The ledger table. Rows are added and never changed; taking one back only marks it."""

from collections.abc import Iterable
from dataclasses import fields
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, insert, select, update

from adapters.store.tables import ledger
from scheduler.values import Entry

NAMES = tuple(field.name for field in fields(Entry))


def add(connection: Connection, entry: Entry, recorded_at: datetime) -> int:
    """Add one application or skip; its row id. An id it has already is left aside."""
    row = {name: getattr(entry, name) for name in NAMES if name != "id"} | {"recorded_at": recorded_at}
    return int(connection.execute(insert(ledger).values(row).returning(ledger.c.id)).scalar_one())


def add_all(connection: Connection, rows: Iterable[Entry], recorded_at: datetime) -> list[int]:
    """Add rows in the order given; their ids."""
    return [add(connection, entry, recorded_at) for entry in rows]


def undo_last(connection: Connection, lawn: str, product: str, now: datetime) -> Entry | None:
    """Mark the entry recorded last, and not yet taken back, as undone; it, or None if there is none."""
    standing = select(ledger).where(ledger.c.lawn == lawn, ledger.c.product == product, ledger.c.undone_at.is_(None))
    row = connection.execute(standing.order_by(ledger.c.id.desc()).limit(1)).one_or_none()
    if row is None:
        return None
    connection.execute(update(ledger).where(ledger.c.id == row.id).values(undone_at=now))
    return _entry(row, undone_at=now)


def entries(connection: Connection, *, lawn: str | None, with_undone: bool) -> list[Entry]:
    """Entries in order of the work, oldest first."""
    query = select(ledger).order_by(ledger.c.at, ledger.c.id)
    if lawn is not None:
        query = query.where(ledger.c.lawn == lawn)
    if not with_undone:
        query = query.where(ledger.c.undone_at.is_(None))
    return [_entry(row, undone_at=row.undone_at) for row in connection.execute(query)]


def _entry(row: Row[Any], *, undone_at: datetime | None) -> Entry:
    values = row._mapping
    return Entry(**{name: values[name] for name in NAMES} | {"undone_at": undone_at})
