"""Recording, skipping, taking back, and what follows from it."""

import csv
import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from adapters.cli.main import main
from adapters.clock import SystemClock
from tests.builders import combined, granular, liquid, write_estate

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `ligule` on the plain estate."""
    write_estate(tmp_path, timezone="Europe/London")

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path), *words], catch_exceptions=False)

    return invoke


def ago(days: float) -> str:
    return (SystemClock().now() - timedelta(days=days)).isoformat()


def ledger(run: Run) -> dict[str, list[dict[str, object]]]:
    return json.loads(run("ledger", "--json").output)  # type: ignore[no-any-return]


def test_a_record_is_kept_and_counts(run: Run) -> None:
    assert run("record", "front", "leaf-feed", "--at", ago(3), "--by", "Ines").exit_code == 0
    told = ledger(run)
    (row,) = told["entries"]
    assert (row["lawn"], row["product"], row["kind"], row["by"]) == ("front", "leaf-feed", "done", "Ines")
    # 12 % w/w, 1.18 kg/l, 3.5 ml/m2: 0.4956 g N/m2
    assert told["totals"][0]["n_g_m2"] == pytest.approx(0.4956, abs=1e-4)


def test_an_amount_counts_by_the_lawns_area_and_wrong_units_are_refused(run: Run) -> None:
    assert run("record", "front", "leaf-feed", "--at", ago(1), "--amount", "0.84 l").exit_code == 0
    assert ledger(run)["totals"][0]["n_g_m2"] == pytest.approx(2 * 0.4956, abs=1e-4)
    for wrong in ("3 kg", "lots", "-5 ml", "0 ml", "5"):
        refused = run("record", "front", "leaf-feed", "--amount", wrong)
        assert refused.exit_code == 2
        assert "ml" in refused.output
    assert len(ledger(run)["entries"]) == 1


def test_what_is_still_to_come_cannot_be_recorded(run: Run) -> None:
    assert run("record", "front", "leaf-feed", "--at", ago(-1)).exit_code == 2
    assert ledger(run)["entries"] == []


def test_a_record_taken_back_stays_in_the_ledger_and_no_longer_counts(run: Run) -> None:
    run("record", "front", "leaf-feed", "--at", ago(2))
    assert run("undo", "front", "leaf-feed").exit_code == 0
    told = ledger(run)
    assert told["entries"][0]["undone_at"] is not None
    assert told["totals"][0]["n_g_m2"] == 0
    assert run("undo", "front", "leaf-feed").exit_code == 2


def test_a_dose_too_soon_is_recorded_with_a_warning(run: Run) -> None:
    run("record", "front", "leaf-feed", "--at", ago(2))
    second = json.loads(run("record", "front", "leaf-feed", "--at", ago(1), "--json").output)
    assert second["recorded"]["id"]
    assert any("interval" in warning for warning in second["warnings"])


def test_a_skip_moves_the_next_date_and_gives_nothing(run: Run) -> None:
    assert run("skip", "front", "leaf-feed").exit_code == 0
    told = ledger(run)
    assert told["entries"][0]["kind"] == "skipped"
    assert told["totals"][0]["n_g_m2"] == 0


def test_the_csv_runs_no_formula_and_loses_nothing(run: Run, tmp_path: Path) -> None:
    run("record", "front", "leaf-feed", "--at", ago(2), "--by", "=1+1", "--note", '@SUM(A1)\u00e9, "quoted"')
    path = tmp_path / "out.csv"
    assert run("ledger", "--csv", str(path)).exit_code == 0
    with path.open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["by"] == "'=1+1"
    assert row["note"] == '\'@SUM(A1)\u00e9, "quoted"'


def test_the_plan_moves_with_what_was_done(run: Run, tmp_path: Path) -> None:
    now = "2026-05-04T08:00+01:00"
    before = json.loads(run("plan", "front", "--year", "2026", "--now", now, "--json").output)
    applications = before["plans"][0]["applications"]
    assert applications
    total = sum(item["nutrients"]["n_g_m2"] for item in applications)
    assert before["plans"][0]["total"]["n_g_m2"] == pytest.approx(total, abs=1e-3)
    path = tmp_path / "plan.ics"
    assert run("plan", "--year", "2026", "--now", now, "--ics", str(path)).exit_code == 0
    events = path.read_text("utf-8").count("BEGIN:VEVENT")  # RFC 5545
    assert events == sum(item["due"] is not None for item in applications)


def test_a_broken_folder_ends_with_every_mistake_and_no_traceback(tmp_path: Path) -> None:
    write_estate(tmp_path)
    (tmp_path / "estate.toml").write_text('name = ""\ntimezoen = "Europe/London"\n', "utf-8")
    result = CliRunner().invoke(main, ["--estate", str(tmp_path), "plan"])
    assert result.exit_code == 2
    assert "timezone" in result.output
    assert "estate.toml" in result.output
    assert "Traceback" not in result.output


def test_an_amount_far_from_the_sheets_rate_is_recorded_with_a_warning(run: Run) -> None:
    tenfold = json.loads(run("record", "front", "leaf-feed", "--at", ago(3), "--amount", "4200 ml", "--json").output)
    assert any("10 times" in warning for warning in tenfold["warnings"])
    plain = json.loads(run("record", "front", "spring-grain", "--at", ago(3), "--json").output)
    assert not any("times the sheet" in warning for warning in plain["warnings"])


@pytest.mark.parametrize("amount", ["1,200 ml", "1.200 ml", "12,000 ml"])
def test_a_thousands_separator_is_not_taken_for_a_decimal(run: Run, amount: str) -> None:
    assert run("record", "front", "leaf-feed", "--amount", amount).exit_code == 2
    assert ledger(run)["entries"] == []


def test_the_same_job_is_not_recorded_twice(run: Run) -> None:
    at = ago(3)
    assert run("record", "front", "leaf-feed", "--at", at).exit_code == 0
    assert run("record", "front", "leaf-feed", "--at", at).exit_code == 2
    assert len(ledger(run)["entries"]) == 1


def test_check_asks_about_a_slipped_decimal(tmp_path: Path) -> None:
    write_estate(tmp_path, products=[liquid(rate_ml_m2=35), granular(rate_g_m2=350), combined()])
    told = CliRunner().invoke(main, ["--estate", str(tmp_path), "check"])
    assert told.exit_code == 0
    assert told.output.count("slipped decimal") == 2
