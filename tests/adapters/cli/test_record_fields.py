"""What `ligule record` keeps beside the amount: what was typed, and what the store knows of the hour."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pytest import approx

from adapters.cli.main import main
from adapters.clock import SystemClock
from adapters.feeds.state import FetchState
from adapters.store import open_store
from adapters.store.forecasts import NewRun
from scheduler.weather.cells import cell_of
from tests.adapters.feeds.answers import body, met_norway_answer, weather
from tests.builders import write_estate

Run = Callable[..., Result]
CELL = cell_of(51.482, -0.617)


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `ligule` on the plain estate."""
    write_estate(tmp_path)

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path), *words], catch_exceptions=False)

    return invoke


def now() -> datetime:
    return SystemClock().now()


def ago(hours: float) -> str:
    return (now() - timedelta(hours=hours)).isoformat()


def recorded(run: Run, *words: str, product: str = "leaf-feed") -> dict[str, Any]:
    result = run("record", "front", product, *words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)["recorded"]  # type: ignore[no-any-return]


def receive(folder: Path, issued: datetime, **fields: Any) -> None:
    """A run of the feed comes into the store a minute after it was issued."""
    table = weather(issued.replace(minute=0, second=0, microsecond=0), 96, **fields)
    answer = body(met_norway_answer(table, issued=issued, latitude=51.48, longitude=-0.62))
    with open_store(folder) as store:
        received = issued + timedelta(minutes=1)
        run = NewRun.of(CELL, "met-norway", issued_at=issued, received_at=received, body=answer)
        store.save_feed([FetchState("met-norway", CELL)], [run])


def test_what_was_typed_is_kept_in_si(run: Run) -> None:
    row = recorded(
        run, "--at", ago(5), "--end", ago(4), "--amount", "0.2 l", "--area-m2", "60", "--water", "1 gal",
        "--by", " Ines ", "--licence", "C-2291", "--batch", "00417", "--equipment", "knapsack 2",
        "--calibrated-on", "2026-03-01", "--temperature", "59 F", "--humidity", "71", "--wind", "9 km/h",
        "--wind-from", "ssw", "--soil", "moist", "--buffer-m", "3", "--signs-posted", "--reentry-not-told",
        "--crop", "turf", "--reason", "colour", "--note", "east half\ndamp",
    )  # fmt: skip
    assert (row["amount"], row["area_m2"], row["water_l"]) == (200.0, 60.0, approx(3.785411784))  # NIST SP 811
    assert (row["temperature_c"], row["humidity_pct"], row["wind_m_s"]) == (approx(15.0), 71.0, approx(2.5))
    assert (row["wind_from"], row["weather_by"], row["soil"]) == ("SSW", "measured", "moist")
    assert (row["by"], row["licence"], row["batch"], row["equipment"]) == ("Ines", "C-2291", "00417", "knapsack 2")
    assert (row["calibrated_on"], row["crop"], row["reason"]) == ("2026-03-01", "turf", "colour")
    assert (row["buffer_m"], row["signs_posted"], row["reentry_told"]) == (3.0, True, False)
    assert row["note"] == "east half\ndamp"
    assert datetime.fromisoformat(row["end"]) - datetime.fromisoformat(row["at"]) == timedelta(hours=1)


def test_without_an_amount_the_sheets_rate_on_the_area_is_kept(run: Run) -> None:
    assert recorded(run, "--at", ago(1))["amount"] == approx(3.5 * 120)
    assert recorded(run, "--area-m2", "40", product="spring-grain")["amount"] == approx(25 * 40)


