"""Rain that has fallen: the best figure for each hour stays."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from adapters.store import Store, open_store
from scheduler.weather.past import FIRST_HOURS, LOOKED_BACK, OBSERVED, PastRain

HOUR = timedelta(hours=1)
START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + 4 * HOUR
HERE, THERE = "51.48,-0.62", "40.00,-90.00"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


def told(rain: list[float], grade: int, source: str = "met-norway", start: datetime = START) -> PastRain:
    return PastRain(source, start, np.array(rain), np.full(len(rain), grade))


def amounts(store: Store, **until: datetime) -> dict[int, tuple[float, str]]:
    return {(x.hour - START) // HOUR: (x.rain_mm, x.source) for x in store.observed(HERE, START, **until)}


def test_the_better_figure_stays_whatever_comes_first_or_last(store: Store) -> None:
    store.save_observed({HERE: told([1.0] * 4, FIRST_HOURS)}, NOW)
    store.save_observed({HERE: told([2.0] * 3, LOOKED_BACK, "open-meteo")}, NOW)
    store.save_observed({HERE: told([3.0], OBSERVED, "bright-sky")}, NOW)
    store.save_observed({HERE: told([9.0] * 4, FIRST_HOURS)}, NOW)
    store.save_observed({HERE: told([8.0], LOOKED_BACK, "open-meteo")}, NOW)
    assert amounts(store) == {
        0: (3.0, "bright-sky"),
        1: (2.0, "open-meteo"),
        2: (2.0, "open-meteo"),
        3: (9.0, "met-norway"),  # of two runs the later one
    }


def test_hours_that_are_not_over_are_not_told(store: Store) -> None:
    store.save_observed({HERE: told([1.0] * 12, FIRST_HOURS)}, NOW)
    assert set(amounts(store)) == {0, 1, 2, 3}
    assert set(amounts(store, until=NOW + HOUR)) == {0, 1, 2, 3, 4}
    assert set(amounts(store, until=NOW - timedelta(minutes=1))) == {0, 1, 2}


def test_hours_without_a_figure_leave_what_was_known(store: Store) -> None:
    store.save_observed({HERE: told([1.0, 1.0], LOOKED_BACK)}, NOW)
    empty = PastRain("open-meteo", START, np.array([np.nan, 5.0]), np.array([0, LOOKED_BACK]))
    store.save_observed({HERE: empty}, NOW)
    assert [mm for mm, _ in amounts(store).values()] == [1.0, 5.0]


def test_each_cell_has_its_own_hours_and_old_ones_go(store: Store) -> None:
    store.save_observed({HERE: told([1.0] * 4, OBSERVED), THERE: told([2.0], OBSERVED)}, NOW)
    assert [x.rain_mm for x in store.observed(THERE, START)] == [2.0]
    assert store.observed("0.00,0.00", START) == []
    assert store.forget_observed(START + 2 * HOUR) == 3
    assert set(amounts(store)) == {2, 3}
    assert store.observed(THERE, START) == []
