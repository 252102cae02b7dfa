"""Chances as they were said, their outcomes, and what was learned, in the database."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from adapters.store import Store, open_store
from scheduler.verify.place import Learned
from scheduler.weather.calibration import Calibrated, Event, Said

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
HERE, THERE = "51.48,-0.62", "40.00,-90.00"
EVENT = Event("met-norway", "members", 6, 0.5, 0)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


def said(hours: int = 3, chance: float = 0.3, cell: str = HERE, event: Event = EVENT) -> Said:
    return Said(cell, event, NOW + hours * HOUR, chance, hours)


def test_of_several_chances_for_one_start_and_lead_the_first_stays(store: Store) -> None:
    tomorrow = Event("met-norway", "members", 6, 0.5, 1)
    store.say_chances([said(), said(chance=0.4, event=tomorrow)], NOW)
    store.say_chances([said(chance=0.9), said(9, 0.8)], NOW + HOUR)
    kept = store.undecided_chances(NOW, NOW + 24 * HOUR)
    assert sorted((x.start, x.event.lead_day, x.chance) for x in kept) == [
        (NOW + 3 * HOUR, 0, 0.3), (NOW + 3 * HOUR, 1, 0.4), (NOW + 9 * HOUR, 0, 0.8),
    ]  # fmt: skip


def test_a_chance_that_is_settled_becomes_a_pair_of_its_cell_and_event(store: Store) -> None:
    days = [said(24 * day, chance=day / 10) for day in range(4)]
    store.say_chances([*days, said(0, 0.9, THERE)], NOW)
    store.settle_chances([(days[2], 1), (days[0], 0)])
    assert {x.start for x in store.undecided_chances(NOW, NOW + 96 * HOUR) if x.cell == HERE} == {
        days[1].start,
        days[3].start,
    }
    (event, pairs) = next(iter(store.chance_pairs(HERE).items()))
    assert event == EVENT
    assert (pairs.chance.tolist(), pairs.outcome.tolist()) == ([0.0, 0.2], [0.0, 1.0])
    assert (pairs.day - pairs.day[0]).tolist() == [0, 2]
    assert store.chance_pairs(THERE) == {}


def test_old_chances_go_and_those_that_nobody_can_settle_go_sooner(store: Store) -> None:
    days = [said(24 * day) for day in range(5)]
    store.say_chances(days, NOW)
    store.settle_chances([(one, 0) for one in days[:2]])
    assert store.forget_chances(days[1].start, days[3].start) == 2
    assert len(store.chance_pairs(HERE)[EVENT].day) == 1
    assert {x.start for x in store.undecided_chances(NOW, NOW + 99 * HOUR)} == {days[3].start, days[4].start}


def test_what_a_cell_has_taught_comes_back_as_it_was_and_only_where_it_is_in_use(store: Store) -> None:
    x = tuple(0.1 + k / 3e9 for k in range(3))
    fit = Calibrated(EVENT, x, (0.0, 1 / 3, 1.0), 131, 30)
    other = Calibrated(Event("met-norway", "members", 24, 0.5, 0), (0.5,), (0.4,), 131, 30)
    store.save_learned(HERE, [Learned(fit, True), Learned(other, False)], NOW)
    store.save_learned(THERE, [Learned(other, True)], NOW + HOUR)
    assert store.learned() == {HERE: (fit,), THERE: (other,)}
    assert store.learned_at() == {HERE: NOW, THERE: NOW + HOUR}
    store.save_learned(HERE, [], NOW)
    assert store.learned() == {THERE: (other,)}


@pytest.mark.parametrize(
    "knots", ["", "[[0.1], [0.2, 0.3]]", "[[0.2, 0.1], [0, 1]]", '{"x": 1}', "[[0.1], [NaN]]", "7"]
)
def test_a_damaged_calibration_costs_nothing_but_itself(store: Store, knots: str) -> None:
    fit = Calibrated(EVENT, (0.5,), (0.4,), 131, 30)
    for cell in (HERE, THERE):
        store.save_learned(cell, [Learned(fit, True)], NOW)
    with store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE calibration SET knots = ? WHERE cell = ?", (knots, HERE))
    assert store.learned() == {THERE: (fit,)}
