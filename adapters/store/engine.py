"""Engines. SQLite gets its own transaction mode: the driver's default loses updates without a word."""

import logging
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

log = logging.getLogger("ligule.store")

PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "busy_timeout=5000", "trusted_schema=OFF")
WAL_RESET_FIXED = ((3, 51, 3), (3, 53, 0))  # https://sqlite.org/wal.html#walresetbug


class StoreError(Exception):
    """The database cannot be used: unreachable, locked by another daemon, or made by a newer version."""


def database_url(folder: Path, given: str | None) -> str:
    """The SQLAlchemy URL: `given` (LIGULE_DATABASE), else the SQLite file of the estate folder."""
    return given or f"sqlite:///{(folder / 'ligule.db').absolute()}"


def sqlite_file(folder: Path, given: str | None) -> Path | None:
    """The file of an SQLite database; None for another kind or one in memory. StoreError if the URL is none."""
    try:
        url = make_url(database_url(folder, given))
    except ArgumentError:
        raise StoreError("LIGULE_DATABASE is not an SQLAlchemy URL") from None
    named = url.get_backend_name() == "sqlite" and url.database not in (None, "", ":memory:")
    return Path(str(url.database)) if named else None


def make_engine(url: str, *, foreign_keys: bool = True) -> Engine:
    """An engine for the URL; StoreError if it is none. `foreign_keys` is off in migrations: they rebuild tables."""
    try:
        engine = create_engine(make_url(url), hide_parameters=True)
    except (ArgumentError, NoSuchModuleError, ImportError) as error:
        raise StoreError(f"LIGULE_DATABASE is not usable: {type(error).__name__}") from None
    if engine.dialect.name == "sqlite":
        _own_transactions(engine, foreign_keys)
    return engine


def _own_transactions(engine: Engine, foreign_keys: bool) -> None:
    """Write-ahead log, full durability, foreign keys, and BEGIN IMMEDIATE for every writing unit.

    A deferred BEGIN that reads first and writes later fails at once with SQLITE_BUSY_SNAPSHOT when another writer came
    between, whatever the busy timeout; the driver's own default does not even fail.
    """
    switches = (*PRAGMAS, f"foreign_keys={'ON' if foreign_keys else 'OFF'}")

    @event.listens_for(engine, "connect")
    def connected(dbapi: Any, _record: Any) -> None:
        dbapi.isolation_level = None
        for switch in switches:
            dbapi.execute(f"PRAGMA {switch}")

    @event.listens_for(engine, "begin")
    def begun(connection: Any) -> None:
        reading = connection.get_execution_options().get("readonly")
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")


def warn_of_old_sqlite() -> None:
    """Log once at start-up when the SQLite library carries the WAL-reset bug. One daemon per file keeps clear of it."""
    version = sqlite3.sqlite_version_info
    fixed_branch, fixed = WAL_RESET_FIXED
    if not (version >= fixed or fixed_branch <= version < (3, 52, 0)):
        log.info(
            "SQLite %s is older than the fix of the WAL-reset bug; see sqlite.org/wal.html", sqlite3.sqlite_version
        )
