"""`ligule import`: lawns and histories from spreadsheets, all or nothing, every mistake by row and field."""

import csv
import json
import stat
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.cli.import_lawns import with_rows
from adapters.cli.main import main
from adapters.store import open_store
from config.lawns_csv import read_lawns
from config.load import load_estate
from config.problems import Problem
from scheduler.values import Entry
from tests.adapters.cli.test_ledger_csv import entries
from tests.builders import lawn, write_estate

AT = datetime(2026, 5, 4, 8, 30, tzinfo=UTC)
HISTORY = "lawn,product,at,amount,by\n"


def ligule(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(main, ["--estate", str(folder), *words], catch_exceptions=False)


def imported(folder: Path, text: str | bytes, *words: str, name: str = "sheet.csv") -> Result:
    path = folder.parent / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return ligule(folder, "import", str(path), *words)


def told(result: Result) -> dict[str, Any]:
    return json.loads(result.stdout)  # type: ignore[no-any-return]


def ledger(folder: Path) -> list[Entry]:
    with open_store(folder) as store:
        return store.entries(with_undone=True)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_estate(tmp_path / "estate", lawns=[lawn(), lawn(id="back", name="Back", timezone="America/Chicago")])


# --- history -----------------------------------------------------------------------------------------------------


def test_a_history_is_told_by_its_header_and_recorded(folder: Path) -> None:
    rows = HISTORY + "front,leaf-feed,2026-04-20T09:00+01:00,420,Ines\nback,spring-grain,2026-04-21T09:00-05:00,3 kg,\n"
    assert imported(folder, rows).exit_code == 0
    first, second = ledger(folder)
    assert (first.lawn, first.product, first.amount, first.by) == ("front", "leaf-feed", 420.0, "Ines")
    assert first.at == datetime(2026, 4, 20, 8, tzinfo=UTC)
    assert (second.amount, second.local_date) == (3000.0, date(2026, 4, 21))


def test_times_without_offset_are_the_lawns_own_and_a_date_alone_its_noon(folder: Path) -> None:
    rows = "Lawn,Product,Date,At\nfront,leaf-feed,,2026-04-20 09:00\nback,leaf-feed,,2026-04-20 09:00\n"
    rows += "front,spring-grain,2026-04-21,\nback,spring-grain,,2026-04-21\n"
    assert imported(folder, rows).exit_code == 0
    assert {(row.lawn, row.product): row.at for row in ledger(folder)} == {
        ("front", "leaf-feed"): datetime(2026, 4, 20, 8, tzinfo=UTC),  # London, UTC+1
        ("back", "leaf-feed"): datetime(2026, 4, 20, 14, tzinfo=UTC),  # Chicago, UTC-5
        ("front", "spring-grain"): datetime(2026, 4, 21, 11, tzinfo=UTC),
        ("back", "spring-grain"): datetime(2026, 4, 21, 17, tzinfo=UTC),
    }


@pytest.mark.parametrize(
    "text",
    [
        "lawn;product;at;amount\nfront;leaf-feed;2026-04-20T09:00Z;0,42 l\n",
        "lawn;product;at;amount\nfront;leaf-feed;2026-04-20T09:00Z;420,0\n",
        "sep=;\nlawn;product;at;amount\nfront;leaf-feed;2026-04-20T09:00Z;420\n",
        "\ufefflawn\tproduct\tat\tamount\r\nfront\tleaf-feed\t2026-04-20T09:00Z\t420\r\n",
        '\n"lawn","product","at","amount"\n\n"front","leaf-feed","2026-04-20T09:00Z","420"\n,,,\n',
    ],
)
def test_histories_of_many_spreadsheets_read_the_same(folder: Path, text: str) -> None:
    assert imported(folder, text).exit_code == 0
    (row,) = ledger(folder)
    assert (row.lawn, row.amount, row.at) == ("front", 420.0, datetime(2026, 4, 20, 9, tzinfo=UTC))


@pytest.mark.parametrize(
    ("column", "cell"),
    [("lawn", "frnt"), ("lawn", ""), ("product", "leaf-fed"), ("at", ""), ("at", "yesterday"), ("at", "04/05/2026"),
     ("at", "2199-01-01T00:00Z"), ("at", "0001-01-01"), ("at", "2026-03-29 01:30"), ("amount", "lots"),
     ("amount", "-3"), ("amount", "3 kg"), ("amount", "nan"), ("amount", "1,200"), ("kind", "planned"),
     ("date", "2026-04-19"), ("date", "2026-02-30"), ("end", "2026-04-20T08:00Z"), ("end", "2026-04-20"),
     ("area_m2", "0"), ("humidity_pct", "200"), ("signs_posted", "perhaps"), ("calibrated_on", "spring"),
     ("by", "x" * 81), ("undone_at", "2026-04-20"), ("forecast_chance", "42")],
)  # fmt: skip
def test_a_wrong_cell_is_named_by_row_and_field_and_nothing_is_added(folder: Path, column: str, cell: str) -> None:
    good = {"lawn": "front", "product": "leaf-feed", "at": "2026-04-20T09:00Z", "amount": "420"}
    names = list(dict.fromkeys([*good, column]))
    path = folder.parent / "rows.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(
            [names, [good.get(n, "") for n in names], [(good | {column: cell}).get(n, "") for n in names]]
        )
    result = ligule(folder, "import", str(path), "--json")
    assert result.exit_code == 2
    (error,) = told(result)["errors"]
    assert (error["row"], error["field"]) == (3, column)
    assert error["found"]
    assert error["allowed"]
    assert "rows.csv, row 3" in result.stderr
    assert ledger(folder) == []


