"""`ligule verify` as a user runs it."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scores.probability as reference
import xarray as xr
from click.testing import CliRunner, Result

from adapters.cli.verify import verify


def run(*words: str) -> Result:
    return CliRunner().invoke(verify, list(words), catch_exceptions=False)


def pairs(folder: Path, years: tuple[int, ...] = (2024, 2025), members: int = 0, seed: int = 4) -> Path:
    """An invented file of over-forecast chances, with some gaps."""
    draw = np.random.default_rng(seed)
    names = [f"member_{k + 1}" for k in range(members)] if members else ["probability"]
    path = folder / "pairs.csv"
    with path.open("w", newline="") as file:
        sheet = csv.writer(file)
        sheet.writerow(["valid", "observed_mm", *names])
        for year in years:
            for day in range(300):
                p = draw.random()
                when = f"{np.datetime64(f'{year}-01-01') + day}T09:00Z"
                observed = round(draw.exponential(3.0), 1) + 0.5 if draw.random() < 0.6 * p else 0.0
                if members:
                    told = [round(draw.exponential(2.0) + 0.5, 2) if draw.random() < p else 0.0 for _ in names]
                else:
                    told = [round(p, 3)]
                sheet.writerow([when, "" if day == 7 else observed, *told])
    return path


def answer(*words: str) -> dict[str, Any]:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    told: dict[str, Any] = json.loads(result.stdout)
    return told


def test_scores_of_probabilities_equal_the_scores_library(tmp_path: Path) -> None:
    path = pairs(tmp_path)
    told = answer(str(path), "--threshold-mm", "0.5")
    rows = [row for row in csv.DictReader(path.read_text().splitlines()) if row["observed_mm"]]
    p = xr.DataArray([float(row["probability"]) for row in rows], dims="t")
    o = xr.DataArray([float(float(row["observed_mm"]) >= 0.5) for row in rows], dims="t")
    assert told["schema"] == 1 and told["n"] == len(rows) == 598 and told["rows"] == 600
    assert told["brier"] == pytest.approx(float(reference.brier_score(p, o)), abs=1e-9)
    assert told["base_rate"] == pytest.approx(float(o.mean()), abs=1e-9)
    assert told["brier_climate"] == pytest.approx(float(o.mean() * (1 - o.mean())), abs=1e-9)
    assert told["skill"] == pytest.approx(1 - told["brier"] / told["brier_climate"], abs=1e-9)
    for ratio, value in told["value"].items():
        expected = reference.relative_economic_value(
            p, o, cost_loss_ratios=[float(ratio)], probability_thresholds=[float(ratio)]
        )
        assert value == pytest.approx(float(expected.squeeze()), abs=1e-9)
    assert {"0.05", "0.2"} <= set(told["value"])
    assert sum(row["n"] for row in told["reliability"]) == 598
    assert told["calibrated"]["left_out"] == "year"
    assert told["calibrated"]["brier"] < told["brier"] and told["calibrated"]["skill"] > told["skill"]


def test_members_are_counted_at_the_threshold(tmp_path: Path) -> None:
    path = pairs(tmp_path, members=10)
    told = answer(str(path), "--threshold-mm", "1.0")
    rows = [row for row in csv.DictReader(path.read_text().splitlines()) if row["observed_mm"]]
    p = np.array([np.mean([float(row[f"member_{k}"]) >= 1.0 for k in range(1, 11)]) for row in rows])
    o = np.array([float(row["observed_mm"]) >= 1.0 for row in rows])
    assert told["brier"] == pytest.approx(np.mean((p - o) ** 2), abs=1e-9)
    assert told["threshold_mm"] == 1.0


def test_a_fifth_of_the_members_may_be_missing(tmp_path: Path) -> None:
    path = tmp_path / "few.csv"
    heading = "valid,observed_mm," + ",".join(f"member_{k}" for k in range(1, 6))
    path.write_text(
        f"{heading}\n2025-01-01T00:00Z,1,1,1,1,0,\n2025-01-02T00:00Z,0,0,0,0,,\n2025-02-02T00:00Z,0,0,0,0,0,0\n"
    )
    told = answer(str(path), "--threshold-mm", "0.5")
    assert told["n"] == 2
    assert told["brier"] == pytest.approx((0.75 - 1) ** 2 / 2)


def test_one_year_is_calibrated_by_months_and_one_month_not_at_all(tmp_path: Path) -> None:
    assert answer(str(pairs(tmp_path, years=(2025,))), "--threshold-mm", "0.5")["calibrated"]["left_out"] == "month"
    path = tmp_path / "month.csv"
    path.write_text("valid,observed_mm,probability\n2025-01-01T00:00Z,1,0.8\n2025-01-02T00:00Z,0,0.1\n")
    told = answer(str(path), "--threshold-mm", "0.5")
    assert told["calibrated"] is None and told["skill"] == pytest.approx(1 - (0.04 + 0.01) / 2 / 0.25)


def test_what_never_varies_has_no_skill_and_says_so(tmp_path: Path) -> None:
    path = tmp_path / "dry.csv"
    path.write_text("valid,observed_mm,probability\n2025-01-01T00:00Z,0,0.1\n2025-02-02T00:00Z,0,0.1\n")
    told = answer(str(path), "--threshold-mm", "0.5")
    assert told["skill"] is None and told["value"]["0.2"] is None
    assert run(str(path), "--threshold-mm", "0.5").exit_code == 0


def test_people_read_the_same_numbers(tmp_path: Path) -> None:
    path = pairs(tmp_path)
    told, text = answer(str(path), "--threshold-mm", "0.5"), run(str(path), "--threshold-mm", "0.5").stdout
    assert f"{told['brier']:.4f}" in text and f"{told['skill']:.3f}" in text
    assert all(len(line) <= 80 for line in text.splitlines())


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_picture_is_written(tmp_path: Path, kind: str) -> None:
    target = tmp_path / f"out.{kind}"
    result = run(str(pairs(tmp_path)), "--threshold-mm", "0.5", "--picture", str(target))
    assert result.exit_code == 0, result.output
    assert target.read_bytes()[:5] in (b"\x89PNG\r", b"<?xml")


@pytest.mark.parametrize(
    ("content", "words", "said"),
    [
        ("valid,observed_mm,probability\n2025-01-01T00:00Z,1,60\n", [], ["row 2", "probability", "60"]),
        ("valid,observed_mm,probability\n2025-01-01T00:00Z,-1,0.6\n", [], ["row 2", "observed_mm", "-1"]),
        ("valid,probability\n2025-01-01T00:00Z,0.6\n", [], ["observed_mm"]),
        ("valid,observed_mm\n2025-01-01T00:00Z,1\n", [], ["probability", "member_1"]),
        ("valid,observed_mm,probability,member_1\n2025-01-01T00:00Z,1,0.5,1\n", [], ["one of the two"]),
        ("valid,observed_mm,probability\n2025-01-01T00:00Z,,0.6\n", [], ["no pair"]),
        ("valid,observed_mm,probability\n2025-01-01T00:00Z,1,0.6\n", ["--picture", "x.gif"], [".png"]),
        ("valid,observed_mm,probability\n2025-01-01T00:00Z,1,0.6\n", ["--picture", "no/x.png"], ["folder"]),
    ],
)
def test_wrong_input_ends_in_2_and_names_the_place(
    tmp_path: Path, content: str, words: list[str], said: list[str]
) -> None:
    path = tmp_path / "pairs.csv"
    path.write_text(content)
    result = run(str(path), "--threshold-mm", "0.5", *words)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert all(word in result.stderr for word in said)


def test_a_threshold_must_be_an_amount(tmp_path: Path) -> None:
    for wrong in ("0", "-1", "nan", "inf", "wet"):
        assert run(str(pairs(tmp_path)), "--threshold-mm", wrong).exit_code == 2
