"""Cells that a spreadsheet neither runs nor rewrites, and the way back: every ledger survives its own CSV."""

import csv
from dataclasses import fields, replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from adapters.cli.import_history import read_history
from adapters.cli.ledger_csv import COLUMNS, FIELD_OF, plain_cell, safe_cell, write_csv
from config.files import read_text
from config.load import load_estate
from config.models import Estate
from config.problems import Problem
from scheduler.values import Entry
from tests.builders import write_estate

# The usual advice on formula injection in CSV, and line feed and the wide forms besides.
DANGEROUS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"

texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
hostile = st.builds(
    "".join,
    st.lists(
        st.sampled_from([*DANGEROUS, "'", '"', ",", ";", "\r\n", "\n", "1", "00417", "12E5", "3-4", " ", "\u2028",
                         "\ufeff", "é", "e\u0301", "\u202e", "=HYPERLINK(", "\x1b[2J"]),
        max_size=6,
    ),
)  # fmt: skip
words = texts | hostile
instants = st.datetimes(
    datetime.fromisoformat("1970-01-02"), datetime.fromisoformat("2199-12-30"), timezones=st.just(UTC)
)
amounts = st.floats(0, 1e9, allow_subnormal=False)
nothing = st.none()


def entries(lawns: st.SearchStrategy[str], products: st.SearchStrategy[str]) -> st.SearchStrategy[Entry]:
    """Rows such as a ledger may hold."""
    return st.builds(
        Entry, lawn=lawns, product=products, at=instants, local_date=st.dates(date(1970, 1, 1), date(2199, 12, 31)),
        kind=st.sampled_from(["done", "skipped"]), amount=nothing | amounts, by=words.map(lambda text: text[:80]),
        note=words, undone_at=nothing | instants, end=nothing, area_m2=nothing | st.floats(1e-6, 1e7),
        water_l=nothing | amounts, batch=words, licence=words, equipment=words,
        calibrated_on=nothing | st.dates(date(1970, 1, 1), date(2199, 12, 31)), reason=words, crop=words,
        temperature_c=nothing | st.floats(-90, 60), humidity_pct=nothing | st.floats(0, 105),
        wind_m_s=nothing | st.floats(0, 75), wind_from=words, soil=words, weather_by=words, forecast_provider=words,
        forecast_issued=nothing | instants, forecast_chance=nothing | st.floats(0, 1), forecast_of=words,
        buffer_m=nothing | amounts, signs_posted=st.sampled_from([None, True, False]),
        reentry_told=st.sampled_from([None, True, False]),
    )  # fmt: skip


@given(words)
@example("'=1")
@example("''")
@example("'00417")
@example("'t Hof")
@example("")
def test_a_guarded_cell_comes_back_as_it_was(text: str) -> None:
    cell = safe_cell(text)
    assert plain_cell(cell) == text
    assert not cell.startswith(tuple(DANGEROUS))


@pytest.mark.parametrize("text", ["Ines", "'t Hof", "417", "12.5 l", "a=b", "C-2291", "2 x 3-4", "'", "12 May 2026"])
def test_plain_text_stays_as_it_is(text: str) -> None:
    assert safe_cell(text) == plain_cell(text) == text


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "00417", "12E5", "3-4", "1/2", "9" * 16]
)
def test_text_that_would_be_run_or_rewritten_gets_one_apostrophe(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


def test_every_field_of_a_row_has_its_column() -> None:
    assert {FIELD_OF.get(name, name) for name in COLUMNS} == {field.name for field in fields(Entry)}


def test_numbers_stay_numbers(tmp_path: Path) -> None:
    row = Entry("front", "leaf-feed", datetime(2026, 5, 4, tzinfo=UTC), date(2026, 5, 4), amount=420.5,
                temperature_c=-2.5, signs_posted=False, id=1)  # fmt: skip
    write_csv(tmp_path / "out.csv", [row])
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        (told,) = csv.DictReader(file)
    assert (told["amount"], told["temperature_c"], told["signs_posted"]) == ("420.5", "-2.5", "false")


@pytest.fixture(scope="module")
def estate(tmp_path_factory: pytest.TempPathFactory) -> Estate:
    return load_estate(write_estate(tmp_path_factory.mktemp("estate")), {})


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(
        entries(
            st.sampled_from(["front", "gone", "007", "3-4"]),
            st.sampled_from(["leaf-feed", "spring-grain", "old-feed"]),
        ),
        max_size=5,
    )
)
def test_a_ledger_survives_its_csv(rows: list[Entry], estate: Estate, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Also with rows of lawns and products that left the estate, whatever their texts hold."""
    rows = [replace(row, id=number) for number, row in enumerate(rows, 1)]
    path = tmp_path_factory.mktemp("csv") / "ledger.csv"
    write_csv(path, rows)
    problems: list[Problem] = []
    content = read_text(path, problems)
    assert content is not None
    read = read_history(path.name, content, estate, datetime(2026, 5, 4, tzinfo=UTC), problems)
    assert problems == []
    assert [replace(one.entry, id=row.id) for one, row in zip(read, rows, strict=True)] == rows
    assert [one.entry.id for one in read] == [row.id for row in rows]