def test_every_mistake_is_named_in_one_run(folder: Path) -> None:
    rows = (
        HISTORY + "frnt,leaf-fed,never,lots,Ines\nfront,leaf-feed,2026-04-20T09:00Z,420,\nfront,leaf-feed,2026-04-20\n"
    )
    found = [(error["row"], error["field"]) for error in told(imported(folder, rows, "--json"))["errors"]]
    assert found == [(2, "at"), (2, "lawn"), (2, "product"), (4, "")]


@pytest.mark.parametrize(
    "text",
    ["", "\n\n", "lawn,product\nfront,leaf-feed\n", "lawn,product,at,lawn\n", "lawn,product,at,when\n",
     'lawn,product,at\n"a', b"lawn,product,at\nfront,leaf-feed,\xff\n", b"\x00\x01", "name,colour\nx,y\n"],
)  # fmt: skip
def test_a_file_that_is_no_history_is_refused(folder: Path, text: str | bytes) -> None:
    for words in ((), ("--kind", "history")):
        result = imported(folder, text, *words)
        assert result.exit_code == 2
        assert "Traceback" not in result.output
    assert ledger(folder) == []


def test_a_file_that_is_not_there_is_refused(folder: Path) -> None:
    result = ligule(folder, "import", str(folder / "nowhere.csv"))
    assert result.exit_code == 2
    assert "nowhere.csv" in result.stderr


def test_a_dry_run_says_what_would_be_added_and_adds_nothing(folder: Path) -> None:
    rows = HISTORY + "front,leaf-feed,2026-04-20T09:00Z,420,Ines\n"
    answer = told(imported(folder, rows, "--dry-run", "--json"))
    assert (answer["dry_run"], answer["kind"], answer["errors"]) == (True, "history", [])
    assert [(row["row"], row["lawn"], row["amount"]) for row in answer["added"]] == [(2, "front", 420.0)]
    assert ledger(folder) == []
    assert told(imported(folder, rows, "--json"))["added"] == answer["added"]
    assert len(ledger(folder)) == 1


def test_what_is_there_already_is_skipped_and_said(folder: Path) -> None:
    rows = HISTORY + "front,leaf-feed,2026-04-20T09:00Z,420,Ines\nfront,leaf-feed,2026-04-20T10:00+01:00,99,Wren\n"
    first = told(imported(folder, rows, "--json"))
    assert [row["row"] for row in first["added"]] == [2]
    assert [row["row"] for row in first["skipped"]] == [3]
    again = told(imported(folder, rows, "--json"))
    assert again["added"] == []
    assert [row["row"] for row in again["skipped"]] == [2, 3]
    (row,) = ledger(folder)
    assert row.amount == 420.0
    assert "2" in imported(folder, rows).output


def test_a_row_taken_back_does_not_stand_in_the_way_of_its_correction(folder: Path) -> None:
    imported(folder, HISTORY + "front,leaf-feed,2026-04-20T09:00Z,4200,Ines\n")
    assert ligule(folder, "undo", "front", "leaf-feed").exit_code == 0
    imported(folder, HISTORY + "front,leaf-feed,2026-04-20T09:00Z,420,Ines\n")
    assert [(row.amount, row.undone_at is None) for row in ledger(folder)] == [(4200.0, False), (420.0, True)]


