"""Dates: what is due when, from season, interval and what was done."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models import Estate, Step
from scheduler.season.due import Season, month_day, next_due, seasons, tasks
from scheduler.season.plan import season_plan
from scheduler.values import Entry
from tests.builders import build_estate, lawn, liquid

SEASON = Season(date(2026, 4, 1), date(2026, 9, 30))


def estate_with(folder: Path, first: str, last: str, **changes: object) -> Estate:
    steps = [{"product": "leaf-feed", "from": first, "to": last}]
    return build_estate(
        folder, timezone="Europe/London", lawns=[lawn(programme="p", **changes)],
        products=[liquid(every_days=[28, 42])],
        programmes=[{"id": "p", "hemisphere": "north", "steps": steps}],
    )  # fmt: skip


def done(product: str, day: date, kind: str = "done") -> Entry:
    return Entry("front", product, datetime(day.year, day.month, day.day, 10, tzinfo=UTC), day, kind=kind)  # type: ignore[arg-type]


def test_the_next_window_is_counted_from_what_was_done() -> None:
    due = next_due(SEASON, (28, 42), date(2026, 4, 3))
    assert due is not None
    assert (due.earliest, due.target, due.latest) == (date(2026, 5, 1), date(2026, 5, 5), date(2026, 5, 15))


def test_without_a_record_the_window_opens_with_the_season() -> None:
    due = next_due(SEASON, (28, 42), None)
    assert due is not None
    assert (due.earliest, due.latest, due.first) == (date(2026, 4, 1), date(2026, 4, 15), True)


def test_a_window_that_would_open_after_the_season_does_not_open() -> None:
    assert next_due(SEASON, (28, 42), date(2026, 9, 10)) is None


def test_a_step_without_repeat_is_done_once_a_season() -> None:
    assert next_due(SEASON, None, date(2026, 5, 1)) is None
    assert next_due(SEASON, None, date(2025, 5, 1)) is not None


@pytest.mark.parametrize(
    ("text", "year", "shift", "expected"),
    [
        ("02-29", 2026, 0, date(2026, 2, 28)),
        ("02-29", 2028, 0, date(2028, 2, 29)),
        ("04-01", 2026, 6, date(2026, 10, 1)),
        ("08-31", 2026, 6, date(2027, 2, 28)),
    ],
)
def test_month_days_exist_in_every_year(text: str, year: int, shift: int, expected: date) -> None:
    assert month_day(text, year, shift) == expected


def test_the_other_hemisphere_is_six_months_away(tmp_path: Path) -> None:
    south = estate_with(tmp_path, "04-01", "09-30", latitude=-36.9, longitude=174.7)
    found = seasons(south.programmes[0].steps[0], south.programmes[0], south.lawns[0], 2026)
    assert Season(date(2026, 10, 1), date(2027, 3, 30)) in found


def test_a_season_may_run_over_new_year(tmp_path: Path) -> None:
    winter = estate_with(tmp_path, "10-15", "02-28")
    (task,) = tasks(winter, winter.lawns[0], date(2027, 1, 10), [])
    assert (task.season.first, task.season.last) == (date(2026, 10, 15), date(2027, 2, 28))


def test_a_skip_keeps_the_distance_and_an_undone_row_does_not_count(tmp_path: Path) -> None:
    estate = estate_with(tmp_path, "04-01", "09-30")
    (task,) = tasks(estate, estate.lawns[0], date(2026, 5, 10), [done("leaf-feed", date(2026, 5, 10), "skipped")])
    assert task.due.earliest == date(2026, 6, 7)
    taken_back = Entry(
        "front",
        "leaf-feed",
        datetime(2026, 5, 10, tzinfo=UTC),
        date(2026, 5, 10),
        undone_at=datetime(2026, 5, 11, tzinfo=UTC),
    )
    (task,) = tasks(estate, estate.lawns[0], date(2026, 5, 10), [taken_back])
    assert task.due.earliest == date(2026, 4, 1)


days = st.dates(date(2025, 6, 1), date(2026, 12, 31))


@given(st.lists(st.tuples(days, st.sampled_from(["done", "skipped"])), max_size=8), days)
@settings(max_examples=200, deadline=None)
def test_no_plan_ever_shortens_an_interval_leaves_its_season_or_exceeds_the_year(
    history: list[tuple[date, str]], today: date
) -> None:
    step = Step.model_validate({"product": "leaf-feed", "from": "04-01", "to": "09-30"})
    assert step.every_days is None
    rows = [done("leaf-feed", day, kind) for day, kind in history if day <= today]
    plan, _ = season_plan(PLANNED, PLANNED.lawns[0], 2026, rows, today)
    coming = sorted(p.due.target for p in plan if p.due)
    past = sorted(row.local_date for row in rows)
    both = [*past[-1:], *coming]
    assert all(
        later - earlier >= timedelta(days=28) for earlier, later in zip(both, both[1:], strict=False) if later in coming
    )
    assert all(date(2026, 4, 1) <= day <= date(2026, 9, 30) for day in coming)
    given_in_year = sum(row.kind == "done" and row.local_date.year == 2026 for row in rows)
    assert not coming or given_in_year + len(coming) <= 4
    assert all(day >= today for day in coming)


@pytest.fixture(scope="module", autouse=True)
def _planned(tmp_path_factory: pytest.TempPathFactory) -> None:
    global PLANNED
    estate = estate_with(tmp_path_factory.mktemp("plan"), "04-01", "09-30")
    sheet = estate.products[0].model_copy(update={"most_per_year": 4})
    PLANNED = estate.model_copy(update={"products": (sheet,)})


PLANNED: Estate
