"""`ligule ledger`: sums against the caps, what records lack, and a text that obeys nobody."""

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pytest import approx

from adapters.cli.main import main
from adapters.store import open_store
from scheduler.values import Entry
from tests.builders import lawn, write_estate

NOW = "2026-06-30T12:00+01:00"
AT = datetime(2026, 6, 20, 8, 0, tzinfo=UTC)


def ligule(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(main, ["--estate", str(folder), *words], catch_exceptions=False)


def told(folder: Path, *words: str) -> dict[str, Any]:
    result = ligule(folder, "ledger", "--json", "--now", NOW, *words)
    assert result.exit_code == 0, result.output
    return json.loads(result.output)  # type: ignore[no-any-return]


def keep(folder: Path, *rows: Entry) -> None:
    with open_store(folder) as store:
        store.add_entries(rows, AT)


def entry(product: str = "spring-grain", at: datetime = AT, **fields: Any) -> Entry:
    return Entry(**{"lawn": "front", "product": product, "at": at, "local_date": at.date(), **fields})


def test_the_year_and_the_last_thirty_days_stand_against_the_caps(tmp_path: Path) -> None:
    write_estate(tmp_path, rules={"year_n_g_m2": 12.0, "single_n_g_m2": 4.0})
    keep(tmp_path, entry(), entry(at=AT - timedelta(days=60)), entry("leaf-feed"), entry(at=AT - timedelta(days=300)))
    (total,) = told(tmp_path)["totals"]
    # 20-5-8 at 25 g/m2: 5 g N; 12-3-6 w/w at 3.5 ml/m2 of 1.18 kg/l: 0.4956 g N
    assert total["year"]["n_g_m2"] == approx(10.4956, abs=1e-4)
    assert total["last_30_days"]["n_g_m2"] == approx(5.4956, abs=1e-4)
    assert total["last_30_days"]["from"] == "2026-06-01"
    assert total["year"]["k2o_g_m2"] == approx(2 * 2.0 + 0.2478, abs=1e-4)
    assert total["year"]["k_g_m2"] == approx((2 * 2.0 + 0.2478) * 0.8301, abs=1e-3)
    caps = {cap["allowed"][1]: cap for cap in total["caps"]}
    assert (caps[12.0]["value"], caps[12.0]["ok"]) == (approx(10.4956, abs=1e-4), True)
    # all products of a day together
    assert (caps[4.0]["value"], caps[4.0]["ok"], caps[4.0]["on"]) == (approx(5.4956, abs=1e-4), False, "2026-06-20")
    assert caps[4.0]["margin"] == approx(-1.4956, abs=1e-4)
    assert all(cap["source"] for cap in total["caps"])


def test_another_year_is_summed_to_its_end(tmp_path: Path) -> None:
    write_estate(tmp_path)
    keep(tmp_path, entry(at=AT - timedelta(days=300)), entry())
    answer = told(tmp_path, "--year", "2025")
    assert [row["date"][:4] for row in answer["entries"]] == ["2025"]
    assert answer["totals"][0]["year"]["to"] == "2025-12-31"
    assert answer["totals"][0]["year"]["n_g_m2"] == answer["totals"][0]["n_g_m2"] == approx(5.0)


def test_what_a_record_lacks_is_named_with_its_law(tmp_path: Path) -> None:
    write_estate(tmp_path, timezone="America/Chicago", lawns=[lawn(latitude=41.9, longitude=-87.6)])
    keep(tmp_path, entry("three-in-one", amount=4200.0, by="Ines"), entry("leaf-feed"), entry(kind="skipped"))
    rows = {row["product"]: row for row in told(tmp_path)["entries"] if row["kind"] == "done"}
    laws = {item["law"]: item for item in rows["three-in-one"]["missing"]}
    assert laws["us"]["source"] == "7 CFR 110.3"
    assert [x["field"] for x in laws["us"]["fields"]] == ["registration", "licence"]
    assert [item["law"] for item in rows["leaf-feed"]["missing"]] == ["fertiliser"]
    text = ligule(tmp_path, "ledger", "--now", NOW).output
    assert "7 CFR 110.3" in text
    assert "certification number" in text


def test_the_text_fits_the_terminal_and_passes_no_control_characters_on(tmp_path: Path) -> None:
    long = "a-very-long-name-for-a-lawn-behind-the-house-on-the-hill"
    write_estate(
        tmp_path, rules={"year_n_g_m2": 12.0, "packs": ["maryland"]}, lawns=[lawn(), lawn(id=long, name="B " * 30)]
    )
    hostile = "\x1b[2J\r\nRecorded: all\u202e" * 4
    for number in range(30):
        by = hostile if number % 2 else "Ines"
        batch = str(number) if number % 3 else ""
        row = entry(at=AT - timedelta(days=number), by=by, batch=batch, soil="moist" if number % 5 else "")
        keep(tmp_path, row, entry("leaf-feed", lawn=long, amount=1234.5678))
    text = ligule(tmp_path, "ledger", "--now", NOW).output
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert len([line for line in text.splitlines() if line.startswith("Recorded")]) == 0


def test_rows_of_lawns_and_products_that_left_the_estate_are_still_told(tmp_path: Path) -> None:
    write_estate(tmp_path, rules={"year_n_g_m2": 12.0})
    keep(tmp_path, entry(lawn="gone"), entry("old-feed"), entry())
    answer = told(tmp_path)
    assert [(row["lawn"], row["product"]) for row in answer["entries"]] == [
        ("gone", "spring-grain"), ("front", "old-feed"), ("front", "spring-grain"),
    ]  # fmt: skip
    assert answer["totals"][0]["sheets_gone"] == ["old-feed"]
    assert answer["totals"][0]["caps"][0]["ok"] is None
    assert ligule(tmp_path, "ledger", "--now", NOW).exit_code == 0


def test_one_lawn_alone(tmp_path: Path) -> None:
    write_estate(tmp_path, lawns=[lawn(), lawn(id="back")])
    keep(tmp_path, entry(), entry(lawn="back"))
    answer = told(tmp_path, "back")
    assert [row["lawn"] for row in answer["entries"]] == ["back"]
    assert [total["lawn"] for total in answer["totals"]] == ["back"]


def test_an_empty_ledger_is_said_plainly(tmp_path: Path) -> None:
    write_estate(tmp_path)
    assert ligule(tmp_path, "ledger").exit_code == 0
    assert told(tmp_path)["entries"] == []


@pytest.mark.parametrize("place", ["nowhere/out.csv", "."])
def test_a_csv_that_cannot_be_written_is_a_clear_error(tmp_path: Path, place: str) -> None:
    write_estate(tmp_path)
    result = ligule(tmp_path, "ledger", "--csv", str(tmp_path / place))
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_the_day_is_the_lawns_own(tmp_path: Path) -> None:
    """At noon in London it is the next day on the other side of the world."""
    write_estate(tmp_path, lawns=[lawn(timezone="Pacific/Auckland", latitude=-36.9, longitude=174.8)])
    at = datetime(2026, 6, 30, 12, 30, tzinfo=UTC)  # 00:30 on 1 July in Auckland (UTC+12)
    keep(tmp_path, entry(at=at, local_date=date(2026, 7, 1)))
    result = ligule(tmp_path, "ledger", "--json", "--now", "2026-06-30T13:00Z")
    (total,) = json.loads(result.output)["totals"]
    assert total["year"]["to"] == "2026-07-01"
    assert total["last_30_days"]["n_g_m2"] == approx(5.0)
