"""`ligule db`: brought up to date, copied while in use, put back, and never over what is there."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from adapters.cli.main import main
from adapters.daemon.lock import DaemonLock
from adapters.store import open_store
from adapters.store.migrate import HEAD
from scheduler.values import Entry
from tests.adapters.store.test_older_databases import first_database

AT = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `ligule db` on a folder."""

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path), "db", *words], catch_exceptions=False)

    return invoke


def keep(folder: Path, amount: float) -> None:
    with open_store(folder) as store:
        store.add_entry(Entry("front", "leaf-feed", AT, date(2026, 5, 4), amount=amount), AT)


def amounts(folder: Path) -> list[float | None]:
    with open_store(folder) as store:
        return [row.amount for row in store.entries()]


def test_a_new_and_an_older_database_come_up_to_date(run: Run, tmp_path: Path) -> None:
    first_database(tmp_path)
    result = run("upgrade")
    assert result.exit_code == 0
    assert "0001" in result.output
    assert HEAD in result.output
    assert amounts(tmp_path) == [420.0]
    assert run("upgrade").exit_code == 0


def test_a_copy_can_be_put_back_and_what_it_replaced_is_kept(run: Run, tmp_path: Path) -> None:
    keep(tmp_path, 1.0)
    copy = tmp_path / "copies" / "monday.db"
    copy.parent.mkdir()
    assert run("backup", str(copy)).exit_code == 0
    keep(tmp_path, 2.0)
    assert run("restore", str(copy)).exit_code == 0
    assert amounts(tmp_path) == [1.0]
    assert list(tmp_path.glob("ligule.db.before-restore-*"))


def test_a_copy_never_goes_over_a_file(run: Run, tmp_path: Path) -> None:
    keep(tmp_path, 1.0)
    there = tmp_path / "there.db"
    there.write_text("mine")
    assert run("backup", str(there)).exit_code == 3
    assert there.read_text() == "mine"


@pytest.mark.parametrize(
    "words", [("backup", "{}/copy.db"), ("backup", "{}/no/such/copy.db"), ("restore", "{}/none.db")]
)
def test_what_cannot_be_done_is_a_clear_error(run: Run, tmp_path: Path, words: tuple[str, str]) -> None:
    if "no/such" in words[1]:
        keep(tmp_path, 1.0)
    result = run(words[0], words[1].format(tmp_path))
    assert result.exit_code == 3
    assert result.output.startswith("ligule: ")
    assert not (tmp_path / "copy.db").exists()


def test_nothing_is_put_back_under_a_running_service(run: Run, tmp_path: Path) -> None:
    keep(tmp_path, 1.0)
    assert run("backup", str(tmp_path / "copy.db")).exit_code == 0
    keep(tmp_path, 2.0)
    with DaemonLock(tmp_path / "ligule.db"):
        assert run("restore", str(tmp_path / "copy.db")).exit_code == 3
    assert amounts(tmp_path) == [1.0, 2.0]


def test_a_damaged_copy_is_refused(run: Run, tmp_path: Path) -> None:
    keep(tmp_path, 1.0)
    bad = tmp_path / "bad.db"
    bad.write_bytes(b"SQLite format 3\0" + b"x" * 5000)
    assert run("restore", str(bad)).exit_code == 3
    assert amounts(tmp_path) == [1.0]


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["--estate", str(tmp_path / "none"), "db", "upgrade"], catch_exceptions=False)
    assert result.exit_code == 2
