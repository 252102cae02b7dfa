"""The brief and its reasons from recorded answers, as a user runs them."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from adapters.cli.main import main
from tests.adapters.feeds.answers import Weather, body, met_norway_answer, open_meteo_answer, weather
from tests.builders import lawn, write_estate

NOW = "2026-05-04T06:00+01:00"
MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs `ligule` on a small estate in London time."""
    steps = [
        {"product": "leaf-feed", "from": "04-01", "to": "09-30"},
        {"product": "spring-grain", "from": "04-10", "to": "09-30"},
    ]
    write_estate(
        tmp_path, timezone="Europe/London", lawns=[lawn(irrigation="none", programme="both")],
        programmes=[{"id": "both", "hemisphere": "north", "steps": steps}],
    )  # fmt: skip

    def invoke(*words: str) -> Result:
        return CliRunner().invoke(main, ["--estate", str(tmp_path), *words], catch_exceptions=False)

    return invoke


def forecasts(folder: Path, table: Weather) -> dict[str, str]:
    """The same weather as an Open-Meteo and as a MET Norway answer: provider -> --forecast argument."""
    answers = {
        "open-meteo": open_meteo_answer(table),
        "met-norway": met_norway_answer(table, issued=MIDNIGHT + timedelta(hours=4)),
    }
    found = {}
    for provider, answer in answers.items():
        path = folder / f"{provider}.json"
        path.write_bytes(body(answer))
        found[provider] = f"{provider}:{path}"
    return found


def brief(run: Run, spec: str) -> dict[str, Any]:
    result = run("brief", "--now", NOW, "--forecast", spec, "--json")
    assert result.exit_code in (0, 4), result.output
    told = json.loads(result.output)
    assert told["schema"] == 1
    return {line["product"]: line for line in told["lines"]}


SPELLS = {
    "dry": {},
    "rain at noon": {"rain_mm": dict.fromkeys(range(12, 16), 1.2), "chance": dict.fromkeys(range(12, 16), 0.9)},
    "light rain tomorrow": {"rain_mm": dict.fromkeys(range(30, 38), 0.6), "chance": dict.fromkeys(range(30, 38), 0.9)},
    "a downpour tomorrow": {"rain_mm": dict.fromkeys(range(30, 36), 5.0), "chance": dict.fromkeys(range(30, 36), 0.95)},
    "wind": {"wind_m_s": 8.0, "gust_m_s": 13.0},
    "dew until nine": {"humidity_pct": dict.fromkeys(range(9), 96.0)},
}


@pytest.mark.parametrize("spell", SPELLS, ids=str)
def test_the_same_weather_from_either_feed_gives_the_same_verdicts(run: Run, tmp_path: Path, spell: str) -> None:
    specs = forecasts(tmp_path, weather(MIDNIGHT, 132, **SPELLS[spell]))
    first, second = brief(run, specs["open-meteo"]), brief(run, specs["met-norway"])
    assert first.keys() == second.keys() == {"leaf-feed", "spring-grain"}
    for product, line in first.items():
        other = second[product]
        assert (line["verdict"], line["window"], line["binding"]) == (
            other["verdict"],
            other["window"],
            other["binding"],
        )
        assert (line["next_window"] is None) == (other["next_window"] is None)


@pytest.mark.parametrize("provider", ["open-meteo", "met-norway"])
def test_rain_shifted_by_an_hour_moves_the_window_by_an_hour(run: Run, tmp_path: Path, provider: str) -> None:
    ends = []
    for first in (15, 16, 17):
        wet = range(first, first + 4)
        table = weather(MIDNIGHT, 132, rain_mm=dict.fromkeys(wet, 1.5), chance=dict.fromkeys(wet, 0.95))
        ends.append(brief(run, forecasts(tmp_path, table)[provider])["leaf-feed"]["window"]["end"])
    assert ends == ["2026-05-04T09:00:00Z", "2026-05-04T10:00:00Z", "2026-05-04T11:00:00Z"]


def test_a_go_line_says_what_a_person_needs(run: Run, tmp_path: Path) -> None:
    line = brief(run, forecasts(tmp_path, weather(MIDNIGHT, 132))["met-norway"])["leaf-feed"]
    assert line["verdict"] == "go"
    assert line["window"]["start"] == "2026-05-04T06:00:00Z"
    assert line["job"]["product_ml"] == 420
    assert line["job"]["water_l"] == 7.2
    assert line["chance"]["window_h"] == 6
    assert line["chance"]["wet_mm"] == 0.5
    assert 0 <= line["chance"]["washed_off"] <= 0.15
    assert all(limit["source"] for limit in line["limits"])
    assert line["cautions"]
    assert set(line["due"]) == {"earliest", "target", "latest"}