@settings(max_examples=10, deadline=None)
@given(
    rows=st.lists(
        entries(st.sampled_from(["front", "back"]), st.sampled_from(["leaf-feed", "spring-grain"])), max_size=6
    )
)
def test_export_and_import_into_an_empty_store_is_the_identity(
    tmp_path_factory: pytest.TempPathFactory, rows: list[Entry]
) -> None:
    one = write_estate(tmp_path_factory.mktemp("one"), lawns=[lawn(), lawn(id="back")])
    two = write_estate(tmp_path_factory.mktemp("two"), lawns=[lawn(), lawn(id="back")])
    with open_store(one) as store:
        store.add_entries(rows, AT)
    path = one / "out.csv"
    assert ligule(one, "ledger", "--csv", str(path)).exit_code == 0
    result = ligule(two, "import", str(path))
    assert result.exit_code == 0, result.output
    assert ledger(two) == ledger(one)
    again = told(ligule(two, "import", str(path), "--json"))
    assert (again["added"], len(again["skipped"])) == ([], len(rows))
    assert ledger(two) == ledger(one)


def test_what_was_recorded_by_hand_comes_back_through_the_csv(folder: Path, tmp_path: Path) -> None:
    hostile = "=HYPERLINK(\"http://x\")\n'quoted', \u00e9\u2028;=1"
    typed = (("--by", "=1+1", "--batch", "00417"), ("--note", "'=x"), ("--reason", "@a\r\nb", "--licence", "'"))
    for minutes, words in enumerate(typed):
        at = (AT - timedelta(days=2) + timedelta(minutes=minutes)).isoformat()
        assert ligule(folder, "record", "front", "leaf-feed", "--at", at, *words).exit_code == 0
    assert ligule(folder, "record", "back", "leaf-feed", "--note", hostile.replace("\u2028", "")).exit_code == 0
    ligule(folder, "undo", "front", "leaf-feed")
    ligule(folder, "skip", "front", "spring-grain")
    path = tmp_path / "out.csv"
    ligule(folder, "ledger", "--csv", str(path))
    other = write_estate(tmp_path / "other", lawns=[lawn(), lawn(id="back", name="Back", timezone="America/Chicago")])
    assert ligule(other, "import", str(path)).exit_code == 0
    assert ledger(other) == ledger(folder)
    assert len(ledger(folder)) == 5


# --- lawns -------------------------------------------------------------------------------------------------------

LAWNS = "id,name,latitude,longitude,area_m2\n"
NEW = "side,Side lawn,51.49,-0.61,80.5\n"


def lawns(folder: Path) -> dict[str, Any]:
    return {one.id: one for one in load_estate(folder, {}).lawns}


def test_lawns_are_told_by_their_header_and_put_at_the_end(folder: Path) -> None:
    before = (folder / "lawns.csv").read_text("utf-8")
    assert imported(folder, LAWNS + NEW).exit_code == 0
    assert (folder / "lawns.csv").read_text("utf-8").startswith(before)
    there = lawns(folder)
    assert list(there) == ["front", "back", "side"]
    assert (there["side"].name, there["side"].area_m2) == ("Side lawn", 80.5)
    assert not [path for path in folder.iterdir() if path.name.startswith(".lawns")]


def test_a_lawn_that_is_there_is_left_as_it_is_and_said(folder: Path) -> None:
    answer = told(imported(folder, LAWNS + "front,Another,51,0,5\n" + NEW, "--json"))
    assert [row["id"] for row in answer["skipped"]] == ["front"]
    assert [row["id"] for row in answer["added"]] == ["side"]
    assert lawns(folder)["front"].area_m2 == 120


def test_a_dry_run_of_lawns_writes_nothing(folder: Path) -> None:
    before = (folder / "lawns.csv").read_bytes()
    answer = told(imported(folder, LAWNS + NEW, "--dry-run", "--json"))
    assert [row["id"] for row in answer["added"]] == ["side"]
    assert (folder / "lawns.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("row", "field"),
    [("Side,S,51,0,5", "id"), ("side,,51,0,5", "name"), ("side,S,91,0,5", "latitude"), ("side,S,51,0,", "area_m2"),
     ("side,S,51,0,0", "area_m2"), ("side,S,51,0,5\nside,T,51,0,5", "id"), ("side,S,51", "")],
)  # fmt: skip
def test_a_wrong_lawn_is_named_and_none_is_added(folder: Path, row: str, field: str) -> None:
    before = (folder / "lawns.csv").read_bytes()
    result = imported(folder, LAWNS + "ok,Ok,51,0,5\n" + row + "\n", "--json")
    assert result.exit_code == 2
    assert field in [error["field"] for error in told(result)["errors"]]
    assert all(error["row"] for error in told(result)["errors"])
    assert (folder / "lawns.csv").read_bytes() == before


