"""Databases of every earlier revision come up to date with their rows, and the ledger stays closed to change."""

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from alembic import command

from adapters.store import migrate, open_store
from scheduler.values import Entry

AT = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)


def first_database(folder: Path) -> Path:
    """A database as the first revision left it, with one row in its ledger."""
    place = folder / "ligule.db"
    engine = migrate.make_engine(f"sqlite:///{place}", foreign_keys=False)
    with engine.begin() as connection:
        command.upgrade(migrate.alembic_config(connection), "0001")
        connection.exec_driver_sql("INSERT INTO about VALUES ('id', 'f00d')")
        connection.exec_driver_sql(
            'INSERT INTO ledger (lawn, product, kind, at, local_date, amount, "by", note, recorded_at) VALUES '
            "('front', 'leaf-feed', 'done', '2026-05-04T08:30:00.000000Z', '2026-05-04', 420.0, 'Ines', 'damp', "
            "'2026-05-04T09:00:00.000000Z')"
        )
    engine.dispose()
    return place


def test_rows_of_the_first_revision_come_along(tmp_path: Path) -> None:
    place = first_database(tmp_path)
    assert migrate.upgrade(f"sqlite:///{place}") == ("0001", migrate.HEAD)
    with open_store(tmp_path) as store:
        plain = Entry("front", "leaf-feed", AT, date(2026, 5, 4), amount=420.0, by="Ines", note="damp", id=1)
        assert store.entries() == [plain]
    assert list(tmp_path.glob("ligule.db.before-*-from-0001"))


def test_the_ledger_stays_closed_to_change_after_the_upgrade(tmp_path: Path) -> None:
    place = first_database(tmp_path)
    migrate.upgrade(f"sqlite:///{place}")
    with closing(sqlite3.connect(place)) as connection:
        for change in ("SET batch = 'x'", "SET amount = 1", "SET undone_at = NULL"):
            with pytest.raises(sqlite3.IntegrityError, match="never changed"):
                connection.execute(f"UPDATE ledger {change}")
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            connection.execute("DELETE FROM ledger")
