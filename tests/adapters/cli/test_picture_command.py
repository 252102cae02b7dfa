"""`ligule picture`, and the text strip of `ligule why`."""

import json
import unicodedata
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner, Result

from adapters.cli.main import main
from tests.adapters.feeds.answers import body, open_meteo_answer, weather
from tests.builders import lawn, write_estate

NOW = "2026-05-04T06:00+01:00"
MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `ligule` on a small estate in London time."""
    step = {"product": "leaf-feed", "from": "04-01", "to": "09-30"}
    write_estate(
        tmp_path / "estate", lawns=[lawn(irrigation="none", programme="one")],
        programmes=[{"id": "one", "hemisphere": "north", "steps": [step]}],
    )  # fmt: skip

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path / "estate"), *words], catch_exceptions=False)

    return invoke


@pytest.fixture
def spec(tmp_path: Path) -> str:
    """Showers at noon on the first day, hour by hour for five days."""
    wet = {"rain_mm": dict.fromkeys(range(12, 16), 1.2), "chance": dict.fromkeys(range(12, 16), 0.9)}
    path = tmp_path / "answer.json"
    path.write_bytes(body(open_meteo_answer(weather(MIDNIGHT, 120, **wet))))
    return f"open-meteo:{path}"


@pytest.mark.parametrize(("name", "begins"), [("a.png", b"\x89PNG"), ("a.SVG", b"<?xml")])
def test_a_picture_is_written(run: Run, tmp_path: Path, spec: str, name: str, begins: bytes) -> None:
    result = run("picture", "front", str(tmp_path / name), "--now", NOW, "--forecast", spec)
    assert result.exit_code == 0, result.output
    assert (tmp_path / name).read_bytes().startswith(begins)


@pytest.mark.parametrize("words", [("front", "a.jpg"), ("nowhere", "a.png"), ("front", "missing/a.png")])
def test_what_cannot_be_drawn_is_refused_before_anything_is_written(
    run: Run, tmp_path: Path, spec: str, words: tuple[str, str]
) -> None:
    result = run("picture", words[0], str(tmp_path / words[1]), "--now", NOW, "--forecast", spec)
    assert result.exit_code == 2
    assert "allowed" in result.output or "does not exist" in result.output
    assert not (tmp_path / words[1]).exists()


def test_a_picture_without_a_decision_ends_with_4(run: Run, tmp_path: Path, spec: str) -> None:
    path = tmp_path / "a.png"
    result = run("picture", "front", str(path), "--now", "2026-05-14T06:00+01:00", "--forecast", spec)
    assert result.exit_code == 4
    assert path.exists(), "it says that there is no data"


def test_the_strip_of_why_shows_the_same_verdicts_as_its_hours(run: Run, spec: str) -> None:
    asked = ("why", "front", "leaf-feed", "--now", NOW, "--forecast", spec, "--hours", "200")
    hours = json.loads(run(*asked, "--json").output)["hours"]
    text = run(*asked).output
    assert max(width(row) for row in text.splitlines()) <= 80
    zone, sign = ZoneInfo("Europe/London"), {"go": "▲", "hold": "■", "unknown": "?"}
    rows = {row[:11].strip(): row for row in text.splitlines() if len(row) > 68 and row[43] == " "}
    seen = set()
    for hour in hours:
        local = datetime.fromisoformat(hour["start"]).astimezone(zone)
        row = rows.get(f"{local:%a} {local.day} {local:%b}")
        if row is None:  # beyond the five days of the strip
            continue
        worked = not {"hours", "daylight"} & set(hour["stopped_by"])
        assert row[44 + local.hour] == (sign[hour["verdict"]] if worked else "·"), (hour["start"], row)
        seen.add(row[44 + local.hour])
        wet = (hour["rain_mm"] or 0) >= 1.0
        assert (row[11 + local.hour] == "▄") is wet, (hour["start"], row)
    assert {"▲", "■", "·"} <= seen


def width(text: str) -> int:
    """Columns of a terminal."""
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
