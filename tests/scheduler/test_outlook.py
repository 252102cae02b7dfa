"""The coming days of a lawn: they must say what the brief says today, and what it will say on those mornings."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from config.models import Estate
from scheduler.morning import Desk, brief_for
from scheduler.outlook import Outlook, is_worked, outlook, outlook_of, task_for
from scheduler.season.due import tasks
from scheduler.values import CellWeather, Entry
from scheduler.weather import sun
from scheduler.weather.cells import cell_of
from scheduler.weather.forecast import HOUR, Forecast
from tests.builders import build_estate, granular, lawn, liquid, programme
from tests.weather import mild

MIDNIGHT = datetime(2026, 5, 3, 23, tzinfo=UTC)  # Mon 4 May begins in London
MORNING = MIDNIGHT + timedelta(hours=6)
HOURS = 24 * 9


def rainy(seed: int) -> Forecast:
    """Nine days of invented showers, wind and dew."""
    rng = np.random.default_rng(seed)
    wet = rng.random(HOURS) < 0.12
    return mild(
        MIDNIGHT,
        HOURS,
        rain_mm=np.where(wet, rng.gamma(0.8, 1.5, HOURS), 0.0),
        chance=np.where(wet, 0.8, 0.03),
        wind_m_s=np.repeat(rng.uniform(0.5, 7.0, 36), 6),
        gust_m_s=np.repeat(rng.uniform(4.0, 11.0, 36), 6),
        humidity_pct=np.repeat(rng.uniform(50.0, 97.0, 36), 6),
    )


def estate_in(folder: Path, **lawn_keys: Any) -> Estate:
    """One lawn with a liquid and a granular product in season all year, neither ever done."""
    steps = [{"product": name, "from": "01-01", "to": "12-31"} for name in ("leaf-feed", "spring-grain")]
    return build_estate(
        folder,
        hours={"start": "07:00", "end": "18:00", "days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]},
        lawns=[lawn(**{"programme": "both", "irrigation": "none", **lawn_keys})],
        products=[liquid(), granular(every_days=[20, 400])],
        programmes=[programme(id="both", steps=steps)],
    )


def desk_for(estate: Estate, forecast: Forecast | None, now: datetime, state: str = "fresh") -> Desk:
    place = estate.lawns[0]
    key = cell_of(place.latitude, place.longitude)
    return Desk(estate, now, {key: CellWeather(key, forecast, state, "" if state == "fresh" else "it is old")})  # type: ignore[arg-type]


def told(estate: Estate, forecast: Forecast | None, now: datetime = MORNING, **more: Any) -> Outlook:
    return outlook(desk_for(estate, forecast, now, more.pop("state", "fresh")), estate.lawns[0], [], **more)


@pytest.mark.parametrize("seed", range(8))
def test_every_day_is_marked_as_the_brief_of_that_morning_would_decide_it(tmp_path: Path, seed: int) -> None:
    estate = estate_in(tmp_path)
    forecast = rainy(seed)
    shown = told(estate, forecast)
    assert len(shown.strips) == 2
    for strip in shown.strips:
        assert [mark.day for mark in strip.days] == [date(2026, 5, 4 + n) for n in range(5)]
        for number, mark in enumerate(strip.days):
            now = MORNING + number * timedelta(days=1)
            desk = desk_for(estate, forecast, now)
            lines = brief_for(estate, None, now, desk.weather, [], desk).lines
            line = next(line for line in lines if line.product == strip.line.product)
            assert mark.verdict == line.verdict, (strip.line.product, mark, line.text)
            if number == 0:
                assert mark.window == line.window
            elif mark.window is not None and line.window is not None:
                # A later day may have several windows: the one shown must be among those that morning offers.
                runs = told(estate, forecast, now).strips
                mine = next(other for other in runs if other.line.product == strip.line.product)
                offered = {(run.start, run.end) for run in mine.runs if run.verdict == "go"}
                assert (mark.window.start, mark.window.end) in offered


def test_a_day_names_the_chance_that_the_brief_names(tmp_path: Path) -> None:
    estate = estate_in(tmp_path)
    wet = mild(MIDNIGHT, HOURS, rain=dict.fromkeys(range(10, 16), 1.5), chance_at=dict.fromkeys(range(8, 18), 0.9))
    (strip,) = [s for s in told(estate, wet).strips if s.line.form == "liquid"]
    assert strip.days[0].verdict == "hold"
    assert strip.days[0].stopped_by == "rain_after"
    stated = next(x.value for x in strip.line.limits if x.name == "rain_after" and x.unit == "1")
    assert strip.days[0].chance == stated
    assert strip.days[1].verdict == "go"
    assert strip.days[1].chance is not None
    assert strip.days[1].chance <= 0.15


@pytest.mark.parametrize("state", ["stale", "down"])
def test_old_or_missing_weather_marks_no_day_as_go(tmp_path: Path, state: str) -> None:
    forecast = mild(MIDNIGHT, HOURS) if state == "stale" else None
    shown = told(estate_in(tmp_path), forecast, state=state)
    assert len(shown.strips) == 2
    for strip in shown.strips:
        assert strip.line.verdict == "unknown"
        assert strip.hours == strip.runs == ()
        assert {mark.verdict for mark in strip.days} == {"unknown"}


def test_a_gap_in_the_weather_is_no_go(tmp_path: Path) -> None:
    wind = np.full(HOURS, 2.5)
    wind[24:48] = np.nan
    shown = told(estate_in(tmp_path), mild(MIDNIGHT, HOURS, wind_m_s=wind))
    for strip in shown.strips:
        assert strip.days[0].verdict == "go" or strip.line.form == "granular"
        assert strip.days[1].verdict == ("unknown" if strip.line.form == "liquid" else "hold")


def test_days_beyond_the_forecast_are_not_decided(tmp_path: Path) -> None:
    shown = told(estate_in(tmp_path), mild(MIDNIGHT, 60), days=5)
    for strip in shown.strips:
        assert [mark.verdict for mark in strip.days[3:]] == ["unknown", "unknown"]


def test_a_day_off_has_no_mark(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, lawns=[lawn(irrigation="none")])
    shown = told(estate, mild(MIDNIGHT, HOURS), days=7)
    sunday = [mark for strip in shown.strips for mark in strip.days if mark.day == date(2026, 5, 10)]
    assert sunday
    assert {mark.verdict for mark in sunday} == {None}


def test_runs_are_the_worked_hours_of_like_verdict_joined_up(tmp_path: Path) -> None:
    shown = told(estate_in(tmp_path), rainy(3))
    for strip in shown.strips:
        by_hour = {hour.start: hour.verdict for hour in strip.hours if is_worked(hour)}
        covered = {}
        for run in strip.runs:
            at = run.start
            while at < run.end:
                assert at not in covered
                covered[at] = run.verdict
                at += HOUR
        assert covered == by_hour


def test_hours_of_a_longer_period_make_a_run_indicative(tmp_path: Path) -> None:
    base = mild(MIDNIGHT, HOURS)
    period = np.arange(HOURS)
    period[72:] = 72 + (period[72:] - 72) // 6 * 6
    shown = told(estate_in(tmp_path), base.with_(period_start=period))
    (strip,) = [s for s in shown.strips if s.line.form == "liquid"]
    by_day = {run.start.date(): run.indicative for run in strip.runs if run.verdict == "go"}
    assert by_day[date(2026, 5, 4)] is False
    assert by_day[date(2026, 5, 8)] is True


@pytest.mark.parametrize(
    ("zone", "morning", "length"),
    [
        ("Europe/London", datetime(2026, 3, 28, 6, tzinfo=UTC), 23),  # clocks go forward on Sun 29 March 2026
        ("Europe/London", datetime(2026, 10, 24, 5, tzinfo=UTC), 25),  # and back on Sun 25 October 2026
        ("Australia/Lord_Howe", datetime(2026, 4, 3, 20, tzinfo=UTC), 24.5),  # by half an hour, on Sun 5 April 2026
        ("America/Santiago", datetime(2026, 9, 5, 10, tzinfo=UTC), 23),  # midnight of Sun 6 September does not exist
    ],
)
def test_days_are_as_long_as_the_clock_change_makes_them(
    tmp_path: Path, zone: str, morning: datetime, length: float
) -> None:
    estate = estate_in(tmp_path, timezone=zone)
    shown = told(estate, mild(morning - timedelta(hours=30), HOURS), morning)
    tz = ZoneInfo(zone)
    spans = [b - a for a, b in zip(shown.midnights, shown.midnights[1:], strict=False)]
    assert timedelta(hours=length) in spans
    for day, midnight in zip(shown.dates, shown.midnights, strict=False):
        assert midnight.astimezone(tz).date() == day
        assert (midnight - timedelta(microseconds=1)).astimezone(tz).date() == day - timedelta(days=1)


@pytest.mark.parametrize(("latitude", "longitude"), [(51.48, -0.62), (-33.9, 151.2), (69.65, 18.96), (-77.85, 166.67)])
def test_nights_are_what_daylight_leaves(tmp_path: Path, latitude: float, longitude: float) -> None:
    estate = estate_in(tmp_path, latitude=latitude, longitude=longitude)
    shown = told(estate, None, state="down")
    count = round((shown.end - shown.start) / HOUR)
    light = sun.daylight(latitude, longitude, shown.start, count)
    for number in range(count):
        hour = shown.start + number * HOUR
        dark = any(start < hour + HOUR and hour < end for start, end in shown.nights)
        assert bool(light[number]) is not dark


def test_what_is_not_due_yet_is_named_as_coming(tmp_path: Path) -> None:
    estate = estate_in(tmp_path)
    done = [Entry("front", "spring-grain", MORNING - timedelta(days=2), date(2026, 5, 2))]
    shown = outlook(desk_for(estate, mild(MIDNIGHT, HOURS), MORNING), estate.lawns[0], done)
    assert [strip.line.product for strip in shown.strips] == ["leaf-feed"]
    assert shown.coming == (("Spring Grain", date(2026, 5, 22)),)
    task = task_for(estate, estate.lawns[0], estate.product("spring-grain"), date(2026, 5, 4), done)
    asked = outlook_of(desk_for(estate, mild(MIDNIGHT, HOURS), MORNING), estate.lawns[0], [task], done)
    assert {mark.verdict for mark in asked.strips[0].days} == {"hold"}
    assert task in tasks(estate, estate.lawns[0], date(2026, 5, 4), done)


def test_a_product_outside_of_the_programme_can_be_asked_for(tmp_path: Path) -> None:
    estate = build_estate(tmp_path, lawns=[lawn(programme=None)])
    task = task_for(estate, estate.lawns[0], estate.product("leaf-feed"), date(2026, 5, 4), [])
    shown = outlook_of(desk_for(estate, mild(MIDNIGHT, HOURS), MORNING), estate.lawns[0], [task], [])
    assert shown.strips[0].days[0].verdict == "go"
