"""What `ligule why` tells of the feeds: whether they agree, and how the place corrects them."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from click.testing import CliRunner, Result

from adapters.cli.main import main
from adapters.store import open_store
from scheduler.verify.place import Learned
from scheduler.weather.calibration import Calibrated, Event
from tests.adapters.feeds.answers import body, met_norway_answer, open_meteo_answer, weather
from tests.adapters.feeds.answers_other import ensemble_answer
from tests.adapters.feeds.servers import Handler, Server, serving
from tests.builders import lawn, liquid, programme, write_estate

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
NOW = MIDNIGHT + timedelta(hours=5)
CELL = "51.48,-0.62"
WET = dict.fromkeys(range(24), 1.5)
STEPS = [{"product": "leaf-feed", "from": "04-01", "to": "09-30"}]
WHOLE = {
    "lawns": [lawn(irrigation="none")], "products": [liquid()], "programmes": [programme(steps=STEPS)],
    "timezone": "Europe/London",
}  # fmt: skip
Run = Callable[..., Result]


def met_norway(request: Handler, **fields: Any) -> None:
    table = weather(MIDNIGHT, 132, **fields)
    request.reply(body(met_norway_answer(table, issued=NOW - timedelta(hours=1))))


def open_meteo(request: Handler, **fields: Any) -> None:
    asked = parse_qs(urlsplit(request.path).query)
    table = weather(MIDNIGHT, 132, **fields)
    if urlsplit(request.path).path.endswith("ensemble"):
        request.reply(body(ensemble_answer(table, [table["rain_mm"]] * 10)))
    else:
        assert asked["latitude"] == ["51.48"]
        request.reply(body(open_meteo_answer(table)))


@pytest.fixture
def server() -> Iterator[Server]:
    """MET Norway says dry, Open-Meteo wet."""

    def answer(request: Handler) -> None:
        if "locationforecast" in request.path:
            met_norway(request)
        else:
            open_meteo(request, rain_mm={t + 5: 1.5 for t in range(20)}, chance={t + 5: 0.95 for t in range(20)})

    with serving(answer) as running:
        yield running


@pytest.fixture
def run(server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs `ligule why front leaf-feed` on an estate that trusts MET Norway first."""
    monkeypatch.setenv("LIGULE_ALLOW_LOCAL", "1")
    urls = {"met-norway": f"{server.url}/locationforecast", "open-meteo": f"{server.url}/v1/forecast"}
    feed = {"order": ["met-norway", "open-meteo"], "contact": "grounds@example.org", "urls": urls}
    write_estate(tmp_path, feed=feed, **WHOLE)

    def why(*words: str) -> Result:
        command = ["--estate", str(tmp_path), "why", "front", "leaf-feed", "--now", NOW.isoformat(), *words]
        return CliRunner().invoke(main, command, catch_exceptions=False)

    return why


def told(result: Result) -> dict[str, Any]:
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.output)
    return found


def test_only_the_first_feed_is_asked_unless_all_are_wanted(run: Run, server: Server) -> None:
    first = told(run("--json"))["agreement"]
    assert [(one["provider"], one["state"]) for one in first] == [("met-norway", "fresh"), ("open-meteo", "down")]
    assert "no forecast" in first[1]["why"]
    assert len(server.paths) == 1
    both = told(run("--json", "--all-feeds"))["agreement"]
    assert [one["state"] for one in both] == ["fresh", "fresh"]
    assert len(server.paths) == 2
    assert [one["verdict"] for one in told(run("--json"))["agreement"]] == ["go", "hold"]  # what is stored is used
    assert len(server.paths) == 2


def test_feeds_are_compared_for_one_start_and_window(run: Run) -> None:
    answer = told(run("--json", "--all-feeds"))
    dry, wet = answer["agreement"]
    assert dry["start"] == wet["start"] == answer["chance"]["start"] == answer["window"]["best"]
    assert dry["window_h"] == wet["window_h"] == 6
    assert (dry["rain_mm"], wet["rain_mm"]) == (0, 9.0)
    assert dry["chance"] == answer["chance"]["washed_off"] < 0.15 < wet["chance"]
    assert (dry["age_min"], wet["age_min"]) == (60, 0)
    assert dry["window"] == answer["window"]
    assert (wet["window"], wet["binding"]) == (None, "rain_after")


