"""`ligule db`: the database of an estate brought up to date, copied, and put back."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from adapters.cli.context import OUTSIDE_FAILED, Context, Ended, pass_context, plain_errors
from adapters.daemon.lock import AlreadyRunning, DaemonLock
from adapters.store import maintenance, migrate
from adapters.store.engine import StoreError, database_url, sqlite_file

FILE = click.argument("path", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False))


@click.group()
def db() -> None:
    """The database: bring it up to date, copy it, put a copy back."""


@db.command()
@pass_context
@plain_errors
def upgrade(context: Context) -> None:
    """Bring the database to the tables of this version; an older SQLite file is copied beside itself first."""
    before, after = migrate.upgrade(database_url(_folder(context), _given(context)))
    if before == after:
        click.echo(f"The database is up to date (revision {after}).")
    else:
        click.echo(f"The database went from {f'revision {before}' if before else 'nothing'} to revision {after}.")


@db.command()
@FILE
@pass_context
@plain_errors
def backup(context: Context, path: Path) -> None:
    """Copy the SQLite database to FILE, also while the service runs. Never over a file that is there."""
    with _plain_os_errors("backup"):
        maintenance.backup(_folder(context), _given(context), path)
    click.echo(f"Copied to {path}.")


@db.command()
@FILE
@pass_context
@plain_errors
def restore(context: Context, path: Path) -> None:
    """Put a copy back. The database in use is kept beside it; messages it still had to send are not sent again."""
    folder, given = _folder(context), _given(context)
    place = sqlite_file(folder, given)
    replaced = place is not None and place.exists()
    with _plain_os_errors("restore"):
        if place is None:
            maintenance.restore(folder, given, path, context.now())  # says which means PostgreSQL has
        else:
            with DaemonLock(place):
                maintenance.restore(folder, given, path, context.now())
    kept = f" What was in use before is kept as {place}.before-restore-..." if replaced else ""
    click.echo(f"Put back from {path}.{kept}")


def _folder(context: Context) -> Path:
    if not context.folder.is_dir():
        raise Ended(f"db: found no folder {str(context.folder)!r}, allowed: an estate folder (--estate)")
    return context.folder


def _given(context: Context) -> str | None:
    return context.environ.get("LIGULE_DATABASE")


@contextmanager
def _plain_os_errors(what: str) -> Iterator[None]:
    """What the disk and a running service do, as messages."""
    try:
        yield
    except AlreadyRunning as error:
        raise Ended(f"db {what}: {error}; stop it first", OUTSIDE_FAILED) from None
    except OSError as error:
        raise StoreError(f"db {what}: {error.filename or ''} {error.strerror or error}") from None
    except sqlite3.Error as error:
        raise StoreError(f"db {what}: {error}") from None