@pytest.mark.parametrize(
    ("option", "value"),
    [("--area-m2", "121"), ("--area-m2", "0"), ("--area-m2", "nan"), ("--buffer-m", "nan"), ("--buffer-m", "inf"),
     ("--buffer-m", "-1"), ("--humidity", "101"), ("--humidity", "nan"), ("--wind", "12"), ("--wind", "-1 m/s"),
     ("--wind", "900 km/h"), ("--wind-from", "up"), ("--wind-from", "361"), ("--temperature", "14"),
     ("--temperature", "99 C"), ("--water", "7.2"), ("--water", "0 l"), ("--calibrated-on", "yesterday"),
     ("--amount", "9" * 400 + " ml"), ("--by", "a\x1b[2Jb"), ("--note", "a\u202eb"), ("--by", "x" * 81),
     ("--end", "2020-01-01T00:00Z"), ("--end", "2199-01-01T00:00Z"), ("--note", "\udcff")],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_its_option_and_nothing_is_kept(run: Run, option: str, value: str) -> None:
    refused = run("record", "front", "leaf-feed", "--at", ago(1), option, value)
    assert refused.exit_code == 2
    assert option in refused.output
    assert json.loads(run("ledger", "--json").output)["entries"] == []


def test_the_weather_of_the_hour_and_the_forecast_come_from_the_store(run: Run, tmp_path: Path) -> None:
    issued = now().astimezone(UTC) - timedelta(hours=2)
    receive(tmp_path, issued, temperature_c=14.2, humidity_pct=70.0, wind_m_s=3.1, chance=0.0)
    row = recorded(run)
    assert (row["temperature_c"], row["humidity_pct"], row["wind_m_s"]) == (14.2, 70.0, 3.1)
    assert row["weather_by"] == row["forecast_provider"] == "met-norway"
    told = datetime.fromisoformat(row["forecast_issued"])
    assert abs(told - issued) < timedelta(seconds=2)
    assert 0 <= row["forecast_chance"] < 0.15
    assert row["forecast_of"]


def test_what_was_measured_stands_before_what_was_forecast(run: Run, tmp_path: Path) -> None:
    receive(tmp_path, now() - timedelta(hours=2), temperature_c=14.2, wind_m_s=3.1)
    row = recorded(run, "--wind", "5 m/s")
    assert (row["wind_m_s"], row["temperature_c"]) == (5.0, 14.2)
    assert row["weather_by"] == "measured, met-norway"
    assert row["forecast_provider"] == "met-norway"


def test_a_run_that_came_after_the_work_is_no_basis_but_knows_the_weather(run: Run, tmp_path: Path) -> None:
    hour = (now() - timedelta(hours=2)).replace(minute=0, second=0, microsecond=0)
    receive(tmp_path, hour + timedelta(minutes=40), temperature_c=14.2)
    before = recorded(run, "--at", (hour + timedelta(minutes=10)).isoformat())
    assert (before["temperature_c"], before["weather_by"]) == (14.2, "met-norway")
    assert (before["forecast_provider"], before["forecast_chance"]) == ("", None)
    after = recorded(run, "--at", (hour + timedelta(minutes=50)).isoformat())
    assert after["forecast_provider"] == "met-norway"


def test_a_run_too_old_to_decide_on_is_no_basis(run: Run, tmp_path: Path) -> None:
    receive(tmp_path, now() - timedelta(hours=20), temperature_c=14.2)
    row = recorded(run)
    assert row["forecast_provider"] == ""
    assert row["forecast_chance"] is None
    assert row["temperature_c"] == 14.2


def test_hours_nothing_is_known_of_stay_empty(run: Run, tmp_path: Path) -> None:
    receive(tmp_path, now() - timedelta(hours=2))
    row = recorded(run, "--at", ago(24 * 20))
    assert (row["temperature_c"], row["weather_by"], row["forecast_provider"]) == (None, "", "")


def test_a_dose_above_a_cap_is_kept_and_said_by_how_much(tmp_path: Path) -> None:
    write_estate(tmp_path, rules={"single_n_g_m2": 6.0})

    def warnings(*words: str) -> list[str]:
        told = CliRunner().invoke(
            main, ["--estate", str(tmp_path), "record", "front", "spring-grain", "--at", ago(1), "--json", *words]
        )
        return [x for x in json.loads(told.output)["warnings"] if "nitrogen cap" in x]

    # 20 % N: 25 g/m2 give 5 g N/m2, below the cap; 4.8 kg on 120 m2 give 8
    assert warnings() == []
    (said,) = warnings("--amount", "4.8 kg", "--at", ago(30))
    assert "8" in said


def test_what_is_said_fits_the_terminal(run: Run, tmp_path: Path) -> None:
    receive(tmp_path, now() - timedelta(hours=2), wind_m_s=3.1)
    for product in ("leaf-feed", "spring-grain", "three-in-one"):
        told = run("record", "front", product, "--at", ago(1))
        assert told.exit_code == 0
        assert max(map(len, told.output.splitlines())) <= 80