def test_a_reference_that_leads_nowhere_is_a_mistake_of_its_row(folder: Path) -> None:
    result = imported(folder, "id,name,latitude,longitude,area_m2,programme\nside,S,51,0,5,nowhere\n", "--json")
    (error,) = told(result)["errors"]
    assert (error["file"], error["row"], error["field"]) == ("sheet.csv", 2, "programme")


def test_columns_that_the_file_lacks_are_added_and_its_rows_keep_their_values(folder: Path) -> None:
    (folder / "lawns.csv").write_text(
        "id;name;latitude;longitude;area_m2\r\nfront;Front, 4;51,482;-0,617;120,5\r\n", "utf-8"
    )
    rows = 'id,name,latitude,longitude,area_m2,notes,hard_edges\nside,"a;b ""c""",51.5,-0.6,1.234,"two\nlines",yes\n'
    assert imported(folder, rows).exit_code == 0
    there = lawns(folder)
    assert (there["front"].area_m2, there["front"].latitude, there["front"].name) == (120.5, 51.482, "Front, 4")
    assert (there["side"].area_m2, there["side"].notes, there["side"].hard_edges) == (1.234, "two\nlines", True)
    assert there["side"].name == 'a;b "c"'


def test_the_first_lawns_of_an_estate_may_be_imported(tmp_path: Path) -> None:
    folder = write_estate(tmp_path / "estate", lawns=None)
    assert imported(folder, LAWNS + NEW).exit_code == 0
    assert list(lawns(folder)) == ["side"]
    (folder / "lawns.csv").write_text("id,name,latitude,longitude,area_m2\n", "utf-8")
    assert imported(folder, LAWNS + NEW).exit_code == 0
    assert list(lawns(folder)) == ["side"]


def test_an_estate_with_mistakes_takes_no_lawns(folder: Path) -> None:
    (folder / "products.toml").write_text("[[products]]\nid = 3\n", "utf-8")
    before = (folder / "lawns.csv").read_bytes()
    result = imported(folder, LAWNS + NEW)
    assert result.exit_code == 2
    assert "products.toml" in result.stderr
    assert (folder / "lawns.csv").read_bytes() == before


def test_the_file_keeps_its_rights_and_a_link_stays_a_link(folder: Path) -> None:
    real = folder.parent / "shared-lawns.csv"
    (folder / "lawns.csv").rename(real)
    real.chmod(0o640)
    (folder / "lawns.csv").symlink_to(real)
    assert imported(folder, LAWNS + NEW).exit_code == 0
    assert (folder / "lawns.csv").is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert "side" in lawns(folder)


NUMBERS = st.floats(0.001, 1e6).map(float) | st.sampled_from([1.234, 12.345, 1234.0, 0.5, 1e-5])
ROWS = st.fixed_dictionaries(
    {"id": st.from_regex(r"[a-z][a-z0-9-]{0,9}", fullmatch=True),
     "name": st.sampled_from(["A", "b, c", 'd "e"', "f;g", "h\ti", "'j"]),
     "latitude": st.floats(-90, 90), "longitude": st.floats(-180, 180), "area_m2": NUMBERS},
    optional={"hard_edges": st.booleans(), "notes": st.sampled_from(["two\nlines", "x"]),
              "slope_deg": st.floats(0, 60)},
)  # fmt: skip


@settings(max_examples=100, deadline=None)
@given(
    st.lists(ROWS, max_size=3),
    st.lists(ROWS, min_size=1, max_size=3),
    st.sampled_from(",;\t"),
    st.sampled_from(["\n", "\r\n"]),
)
def test_rows_put_at_the_end_read_back_as_they_were_meant(
    tmp_path_factory: pytest.TempPathFactory, old: list[dict[str, Any]], new: list[dict[str, Any]], mark: str, ends: str
) -> None:
    path = tmp_path_factory.mktemp("lawns") / "lawns.csv"
    head = mark.join(["id", "name", "latitude", "longitude", "area_m2"]) + ends
    text = with_rows(with_rows(head, old) if old else head, new)
    path.write_bytes(text.encode())
    problems: list[Problem] = []
    sheet = read_lawns(path, problems)
    assert problems == []
    assert sheet is not None
    assert [row.cells for row in sheet.rows] == [*old, *new]
