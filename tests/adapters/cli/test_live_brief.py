"""`ligule brief` against a feed on this machine: good, down, broken, old."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from adapters.cli.main import main
from tests.adapters.feeds.answers import body, met_norway_answer, open_meteo_answer, weather
from tests.adapters.feeds.answers_other import ensemble_answer
from tests.adapters.feeds.servers import Handler, Server, serving
from tests.builders import lawn, write_estate

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
NOW = MIDNIGHT + timedelta(hours=5)
Answer = Callable[[Handler], object]


def good(request: Handler) -> None:
    """A mild dry spell, issued at 04:00 UTC."""
    request.reply(body(met_norway_answer(weather(MIDNIGHT, 132), issued=MIDNIGHT + timedelta(hours=4))))


def old(request: Handler) -> None:
    """The same, issued seven hours before."""
    request.reply(body(met_norway_answer(weather(MIDNIGHT, 132), issued=NOW - timedelta(hours=7))))


FAULTS: dict[str, Answer] = {
    "500": lambda request: request.reply(b"{}", 500),
    "503": lambda request: request.reply(b"busy", 503),
    "429": lambda request: request.reply(b"{}", 429, Retry_After="86400"),
    "html": lambda request: request.reply(b"<html><body>maintenance</body></html>"),
    "truncated": lambda request: request.reply(body(met_norway_answer(weather(MIDNIGHT, 132)))[:5000]),
    "nan": lambda request: request.reply(b'{"type":"Feature","properties":{"timeseries":[NaN]}}'),
    "redirect": lambda request: request.reply(b"", 302, Location="http://127.0.0.1:1/"),
    "old": old,
}


@pytest.fixture
def server() -> Iterator[Server]:
    """A feed that behaves as the test says."""
    with serving(good) as running:
        yield running


@pytest.fixture
def brief(server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., dict[str, Any]]:
    """Runs `ligule brief --json` at an instant."""
    monkeypatch.setenv("LIGULE_ALLOW_LOCAL", "1")
    feed = {"order": ["met-norway"], "contact": "grounds@example.org", "urls": {"met-norway": server.url}}
    near = [lawn(id="front"), lawn(id="back", latitude=51.4815, longitude=-0.6165)]
    write_estate(tmp_path, timezone="Europe/London", feed=feed, lawns=near)

    def run(now: datetime = NOW) -> dict[str, Any]:
        words = ["--estate", str(tmp_path), "brief", "--now", now.isoformat(), "--json"]
        result = CliRunner().invoke(main, words, catch_exceptions=False)
        told = json.loads(result.output)
        verdicts = {line["verdict"] for line in told["lines"]}
        assert result.exit_code == (4 if verdicts == {"unknown"} else 0)
        return {"verdicts": verdicts, **told["feeds"][0]}

    return run


def test_lawns_of_one_cell_share_one_request_and_a_second_look_makes_none(
    brief: Callable[..., Any], server: Server
) -> None:
    first = brief()
    assert (first["state"], first["age_min"]) == ("fresh", 60)
    assert "go" in first["verdicts"]
    assert brief()["state"] == "fresh"
    assert len(server.paths) == 1
    assert "grounds@example.org" in server.seen[0]["user-agent"]
    asked = server.paths[0].partition("?")[2]
    assert all(len(number.partition(".")[2]) <= 4 for number in (part.partition("=")[2] for part in asked.split("&")))


@pytest.mark.parametrize("fault", FAULTS)
def test_a_feed_that_fails_from_the_start_is_unknown(brief: Callable[..., Any], server: Server, fault: str) -> None:
    server.behaviour = FAULTS[fault]
    told = brief()
    assert told["verdicts"] == {"unknown"}
    assert told["state"] in ("down", "stale")
    assert told["why"]


@pytest.mark.parametrize("fault", FAULTS)
def test_the_last_good_forecast_serves_with_its_age_and_never_past_six_hours(
    brief: Callable[..., Any], server: Server, fault: str
) -> None:
    assert "go" in brief()["verdicts"]
    server.behaviour = FAULTS[fault]
    later = brief(NOW + timedelta(hours=4, minutes=50))  # issued 5 h 50 min ago
    assert (later["state"], later["age_min"]) == ("fresh", 350)
    assert "go" in later["verdicts"]
    past = brief(NOW + timedelta(hours=5, minutes=10))
    assert past["state"] == "stale"
    assert past["verdicts"] == {"unknown"}


def test_whoever_asks_again_after_a_passing_fault_gets_an_answer(brief: Callable[..., Any], server: Server) -> None:
    server.behaviour = FAULTS["500"]
    assert brief()["verdicts"] == {"unknown"}
    server.behaviour = good
    assert "go" in brief()["verdicts"]


def test_a_feed_that_said_wait_is_left_alone(brief: Callable[..., Any], server: Server) -> None:
    server.behaviour = FAULTS["429"]
    brief()
    brief(NOW + timedelta(minutes=10))
    assert len(server.paths) == 1


def test_the_free_open_meteo_host_is_refused_for_business(tmp_path: Path) -> None:
    write_estate(tmp_path, feed={"order": ["open-meteo"], "contact": "grounds@example.org"})
    result = CliRunner().invoke(main, ["--estate", str(tmp_path), "brief"])
    assert result.exit_code == 2
    assert "non_commercial" in result.output


def test_an_own_open_meteo_host_serves_many_cells_with_one_request(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIGULE_ALLOW_LOCAL", "1")
    places = [(51.48, -0.62), (52.2, 0.12), (53.1, -1.5)]
    answers = [
        open_meteo_answer(weather(MIDNIGHT - timedelta(days=2), 240), latitude=a, longitude=b) for a, b in places
    ]
    server.behaviour = lambda request: request.reply(json.dumps(answers).encode())
    feed = {"order": ["open-meteo"], "urls": {"open-meteo": f"{server.url}/v1"}}
    rows = [lawn(id=f"l{i}", latitude=a, longitude=b) for i, (a, b) in enumerate(places)]
    write_estate(tmp_path, timezone="Europe/London", feed=feed, lawns=rows)
    words = ["--estate", str(tmp_path), "brief", "--now", NOW.isoformat(), "--json"]
    told = json.loads(CliRunner().invoke(main, words, catch_exceptions=False).output)
    assert [one["state"] for one in told["feeds"]] == ["fresh"] * 3
    assert len(server.paths) == 1


def test_an_ensemble_named_in_the_settings_decides_by_its_members(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIGULE_ALLOW_LOCAL", "1")
    table = weather(MIDNIGHT - timedelta(days=2), 240)
    wet = [1.0 if 48 + 8 <= t < 48 + 22 else 0.0 for t in range(240)]
    members = ensemble_answer(table, members=[wet] * 12 + [[0.0] * 240] * 8)

    def behave(request: Handler) -> None:
        path = request.path.partition("?")[0]
        request.reply(body(members if path.endswith("/ensemble") else open_meteo_answer(table)))

    server.behaviour = behave
    feed = {"order": ["open-meteo"], "urls": {"open-meteo": f"{server.url}/v1"}, "ensemble": "some_model"}
    write_estate(tmp_path, timezone="Europe/London", feed=feed)
    words = ["--estate", str(tmp_path), "why", "front", "leaf-feed", "--now", NOW.isoformat(), "--json"]
    told = json.loads(CliRunner().invoke(main, words, catch_exceptions=False).output)
    assert told["chance"]["method"].startswith("members")
    assert (told["verdict"], told["binding"]) == ("hold", "rain_after")  # the single run is dry, 12 of 20 members wet
    noon = next(hour for hour in told["hours"] if hour["start"] == "2026-05-04T09:00:00Z")
    chance = next(limit for limit in noon["limits"] if limit["name"] == "rain_after" and limit["unit"] == "1")
    assert chance["value"] == pytest.approx(0.6)
