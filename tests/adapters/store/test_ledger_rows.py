from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from adapters.store import Store, open_store
from scheduler.values import Entry

AT = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path):
    with open_store(tmp_path) as opened:
        yield opened


def entry(lawn: str = "front", at: datetime = AT, **more: object) -> Entry:
    return Entry(lawn=lawn, product="leaf-feed", at=at, local_date=date(2026, 5, 4), **more)  # type: ignore[arg-type]


def test_an_entry_comes_back_as_it_was_recorded(store: Store) -> None:
    number = store.add_entry(entry(amount=412.5, by="Ines", note="east half damp"), AT)
    assert store.entries() == [entry(amount=412.5, by="Ines", note="east half damp", id=number)]


def test_times_given_in_another_offset_sort_by_instant(store: Store) -> None:
    east = datetime.fromisoformat("2026-05-04T09:00:00+02:00")  # 07:00Z, though its wall time is the later one
    store.add_entry(entry(at=AT), AT)
    store.add_entry(entry(at=east), AT)
    assert [e.at for e in store.entries()] == [east, AT]
    assert all(e.at.utcoffset() == timedelta(0) for e in store.entries())


def test_a_naive_time_is_refused(store: Store) -> None:
    with pytest.raises(Exception, match="naive"):
        store.add_entry(entry(at=AT.replace(tzinfo=None)), AT)
    assert store.entries() == []


def test_undo_takes_back_the_entry_recorded_last_and_keeps_its_row(store: Store) -> None:
    store.add_entry(entry(), AT)
    store.add_entry(entry(at=AT - timedelta(days=9)), AT)
    undone = store.undo_last("front", "leaf-feed", AT + timedelta(hours=1))
    assert undone is not None
    assert undone.at == AT - timedelta(days=9)
    assert [e.at for e in store.entries()] == [AT]
    kept = store.entries(with_undone=True)
    assert [e.undone_at for e in kept] == [AT + timedelta(hours=1), None]


def test_undo_goes_back_one_by_one_and_then_finds_nothing(store: Store) -> None:
    store.add_entry(entry(), AT)
    store.add_entry(entry(lawn="back"), AT)
    assert store.undo_last("front", "leaf-feed", AT) is not None
    assert store.undo_last("front", "leaf-feed", AT) is None
    assert [e.lawn for e in store.entries()] == ["back"]
    assert [e.lawn for e in store.entries("front")] == []


def test_the_database_itself_refuses_to_change_or_remove_a_row(store: Store) -> None:
    store.add_entry(entry(), AT)
    for statement in ("UPDATE ledger SET amount = 1", "DELETE FROM ledger", "UPDATE ledger SET undone_at = NULL"):
        with pytest.raises(Exception, match="never changed"), store.engine.begin() as connection:
            connection.execute(text(statement))
    assert store.entries()[0].amount is None
