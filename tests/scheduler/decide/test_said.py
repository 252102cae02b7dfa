"""Which chances are noted in the morning, and that a calibration reaches the decision."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from config.models import Estate
from scheduler.decide.said import chances_said, is_morning
from scheduler.decide.verdict import Judged
from scheduler.morning import Desk
from scheduler.values import CellWeather
from scheduler.weather.calibration import Calibrated, Event
from tests.builders import build_estate, lawn, liquid, programme
from tests.weather import mild

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
HERE = "51.48,-0.62"


@pytest.fixture
def estate(tmp_path: Path) -> Estate:
    return build_estate(tmp_path, lawns=[lawn(), lawn(id="back", latitude=51.4822)], timezone="Europe/London")


def weather(chance: float | np.ndarray = 0.3) -> dict[str, CellWeather]:
    """Four days from midnight on, issued an hour ago."""
    forecast = mild(NOW - timedelta(hours=5), 96, chance=chance).with_(issued=NOW - timedelta(hours=1))
    return {HERE: CellWeather(HERE, forecast, "fresh")}


def test_each_cells_windows_are_noted_once_for_two_starts_of_today_and_tomorrow(estate: Estate) -> None:
    said = chances_said(estate, weather(), NOW)
    # The liquid asks for 6 h, the combined product for the 24 h of the shipped default.
    assert {(one.event.window_h, one.event.wet_mm) for one in said} == {(6, 0.5), (24, 0.5)}
    of_liquid = [one for one in said if one.event.window_h == 6]
    assert [(one.start.day, one.start.hour, one.event.lead_day, one.lead_h) for one in of_liquid] == [
        (4, 8, 0, 4), (4, 14, 0, 10), (5, 8, 1, 28), (5, 14, 1, 34),
    ]  # fmt: skip
    assert {one.event.method for one in said} == {"hourly probability"}
    assert all(0.3 < one.chance < 1.0 for one in said)


def test_what_is_not_known_or_not_fresh_is_not_noted(estate: Estate) -> None:
    hole = np.full(96, 0.3)
    hole[16] = np.nan
    gap = chances_said(estate, weather(hole), NOW)
    assert [one.start.hour for one in gap if one.event.window_h == 6 and one.event.lead_day == 0] == [8]
    (at,) = weather().values()
    for state in ("stale", "down"):
        assert chances_said(estate, {HERE: CellWeather(HERE, at.forecast, state)}, NOW) == []
    assert chances_said(estate, {}, NOW) == []


def test_starts_that_have_passed_are_not_noted(estate: Estate) -> None:
    said = chances_said(estate, weather(), NOW.replace(hour=11))
    assert [one.start.hour for one in said if one.event.window_h == 6 and one.event.lead_day == 0] == [14]


@pytest.mark.parametrize(
    ("cell", "hour", "morning"),
    [(HERE, 3, False), (HERE, 4, True), (HERE, 11, True), (HERE, 12, False), ("40.00,-90.00", 4, False),
     ("40.00,-90.00", 10, True), ("-36.84,174.76", 17, True)],
)  # fmt: skip
def test_the_morning_is_that_of_the_place(cell: str, hour: int, morning: bool) -> None:
    assert is_morning(cell, NOW.replace(hour=hour)) is morning


def test_a_calibration_changes_the_chance_the_verdict_and_what_is_told_of_both(tmp_path: Path) -> None:
    steps = [{"product": "leaf-feed", "from": "04-01", "to": "09-30"}]
    estate = build_estate(tmp_path, products=[liquid()], programmes=[programme(steps=steps)], timezone="Europe/London")
    (plain,) = weather().values()
    fit = Calibrated(Event("met-norway", "hourly probability", 6, 0.5, 0), (0.0, 1.0), (0.0, 0.1), 131, 30)
    taught = CellWeather(HERE, plain.forecast, "fresh", calibrations=(fit,))
    before, after = (_judged(estate, {HERE: at}) for at in (plain, taught))
    assert before.verdict == "hold"
    assert after.verdict == "go"
    assert before.chance is not None
    assert after.chance is not None
    assert before.chance.calibrated_days == 0
    assert before.chance.said == before.chance.washed_off
    assert (after.chance.calibrated_days, after.chance.method) == (
        131,
        "hourly probability, calibrated here on 131 days",
    )
    assert after.chance.washed_off == pytest.approx(0.1 * (after.chance.said or 0))


def test_a_calibration_never_makes_a_missing_chance_known(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, timezone="Europe/London")
    nothing = np.full(96, np.nan)
    (plain,) = weather(nothing).values()
    assert plain.forecast is not None
    fits = tuple(
        Calibrated(Event("met-norway", method, 6, 0.5, day), (0.0, 1.0), (0.0, 0.0), 131, 30)
        for method in ("members", "hourly probability", "amounts with spread")
        for day in (0, 1)
    )
    bare = plain.forecast.with_(rain_mm=nothing)
    judged = _judged(estate, {HERE: CellWeather(HERE, bare, "fresh", calibrations=fits)})
    assert judged.verdict == "unknown"
    assert judged.chance is None or judged.chance.washed_off is None


def _judged(estate: Estate, at: dict[str, CellWeather]) -> Judged:
    desk = Desk(estate, NOW, at)
    (of_liquid,) = [
        answer.judged for task, answer in desk.answers(estate.lawns[0], []).due if task.product.id == "leaf-feed"
    ]
    return of_liquid