def test_the_text_shows_each_feed_within_80_columns_and_that_they_differ(run: Run) -> None:
    text = run("--all-feeds").output
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    dry = next(line for line in lines if "met-norway" in line and "▲" in line)
    assert "60 min ago" in dry
    assert "go 0" in dry
    wet = next(line for line in lines if "open-meteo" in line and "■" in line)
    assert "9 mm" in wet
    assert "rain after" in wet
    assert "do not agree" in text


def test_recorded_answers_are_compared_in_the_order_given(run: Run, tmp_path: Path) -> None:
    dry, wet = weather(MIDNIGHT, 132), weather(MIDNIGHT, 132, rain_mm=WET, chance=dict.fromkeys(range(24), 0.9))
    (tmp_path / "a.json").write_bytes(body(met_norway_answer(dry, issued=NOW)))
    (tmp_path / "b.json").write_bytes(body(open_meteo_answer(wet)))
    specs = [f"--forecast=open-meteo:{tmp_path / 'b.json'}", f"--forecast=met-norway:{tmp_path / 'a.json'}"]
    found = told(run("--json", *specs))
    assert found["verdict"] == "hold"
    assert [(one["provider"], one["verdict"]) for one in found["agreement"]] == [
        ("open-meteo", "hold"),
        ("met-norway", "go"),
    ]
    assert run("--all-feeds", *specs).exit_code == 2


def test_a_feed_that_fails_stands_there_with_its_reason(run: Run, server: Server) -> None:
    def answer(request: Handler) -> None:
        if "locationforecast" in request.path:
            met_norway(request)
        else:
            request.reply(b"busy", 503)

    server.behaviour = answer
    text = run("--all-feeds").output
    assert "answers 503" in next(line for line in text.splitlines() if "open-meteo" in line)
    assert "do not agree" not in text  # one that says nothing does not disagree


def test_the_feed_that_decided_is_shown_with_the_ensemble_that_it_was_given(
    run: Run, server: Server, tmp_path: Path
) -> None:
    feed = {
        "order": ["met-norway", "open-meteo"], "contact": "grounds@example.org", "ensemble": "invented",
        "urls": {"met-norway": f"{server.url}/locationforecast", "open-meteo": f"{server.url}/v1/forecast"},
    }  # fmt: skip
    write_estate(tmp_path, feed=feed, **WHOLE)
    answer = told(run("--json", "--all-feeds"))
    assert answer["verdict"] == "hold"  # the members are wet
    assert [one["method"] for one in answer["agreement"]] == ["members", "hourly probability"]
    assert answer["agreement"][0]["chance"] == answer["chance"]["washed_off"]


def test_a_calibrated_chance_is_shown_beside_the_feeds_own(run: Run, tmp_path: Path) -> None:
    plain = told(run("--json"))["chance"]
    assert (plain["calibrated_days"], plain["said"]) == (0, plain["washed_off"])
    fit = Calibrated(Event("met-norway", "hourly probability", 6, 0.5, 0), (0.0, 1.0), (0.07, 0.9), 131, 30)
    with open_store(tmp_path) as store:
        store.save_learned(CELL, [Learned(fit, True)], NOW)
    found = told(run("--json"))
    chance = found["chance"]
    assert chance["method"] == "hourly probability, calibrated here on 131 days"
    assert (chance["calibrated_days"], chance["washed_off"], chance["said"]) == (131, 0.07, plain["said"])
    assert found["agreement"][0]["chance"] == 0.07
    text = run().output
    assert "calibrated here on 131 days: 7 %" in " ".join(text.split())
    assert "the feed itself says below 1 %" in " ".join(text.split())
