"""Transactions, migrations and copies: what a database of our own must and must not do."""

import sqlite3
import threading
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable

from adapters.store import QueuedBrief, Store, StoreError, migrate, open_store
from adapters.store.maintenance import backup, restore
from adapters.store.tables import metadata
from scheduler.values import Entry, Message

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
DAY = date(2026, 5, 4)


def entry(amount: float = 1.0) -> Entry:
    return Entry(lawn="front", product="leaf-feed", at=NOW, local_date=DAY, amount=amount)


def queue(store: Store, person: str = "ines") -> None:
    until = NOW + timedelta(hours=5)
    store.queue_brief(QueuedBrief(person, DAY, ("a", "b"), NOW, until, Message("t", "x", "h")), NOW)


def test_read_then_write_in_eight_threads_loses_no_update(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        with store.engine.begin() as connection:
            connection.execute(text("INSERT INTO about VALUES ('n', '0')"))

        def add() -> None:
            for _ in range(25):
                with store.engine.begin() as connection:
                    n = int(connection.execute(text("SELECT value FROM about WHERE name = 'n'")).scalar_one())
                    connection.execute(text("UPDATE about SET value = :n WHERE name = 'n'"), {"n": str(n + 1)})

        threads = [threading.Thread(target=add) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        with store.engine.connect() as connection:
            assert connection.execute(text("SELECT value FROM about WHERE name = 'n'")).scalar_one() == "200"


def test_every_connection_is_durable_and_checks_references(tmp_path: Path) -> None:
    with open_store(tmp_path) as store, store.engine.connect() as connection:
        values = {p: connection.exec_driver_sql(f"PRAGMA {p}").scalar_one() for p in ("journal_mode", "synchronous")}
        assert values == {"journal_mode": "wal", "synchronous": 2}  # 2 = FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def test_migrations_end_at_the_tables_of_the_code(tmp_path: Path) -> None:
    with open_store(tmp_path) as store, store.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True, "target_metadata": metadata}
        )
        assert compare_metadata(context, metadata) == []
        script = ScriptDirectory.from_config(migrate.alembic_config(connection))
        assert script.get_heads() == [migrate.HEAD]


def test_the_tables_compile_for_postgresql() -> None:
    for table in metadata.sorted_tables:
        assert table.name in str(CreateTable(table).compile(dialect=postgresql.dialect()))


def test_opening_twice_changes_nothing_and_eight_openers_at_once_agree(tmp_path: Path) -> None:
    failures: list[Exception] = []

    def opened() -> None:
        try:
            open_store(tmp_path).close()
        except Exception as error:  # noqa: BLE001 - handed to the assertion below
            failures.append(error)

    threads = [threading.Thread(target=opened) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert migrate.upgrade(f"sqlite:///{tmp_path / 'ligule.db'}") == (migrate.HEAD, migrate.HEAD)


def test_a_database_of_a_newer_version_is_refused_untouched(tmp_path: Path) -> None:
    open_store(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / "ligule.db")) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreError, match="newer version"):
        open_store(tmp_path)
    with closing(sqlite3.connect(tmp_path / "ligule.db")) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == ("9999",)


def test_rebuilding_a_table_in_a_migration_keeps_the_rows_that_refer_to_it(tmp_path: Path) -> None:
    """Alembic's batch mode drops the old table; with foreign keys on, SQLite would take its children along."""
    with open_store(tmp_path) as store:
        queue(store)
    engine = migrate.make_engine(f"sqlite:///{tmp_path / 'ligule.db'}", foreign_keys=False)
    with engine.begin() as connection:
        from alembic.operations import Operations

        operations = Operations(MigrationContext.configure(connection, opts={"render_as_batch": True}))
        with operations.batch_alter_table("brief_log", recreate="always") as batch:
            batch.alter_column("note", server_default="none")
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall() == []
    engine.dispose()
    with open_store(tmp_path) as store:
        assert len(store.outbox_rows()) == 2


def test_a_migration_killed_half_way_leaves_the_database_as_it_was(tmp_path: Path) -> None:
    engine = migrate.make_engine(f"sqlite:///{tmp_path / 'ligule.db'}", foreign_keys=False)
    with pytest.raises(RuntimeError), engine.begin() as connection:
        command.upgrade(migrate.alembic_config(connection), "head")
        raise RuntimeError("killed")
    engine.dispose()
    with closing(sqlite3.connect(tmp_path / "ligule.db")) as connection:
        assert connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)
    open_store(tmp_path).close()


def test_an_older_database_is_copied_aside_before_it_is_changed(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add_entry(entry(), NOW)
    migrate.copy_aside(f"sqlite:///{tmp_path / 'ligule.db'}", "0000")
    (copy,) = tmp_path.glob("ligule.db.before-*")
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT count(*) FROM ledger").fetchone() == (1,)


@pytest.mark.parametrize("url", ["nonsense", "nosuchdb://x", "sqlite:////nowhere/at/all/x.db"])
def test_a_useless_database_url_is_a_clear_error(tmp_path: Path, url: str) -> None:
    with pytest.raises(StoreError):
        open_store(tmp_path, url)


def test_a_file_that_is_no_database_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "ligule.db").write_text("not a database, though long enough to look like one" * 40)
    with pytest.raises(StoreError):
        open_store(tmp_path)


def test_a_copy_taken_while_open_holds_the_last_commit(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add_entry(entry(7.0), NOW)
        backup(tmp_path, None, tmp_path / "copy.db")
    with closing(sqlite3.connect(tmp_path / "copy.db")) as connection:
        assert connection.execute("SELECT amount FROM ledger").fetchall() == [(7.0,)]
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with pytest.raises(StoreError, match="exists"):
        backup(tmp_path, None, tmp_path / "copy.db")


def test_a_database_put_back_sends_nothing_old_again_and_keeps_the_one_it_replaced(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add_entry(entry(1.0), NOW)
        queue(store)
        store.claim(NOW, "me", 1)
        backup(tmp_path, None, tmp_path / "copy.db")
        store.add_entry(entry(2.0), NOW)
    later = NOW + timedelta(hours=1)
    restore(tmp_path, None, tmp_path / "copy.db", later)
    with open_store(tmp_path) as store:
        assert [e.amount for e in store.entries()] == [1.0]
        assert {row.state for row in store.outbox_rows()} == {"expired"}
        assert store.restored_at() == later
    (kept,) = tmp_path.glob("ligule.db.before-restore-*")
    with closing(sqlite3.connect(kept)) as connection:
        assert connection.execute("SELECT count(*) FROM ledger").fetchone() == (2,)


def test_a_damaged_copy_is_not_put_back(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add_entry(entry(), NOW)
    (tmp_path / "bad.db").write_bytes(b"SQLite format 3\0" + b"x" * 5000)
    with pytest.raises(StoreError):
        restore(tmp_path, None, tmp_path / "bad.db", NOW)
    with open_store(tmp_path) as store:
        assert len(store.entries()) == 1
