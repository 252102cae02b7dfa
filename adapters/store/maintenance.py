"""Copies of an SQLite store, and putting one back. PostgreSQL has its own means (pg_dump, pg_restore)."""

import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, delete, insert, select, update
from sqlalchemy.exc import SQLAlchemyError

from adapters.store.engine import StoreError, make_engine, sqlite_file
from adapters.store.migrate import copy_database, upgrade
from adapters.store.tables import about, outbox
from adapters.store.types import Instant

RESTORED = "restored_at"


def backup(folder: Path, database: str | None, target: Path) -> None:
    """Copy the estate's SQLite database to `target` while it may be in use. StoreError if it cannot be done."""
    source = _file(folder, database)
    if not source.exists():
        raise StoreError("there is no database yet")
    if target.exists():
        raise StoreError(f"{target} exists; nothing is overwritten")
    copy_database(source, target)
    _check_whole(target)


def restore(folder: Path, database: str | None, source: Path, now: datetime) -> None:
    """Put a copy back in place of the estate's database. The caller holds the daemon's lock.

    What the copy still had to send may have gone out since it was made: those messages expire, and so does every brief
    that was due before `now`. The old database is kept beside it. StoreError if the copy is not whole or too new.
    """
    place = _file(folder, database)
    _check_whole(source)
    fresh = place.with_name(place.name + ".restoring")
    fresh.unlink(missing_ok=True)
    copy_database(source, fresh)
    upgrade(f"sqlite:///{fresh.absolute()}")
    _expire_open_messages(fresh, now)
    if place.exists():
        kept = place.with_name(f"{place.name}.before-restore-{now:%Y%m%dT%H%M%SZ}")
        copy_database(place, kept)
    # Over the open file by SQLite's own means, so that a reader sees the old or the new database, never a mixture.
    copy_database(fresh, place)
    fresh.unlink()
    for side in ("-wal", "-shm"):
        fresh.with_name(fresh.name + side).unlink(missing_ok=True)


def restored_at(connection: Connection) -> datetime | None:
    """When the database was put back from a copy, if ever."""
    text = connection.execute(select(about.c.value).where(about.c.name == RESTORED)).scalar_one_or_none()
    return Instant().process_result_value(text, None)


def _expire_open_messages(place: Path, now: datetime) -> None:
    engine = make_engine(f"sqlite:///{place.absolute()}")
    try:
        with engine.begin() as connection:
            connection.execute(
                update(outbox)
                .where(outbox.c.state.in_(("due", "sending")))
                .values(state="expired", owner=None, lease_until=None, last_error="put back from a copy")
            )
            connection.execute(delete(about).where(about.c.name == RESTORED))
            stamp = Instant().process_bind_param(now, None)
            connection.execute(insert(about).values(name=RESTORED, value=stamp))
    except SQLAlchemyError as error:
        raise StoreError(f"the copy cannot be used: {type(error).__name__}") from None
    finally:
        engine.dispose()


def _file(folder: Path, database: str | None) -> Path:
    place = sqlite_file(folder, database)
    if place is None:
        raise StoreError("this is for SQLite databases; use pg_dump and pg_restore for PostgreSQL")
    return place


def _check_whole(place: Path) -> None:
    if not place.is_file():
        raise StoreError(f"{place} is not there")
    try:
        with closing(sqlite3.connect(f"file:{place.absolute()}?immutable=1", uri=True)) as connection:
            answer = connection.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        raise StoreError(f"{place} is not a whole SQLite database: {error}") from None
    if answer != "ok":
        raise StoreError(f"{place} is damaged: {answer}")
