"""`ligule replay` as a user runs it, on a year observed at New York (NOAA, 2013)."""

import gzip
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from adapters.cli.context import Context
from adapters.cli.replay import replay
from scheduler.verify.replay import POLICIES, Terms
from scheduler.verify.replay import replay as play
from tests.builders import combined, granular, liquid, write_estate
from tests.observed import new_york


def run(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(replay, list(words), obj=Context(folder), catch_exceptions=False)


@cache
def sheet(other: str = "") -> str:
    """The year as a user's file; `other` adds columns of the same value in every row."""
    rain, times = new_york("JFK")
    names, values = (
        ",".join(part.split("=")[0] for part in other.split()),
        ",".join(p.split("=")[1] for p in other.split()),
    )
    lines = [f"time,rain_mm{',' + names if names else ''}"]
    for when, amount in zip(times, rain, strict=True):
        lines.append(f"{when}:00,{'' if np.isnan(amount) else round(float(amount), 3)}{',' + values if values else ''}")
    return "\n".join(lines)


def answer(folder: Path, *words: str) -> dict[str, Any]:
    result = run(folder, *words, "--json")
    assert result.exit_code == 0, result.output
    told: dict[str, Any] = json.loads(result.stdout)
    return told


@pytest.fixture
def record(tmp_path: Path) -> str:
    path = tmp_path / "jfk.csv.gz"
    path.write_bytes(gzip.compress(sheet().encode()))
    return str(path)


@pytest.mark.parametrize("skill", ["low", "high", "perfect"])
def test_the_answer_is_the_replay_of_the_file(tmp_path: Path, record: str, skill: str) -> None:
    told = answer(tmp_path, record, "--skill", skill)
    rain, times = new_york("JFK")
    expected = play(np.round(rain, 3), times, skill, np.random.default_rng(1), Terms())  # type: ignore[arg-type]
    assert told["schema"] == 1 and told["n"] == expected.n and told["forecast_skill"] == skill
    assert (told["from"], told["to"]) == ("2013-01-01", "2013-12-30")
    for form, rates in (("liquid", ["washed_off"]), ("granular", ["success", "too_dry", "too_heavy"])):
        assert set(told[form]) == set(POLICIES)
        for policy, shown in told[form].items():
            outcome = getattr(expected, form)[policy]
            assert shown["delay_d"] == pytest.approx(outcome.delay_d, abs=1e-3)
            for name in rates:
                rate = outcome.rates[name]
                assert shown[name] == pytest.approx(rate.value, abs=1e-4)
                assert shown[f"{name}_low"] == pytest.approx(rate.low, abs=1e-4)
                assert shown[f"{name}_high"] == pytest.approx(rate.high, abs=1e-4)
            assert shown["low"] <= shown[rates[0]] <= shown["high"]
    assert told["skill"]["lead_0_brier"] == pytest.approx(expected.brier_by_lead[0], abs=1e-5)
    assert told["skill"]["lead_1_brier"] == pytest.approx(expected.brier_by_lead[1], abs=1e-5)


def test_the_same_seed_gives_the_same_answer_and_another_one_another(tmp_path: Path, record: str) -> None:
    one = answer(tmp_path, record)
    assert one == answer(tmp_path, record)
    assert one["liquid"] != answer(tmp_path, record, "--seed", "2")["liquid"]


def test_people_read_the_same_numbers_in_80_columns(tmp_path: Path, record: str) -> None:
    told, text = answer(tmp_path, record), run(tmp_path, record).stdout
    assert f"{told['liquid']['ligule']['washed_off']:.1%}" in text
    assert f"{told['granular']['ligule']['success']:.1%}" in text
    assert all(len(line) <= 80 for line in text.splitlines())


def test_the_order_of_rows_and_the_way_times_are_written_do_not_matter(tmp_path: Path, record: str) -> None:
    head, *rows = sheet().split("\n")
    path = tmp_path / "turned.csv"
    with_offset = [row.replace(":00,", ":00-05:00,", 1) for row in reversed(rows)]
    path.write_text("\n".join([head, *with_offset]))
    assert answer(tmp_path, str(path))["liquid"] == answer(tmp_path, record)["liquid"]


def test_a_gap_in_the_file_is_missing_rain(tmp_path: Path, record: str) -> None:
    head, *rows = sheet().split("\n")
    path = tmp_path / "gap.csv"
    path.write_text("\n".join([head, *rows[:3000], *rows[3100:]]))
    told, whole = answer(tmp_path, str(path)), answer(tmp_path, record)
    assert told["hours"] == whole["hours"]
    assert told["missing_hours"] == whole["missing_hours"] + 100
    assert told["n"] < whole["n"]


def test_other_weather_holds_what_the_limits_forbid(tmp_path: Path, record: str) -> None:
    for other, free in (("temperature_c=15 wind_m_s=3", True), ("wind_m_s=9", False), ("temperature_c=35", False),
                        ("temperature_c=25 humidity_pct=15", False)):  # fmt: skip
        path = tmp_path / "more.csv"
        path.write_text(sheet(other))
        told = answer(tmp_path, str(path))
        delay = told["liquid"]["ligule"]["delay_d"]
        assert told["weather"] == ["rain_mm", *(part.split("=")[0] for part in other.split())]
        if free:
            assert told["liquid"]["ligule"]["delay_d"] == answer(tmp_path, record)["liquid"]["ligule"]["delay_d"]
        else:
            assert delay == 14.0  # no day lets one work; the last is taken as it comes
        assert told["liquid"]["calendar"]["delay_d"] == 0


def test_the_estate_s_own_product_risk_and_costs_are_replayed(tmp_path: Path, record: str) -> None:
    folder = tmp_path / "estate"
    folder.mkdir()
    leaf = liquid(every_days=[28, 35], weather={"dry_for_h": 4, "wet_mm": 1.0})
    write_estate(
        folder, products=[leaf, granular(), combined()], risk={"cost_of_waiting": 4.0, "loss_if_washed_off": 40.0}
    )
    told = answer(folder, record, "--product", "leaf-feed")
    settings = told["settings"]
    assert (settings["dry_for_h"], settings["wet_mm"], settings["liquid_hold_days"]) == (4, 1.0, 7)
    assert settings["accepted_risk"] == pytest.approx(0.1)
    for policy in POLICIES:
        shown = told["liquid"][policy]
        cost = shown["washed_off"] * 40 + shown["delay_d"] * 4
        assert shown["cost_per_application"] == pytest.approx(cost, abs=0.01)
    text = run(folder, record, "--product", "leaf-feed").stdout
    saved = told["liquid"]["calendar"]["cost_per_application"] - told["liquid"]["ligule"]["cost_per_application"]
    assert f"{saved:.2f} saved" in text
    both = answer(folder, record, "--product", "leaf-feed", "--product", "spring-grain")
    first, last = granular()["every_days"]
    assert both["settings"]["granular_hold_days"] == last - first and both["settings"]["granular_early_days"] == 0
    assert both["liquid"]["ligule"]["washed_off"] <= both["liquid"]["calendar"]["washed_off"]
    assert run(folder, record, "--product", "three-in-one").exit_code == 2
    assert run(folder, record, "--product", "leef-feed").exit_code == 2
    assert run(folder, record, "--product", "leaf-feed", "--product", "leaf-feed").exit_code == 2


def test_the_season_may_go_over_the_turn_of_the_year(tmp_path: Path, record: str) -> None:
    assert answer(tmp_path, record, "--months", "9-2")["settings"]["months"] == [9, 10, 11, 12, 1, 2]
    april = answer(tmp_path, record, "--months", "4-4", "--hour", "14")
    assert 20 <= april["n"] <= 30 and april["settings"]["months"] == [4] and april["settings"]["hour"] == 14
    for wrong in ("3", "0-4", "3-13", "a-b"):
        assert run(tmp_path, record, "--months", wrong).exit_code == 2


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_picture_is_written(tmp_path: Path, record: str, kind: str) -> None:
    target = tmp_path / f"season.{kind}"
    result = run(tmp_path, record, "--picture", str(target))
    assert result.exit_code == 0, result.output
    assert target.read_bytes()[:5] in (b"\x89PNG\r", b"<?xml")


def short(rows: int) -> list[str]:
    return [f"{np.datetime64('2026-05-01T00') + k}:00,0" for k in range(rows)]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([*short(5), "2026-05-01T03:00,0"], ["row 7", "time", "given before"]),
        ([*short(5), "2026-05-01T06:30,0"], ["row 7", "time", "whole hours"]),
        ([*short(5), "2226-05-01T06:00,0"], ["row 7", "century"]),
        ([*short(5), "2026-05-01T06:00,-1"], ["row 7", "rain_mm", "-1"]),
        (short(200), ["too short"]),
        ([], ["no row"]),
    ],
)
def test_wrong_input_ends_in_2_and_names_the_place(tmp_path: Path, rows: list[str], said: list[str]) -> None:
    path = tmp_path / "hours.csv"
    path.write_text("\n".join(["time,rain_mm", *rows]))
    result = run(tmp_path, str(path))
    assert result.exit_code == 2
    assert result.stdout == "" and all(word in result.stderr for word in said)
