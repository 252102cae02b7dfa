"""The ledger table. Rows are added and never changed; taking one back only marks it."""

from collections.abc import Iterable
from dataclasses import fields, replace
from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from adapters.store.tables import ledger
from scheduler.values import Entry

NAMES = tuple(field.name for field in fields(Entry))
_COLUMNS = [ledger.c[name] for name in NAMES]  # in the order of Entry's fields


def add(connection: Connection, entry: Entry, recorded_at: datetime) -> int:
    """Add one application or skip; its row id. An id it has already is left aside."""
    row = {name: getattr(entry, name) for name in NAMES if name != "id"} | {"recorded_at": recorded_at}
    return int(connection.execute(insert(ledger).values(row).returning(ledger.c.id)).scalar_one())


def add_all(connection: Connection, rows: Iterable[Entry], recorded_at: datetime) -> list[int]:
    """Add rows in the order given; their ids."""
    return [add(connection, entry, recorded_at) for entry in rows]


def undo_last(connection: Connection, lawn: str, product: str, now: datetime) -> Entry | None:
    """Mark the entry recorded last, and not yet taken back, as undone; it, or None if there is none."""
    standing = select(*_COLUMNS).where(ledger.c.lawn == lawn, ledger.c.product == product, ledger.c.undone_at.is_(None))
    row = connection.execute(standing.order_by(ledger.c.id.desc()).limit(1)).one_or_none()
    if row is None:
        return None
    connection.execute(update(ledger).where(ledger.c.id == row.id).values(undone_at=now))
    return replace(Entry(*row), undone_at=now)


def entries(connection: Connection, *, lawn: str | None, with_undone: bool) -> list[Entry]:
    """Entries in order of the work, oldest first."""
    query = select(*_COLUMNS).order_by(ledger.c.at, ledger.c.id)
    if lawn is not None:
        query = query.where(ledger.c.lawn == lawn)
    if not with_undone:
        query = query.where(ledger.c.undone_at.is_(None))
    return [Entry(*row) for row in connection.execute(query)]