def test_an_old_answer_is_unknown_and_the_command_says_so(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "old.json"
    path.write_bytes(body(met_norway_answer(weather(MIDNIGHT, 132), issued=MIDNIGHT - timedelta(hours=2))))
    result = run("brief", "--now", NOW, "--forecast", f"met-norway:{path}", "--json")
    told = json.loads(result.output)
    assert result.exit_code == 4
    assert {line["verdict"] for line in told["lines"]} == {"unknown"}
    assert [feed["state"] for feed in told["feeds"]] == ["stale"]
    assert told["feeds"][0]["age_min"] == 7 * 60


def test_an_estate_may_accept_an_older_forecast_but_never_without_bound(tmp_path: Path) -> None:
    def verdicts(oldest_h: int, age_h: int) -> set[str]:
        feed = {"order": ["met-norway"], "contact": "grounds@example.org", "oldest_h": oldest_h}
        write_estate(tmp_path, timezone="Europe/London", feed=feed)
        path = tmp_path / "old.json"
        issued = MIDNIGHT + timedelta(hours=5 - age_h)
        path.write_bytes(body(met_norway_answer(weather(MIDNIGHT, 132), issued=issued)))
        words = ["--estate", str(tmp_path), "brief", "--now", NOW, "--forecast", f"met-norway:{path}", "--json"]
        result = CliRunner().invoke(main, words, catch_exceptions=False)
        return (
            {line["verdict"] for line in json.loads(result.output)["lines"]} if result.exit_code != 2 else {"refused"}
        )

    assert verdicts(12, 10) != {"unknown"}
    assert verdicts(12, 13) == {"unknown"}
    assert verdicts(3, 4) == {"unknown"}
    assert verdicts(24, 4) == {"refused"}


@pytest.mark.parametrize(
    "spoilt",
    [b"", b"<html><body>busy</body></html>", b'{"type":"Feature","properties"', b'{"latitude":nan}', b"[" * 5000,
     b"\xff\xfe\x00"],
    ids=["empty", "html", "truncated", "nan", "deep", "bytes"],
)  # fmt: skip
@pytest.mark.parametrize("provider", ["open-meteo", "met-norway"])
def test_an_answer_that_cannot_be_used_is_unknown_never_a_go(
    run: Run, tmp_path: Path, provider: str, spoilt: bytes
) -> None:
    path = tmp_path / "spoilt.json"
    path.write_bytes(spoilt)
    result = run("brief", "--now", NOW, "--forecast", f"{provider}:{path}", "--json")
    told = json.loads(result.output)
    assert result.exit_code == 4
    assert {line["verdict"] for line in told["lines"]} == {"unknown"}
    assert told["feeds"][0]["why"]


@pytest.mark.parametrize("spec", ["met-norway:missing.json", "nowhere:x.json", "met-norway", "met-norway:."])
def test_a_mistyped_forecast_ends_with_one_message(run: Run, spec: str) -> None:
    result = run("brief", "--now", NOW, "--forecast", spec)
    assert result.exit_code == 2
    assert "Traceback" not in result.output
    assert len(result.output.strip().splitlines()) == 1


@pytest.mark.parametrize(
    "when", ["yesterday", "2026-05-04T06:00", "2026-13-01T00:00Z", "0001-01-01T00:00Z", "9999-12-31T23:59Z"]
)
def test_a_time_that_is_none_or_has_no_offset_is_refused(run: Run, when: str) -> None:
    assert run("brief", "--now", when).exit_code == 2


def test_why_lists_every_hour_with_every_limit_and_its_source(run: Run, tmp_path: Path) -> None:
    wet = range(12, 16)
    table = weather(MIDNIGHT, 132, rain_mm=dict.fromkeys(wet, 1.2), chance=dict.fromkeys(wet, 0.9))
    spec = forecasts(tmp_path, table)["met-norway"]
    result = run("why", "front", "leaf-feed", "--now", NOW, "--forecast", spec, "--json")
    told = json.loads(result.output)
    assert len(told["hours"]) == 48
    assert {hour["verdict"] for hour in told["hours"]} >= {"go", "hold"} or told["verdict"] == "hold"
    names = {limit["name"] for limit in told["hours"][0]["limits"]}
    assert names >= {
        "rain_after",
        "wind",
        "gust",
        "temperature",
        "frost",
        "leaf",
        "ground",
        "daylight",
        "hours",
        "inversion",
    }
    assert all(limit["source"] for hour in told["hours"] for limit in hour["limits"])
    noon = next(hour for hour in told["hours"] if hour["start"] == "2026-05-04T10:00:00Z")
    assert "rain_after" in noon["stopped_by"]


def test_why_and_brief_agree(run: Run, tmp_path: Path) -> None:
    wet = range(15, 19)
    table = weather(MIDNIGHT, 132, rain_mm=dict.fromkeys(wet, 1.2), chance=dict.fromkeys(wet, 0.9))
    spec = forecasts(tmp_path, table)["open-meteo"]
    line = brief(run, spec)["leaf-feed"]
    hours = json.loads(run("why", "front", "leaf-feed", "--now", NOW, "--forecast", spec, "--json").output)["hours"]
    good = [hour["start"] for hour in hours if hour["verdict"] == "go" and hour["start"].startswith("2026-05-04")]
    assert good[0] == line["window"]["start"]
    assert len(good) == 3  # 06, 07, 08 UTC: six hours before the rain at 15


@pytest.mark.parametrize("command", ["brief", "why front leaf-feed", "plan", "mix leaf-feed --area-m2 120"])
def test_text_fits_a_terminal_of_eighty_columns(run: Run, tmp_path: Path, command: str) -> None:
    words = command.split()
    spec = forecasts(tmp_path, weather(MIDNIGHT, 132, rain_mm={20: 3.0}))["met-norway"]
    if words[0] in ("brief", "why"):
        words += ["--now", NOW, "--forecast", spec]
    result = run(*words)
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.output.splitlines()) <= 80


def test_an_unknown_lawn_names_the_nearest(run: Run) -> None:
    result = run("why", "frotn", "leaf-feed")
    assert result.exit_code == 2
    assert "front" in result.output


@pytest.mark.parametrize("area", ["0", "-3", "nan", "inf", "1e308", "a lot"])
def test_an_area_that_is_none_is_refused(run: Run, area: str) -> None:
    result = run("mix", "leaf-feed", "--area-m2", area)
    assert result.exit_code == 2
    assert "Traceback" not in result.output
