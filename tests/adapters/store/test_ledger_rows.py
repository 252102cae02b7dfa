from dataclasses import fields, replace
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


WHOLE = entry(
    kind="done", amount=412.5, by="Ines", note="east half damp", end=AT + timedelta(hours=1), area_m2=60.0,
    water_l=3.6, batch="00417", licence="C-2291", equipment="knapsack 2", calibrated_on=date(2026, 3, 1),
    reason="colour", crop="turf", temperature_c=-2.5, humidity_pct=71.0, wind_m_s=2.25, wind_from="SW", soil="moist",
    weather_by="measured", forecast_provider="met-norway", forecast_issued=AT - timedelta(hours=1),
    forecast_chance=0.04, forecast_of="0.5 mm within 6 h", buffer_m=3.0, signs_posted=True, reentry_told=False,
)  # fmt: skip


def test_every_field_of_a_row_comes_back(store: Store) -> None:
    names = [field.name for field in fields(Entry) if field.name not in ("id", "undone_at")]
    assert all(getattr(WHOLE, name) not in (None, "") for name in names)
    number = store.add_entry(WHOLE, AT)
    assert store.entries() == [replace(WHOLE, id=number)]


def test_the_database_refuses_to_change_any_field_that_was_recorded(store: Store) -> None:
    store.add_entry(WHOLE, AT)
    with store.engine.connect() as connection:
        columns = [row[1] for row in connection.exec_driver_sql("PRAGMA table_info(ledger)")]
    assert {field.name for field in fields(Entry)} < set(columns)
    for name in set(columns) - {"undone_at"}:
        changed = f"UPDATE ledger SET \"{name}\" = 'other', undone_at = '2026-05-05T00:00:00.000000Z'"  # noqa: S608
        with pytest.raises(Exception, match=r"never changed|datatype mismatch"), store.engine.begin() as connection:
            connection.exec_driver_sql(changed)
    assert store.undo_last("front", "leaf-feed", AT) is not None


def test_several_rows_are_recorded_all_or_none(store: Store) -> None:
    with pytest.raises(Exception, match="naive"):
        store.add_entries([entry(), entry(at=AT.replace(tzinfo=None))], AT)
    assert store.entries() == []
    assert store.add_entries([entry(), entry(lawn="back")], AT) == [1, 2]
    assert [row.id for row in store.entries()] == [1, 2]
