"""Brings a database to the tables of this code. Newer databases are refused, older ones copied first."""

import secrets
import sqlite3
from contextlib import closing
from importlib.resources import files
from pathlib import Path

from sqlalchemy import Connection, insert, inspect, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import SQLAlchemyError

from adapters.store.engine import StoreError, make_engine
from adapters.store.tables import about

HEAD = "0004"  # the newest revision in migrations/versions


def database_revision(connection: Connection) -> str | None:
    """The revision a database stands at; None for one without tables."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def upgrade(url: str) -> tuple[str | None, str]:
    """Bring the database at `url` to HEAD in one transaction; the revisions before and after.

    An older SQLite file is copied beside itself first. Raises StoreError for a database that is newer than this code,
    unreachable, or whose rows do not fit together afterwards (then nothing is changed).
    """
    engine = make_engine(url, foreign_keys=False)
    try:
        with engine.connect().execution_options(readonly=True) as connection:
            before = database_revision(connection)
        if before == HEAD:
            return before, HEAD
        if before is not None:
            _refuse_newer(before)
            copy_aside(url, before)
        with engine.begin() as connection:
            if database_revision(connection) != HEAD:  # another process may have been faster
                _run(connection)
                _name(connection)
                _check_references(connection)
        return before, HEAD
    except SQLAlchemyError as error:
        raise StoreError(
            f"the database cannot be used: {getattr(error, 'orig', None) or type(error).__name__}"
        ) from None
    finally:
        engine.dispose()


def _run(connection: Connection) -> None:
    # Alembic is slow to import and needed only when something has to change.
    from alembic import command

    command.upgrade(alembic_config(connection), "head")


def alembic_config(connection: Connection):  # type: ignore[no-untyped-def]
    """Alembic's configuration for this package's migrations on an open connection."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(files("adapters.store") / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def _name(connection: Connection) -> None:
    """Give a new database a name of its own: keys of messages are derived from it."""
    if not connection.execute(select(about).where(about.c.name == "id")).one_or_none():
        connection.execute(insert(about).values(name="id", value=secrets.token_hex(16)))


def _refuse_newer(revision: str) -> None:
    known = {path.name[1:5] for path in (files("adapters.store") / "migrations" / "versions").iterdir()}
    if revision not in known:
        raise StoreError(f"the database was made by a newer version (revision {revision}, this code knows {HEAD})")


def _check_references(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise StoreError(f"{len(broken)} rows lost what they refer to; the upgrade was undone")


def copy_aside(url: str, revision: str) -> None:
    """Copy an SQLite file beside itself before it is changed; does nothing for other databases."""
    name = make_url(url).database if make_url(url).get_backend_name() == "sqlite" else None
    if name and name != ":memory:":
        copy_database(Path(name), Path(f"{name}.before-{HEAD}-from-{revision}"))


def copy_database(source: Path, target: Path) -> None:
    """Copy an SQLite database, open or not, by SQLite's own means: a plain copy misses the write-ahead log."""
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
