"""Damaged answers all the way to the verdict: what is missing never opens an hour that the whole answer closed."""

import copy
import json
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from adapters.feeds.registry import feed_named
from config.models import Estate
from scheduler.morning import brief_for
from scheduler.ports import FeedUnusable
from scheduler.values import CellWeather, Line
from scheduler.weather.cells import cell_of
from scheduler.weather.forecast import HOUR
from scheduler.weather.trust import judge_age
from tests.adapters.feeds.answers import LATITUDE, LONGITUDE, Weather, met_norway_answer, open_meteo_answer, weather
from tests.builders import build_estate, lawn, liquid

MIDNIGHT = datetime(2026, 5, 4, tzinfo=UTC)
NOW = MIDNIGHT + 5 * HOUR
Answer = dict[str, Any]


@pytest.fixture(scope="module")
def estate(tmp_path_factory: pytest.TempPathFactory) -> Estate:
    """One lawn, one liquid, London time."""
    steps = [{"product": "leaf-feed", "from": "04-01", "to": "09-30"}]
    return build_estate(
        tmp_path_factory.mktemp("estate"), timezone="Europe/London", products=[liquid()],
        lawns=[lawn(irrigation="none", programme="p", latitude=LATITUDE, longitude=LONGITUDE)],
        programmes=[{"id": "p", "hemisphere": "north", "steps": steps}],
    )  # fmt: skip


def line_of(estate: Estate, provider: str, answer: Answer) -> Line | None:
    """The verdict on an answer; None where the parser refuses it."""
    cell = cell_of(LATITUDE, LONGITUDE)
    try:
        told = feed_named(provider).parse(
            json.dumps(answer).encode(), latitude=LATITUDE, longitude=LONGITUDE, received=NOW
        )
    except FeedUnusable:
        return None
    at: dict[str, CellWeather] = {cell: judge_age(cell, told, NOW, 6.0)}
    return brief_for(estate, None, NOW, at, []).lines[0]


def spell(rng: random.Random) -> Weather:
    """A day with a shower somewhere, dew, and some wind."""
    first, length = rng.randint(0, 30), rng.randint(1, 8)
    wet = range(first, first + length)
    amount = rng.choice([0.3, 1.0, 5.0])
    windy = range(rng.randint(0, 24), rng.randint(25, 40))
    return weather(
        MIDNIGHT, 120, rain_mm=dict.fromkeys(wet, amount), chance=dict.fromkeys(wet, 0.95),
        wind_m_s=dict.fromkeys(windy, rng.choice([3.0, 7.0])),
        humidity_pct=dict.fromkeys(range(8), rng.choice([70.0, 96.0])),
    )  # fmt: skip


def damage_met(answer: Answer, rng: random.Random) -> None:
    """One fault of a kind that has been seen: steps missing, values missing or null, an answer cut short."""
    steps = answer["properties"]["timeseries"]
    at = rng.randrange(30)
    match rng.choice(["drop", "null", "no chance", "no amount", "no instant", "short"]):
        case "drop":
            del steps[at : at + rng.randint(1, 3)]
        case "null":
            for step in steps[at : at + 3]:
                step["data"].get("next_1_hours", {}).get("details", {})["precipitation_amount"] = None
        case "no chance":
            for step in steps[at : at + 4]:
                step["data"].get("next_1_hours", {}).get("details", {}).pop("probability_of_precipitation", None)
        case "no amount":
            for step in steps[at : at + 4]:
                step["data"].get("next_1_hours", {}).get("details", {}).pop("precipitation_amount", None)
        case "no instant":
            for step in steps[at : at + 3]:
                step["data"]["instant"]["details"].pop(
                    rng.choice(["wind_speed", "relative_humidity", "air_temperature"]), None
                )
        case "short":
            del steps[rng.randint(3, 20) :]


def damage_open_meteo(answer: Answer, rng: random.Random) -> None:
    """Nulls in one or several columns, or an answer cut short."""
    hourly = answer["hourly"]
    at, length = rng.randrange(1, 30), rng.randint(1, 5)
    if rng.random() < 0.2:
        keep = rng.randint(8, 25)
        for name in hourly:
            hourly[name] = hourly[name][:keep]
        return
    names = [name for name in hourly if name != "time"]
    for name in rng.sample(names, rng.randint(1, 4)):
        hourly[name][at : at + length] = [None] * length


@pytest.mark.parametrize("provider", ["met-norway", "open-meteo"])
def test_no_damage_opens_an_hour_that_the_whole_answer_closed(estate: Estate, provider: str, tmp_path: Path) -> None:
    rng = random.Random(11)
    seen = {"go": 0, "hold": 0, "unknown": 0, "refused": 0}
    for _ in range(350):
        table = spell(rng)
        issued = MIDNIGHT + timedelta(hours=4)
        whole = open_meteo_answer(table) if provider == "open-meteo" else met_norway_answer(table, issued=issued)
        spoilt = copy.deepcopy(whole)
        (damage_open_meteo if provider == "open-meteo" else damage_met)(spoilt, rng)
        before, after = line_of(estate, provider, whole), line_of(estate, provider, spoilt)
        assert before is not None
        seen[after.verdict if after else "refused"] += 1
        if after is not None and after.window is not None:
            assert before.window is not None
            assert before.window.start <= after.window.start
            rain = table["rain_mm"]
            first, end = ((when - MIDNIGHT) // HOUR for when in (after.window.start, after.window.end))
            assert all(sum(rain[t : t + 6]) < 0.5 for t in range(first, end))  # type: ignore[arg-type]
    assert min(seen["go"], seen["hold"], seen["unknown"]) > 10
