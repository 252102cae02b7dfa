"""Instants are checked against zoneinfo's own round trip and the published dates of the changes (IANA tz database)."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models import Estate, Person
from scheduler.clockwork.due import DELAYED, WINDOW, brief_due, briefs_due

ZONES = (
    "Europe/London",
    "Europe/Berlin",
    "Europe/Helsinki",
    "America/New_York",
    "America/Los_Angeles",
    "Australia/Sydney",
    "Australia/Lord_Howe",  # changes by half an hour
    "Pacific/Auckland",
)
HALF_HOURS = tuple(time(h, m) for h in range(24) for m in (0, 30))
YEAR = tuple(date(2026, 1, 1) + timedelta(days=n) for n in range(365))


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def people(zone: str) -> Estate:
    """An estate with one person for each half hour of the day."""
    return Estate(
        name="Alder Court",
        timezone=zone,
        people=tuple(
            Person(id=f"p{n}", name="P", reach=("json://hook.example",), brief_at=at, lawns=("*",))
            for n, at in enumerate(HALF_HOURS)
        ),
    )


@pytest.mark.parametrize("zone", ZONES)
def test_every_wall_time_that_exists_is_met_at_its_first_occurrence(zone: str) -> None:
    tz = ZoneInfo(zone)
    for day in YEAR:
        for at in HALF_HOURS:
            due = brief_due(day, at, zone)
            local = due.astimezone(tz)
            if (local.date(), local.time()) == (day, at):
                assert local.fold == 0
            else:  # no such wall time: it lies between the instant before the due one and the due one
                before = (due - timedelta(seconds=1)).astimezone(tz)
                wall = datetime.combine(day, at)
                assert before.replace(tzinfo=None, fold=0) < wall < local.replace(tzinfo=None, fold=0)
                assert before.utcoffset() != local.utcoffset()


@pytest.mark.parametrize("zone", ZONES)
def test_a_year_of_ticks_sends_one_brief_per_person_and_local_date(zone: str) -> None:
    estate, sent = people(zone), []
    recorded: set[tuple[str, date]] = set()
    now = start = datetime(2025, 12, 30, 9, 7, tzinfo=UTC)
    while now < datetime(2027, 1, 2, tzinfo=UTC):
        for brief in briefs_due(estate, now, recorded):
            assert brief.action == "send" or now == start
            recorded.add((brief.person, brief.local_date))
            sent.append((brief.person, brief.local_date))
        now += timedelta(hours=2, minutes=3)
    in_year = [key for key in sent if key[1].year == 2026]
    assert len(in_year) == len(set(in_year)) == 365 * 48


# The dates of the changes of 2026 as the tz database has them; in each gap and each overlap.
@pytest.mark.parametrize(
    ("zone", "day", "wall", "instant"),
    [
        ("Europe/London", date(2026, 3, 29), time(1, 30), "2026-03-29T01:00Z"),
        ("Europe/London", date(2026, 10, 25), time(1, 30), "2026-10-25T00:30Z"),
        ("Europe/Berlin", date(2026, 3, 29), time(2, 30), "2026-03-29T01:00Z"),
        ("Europe/Berlin", date(2026, 10, 25), time(2, 30), "2026-10-25T00:30Z"),
        ("America/New_York", date(2026, 3, 8), time(2, 30), "2026-03-08T07:00Z"),
        ("America/New_York", date(2026, 11, 1), time(1, 30), "2026-11-01T05:30Z"),
        ("Australia/Sydney", date(2026, 10, 4), time(2, 30), "2026-10-03T16:00Z"),
        ("Australia/Sydney", date(2026, 4, 5), time(2, 30), "2026-04-04T15:30Z"),
    ],
)
def test_a_gap_gives_its_end_and_an_overlap_its_first_pass(zone: str, day: date, wall: time, instant: str) -> None:
    assert brief_due(day, wall, zone) == utc(instant)


@given(
    zone=st.sampled_from(ZONES),
    day=st.dates(date(1990, 1, 1), date(2036, 12, 31)),
    at=st.times().map(lambda t: t.replace(microsecond=0)),
)
@settings(max_examples=300, deadline=None)
def test_the_due_instant_is_the_first_that_is_not_before_the_wall_time(zone: str, day: date, at: time) -> None:
    tz, due, wall = ZoneInfo(zone), brief_due(day, at, zone), datetime.combine(day, at)
    assert due.astimezone(tz).replace(tzinfo=None, fold=0) >= wall
    assert (due - timedelta(seconds=1)).astimezone(tz).replace(tzinfo=None, fold=0) < wall


def one(
    brief_at: time = time(6), *, own_zone: str | None = None, reach: tuple[str, ...] = ("json://x.example",)
) -> Estate:
    ines = Person(id="ines", name="Ines", reach=reach, brief_at=brief_at, lawns=("*",), timezone=own_zone)
    return Estate(name="Alder Court", timezone="Europe/London", people=(ines,))


def test_nothing_is_due_before_its_time_nor_once_recorded() -> None:
    estate, due = one(), utc("2026-05-04T06:00+01:00")
    assert briefs_due(estate, due - timedelta(seconds=1), set()) == []
    (brief,) = briefs_due(estate, due, set())
    assert (brief.action, brief.due_at, brief.expires_at) == ("send", due, due + WINDOW)
    assert briefs_due(estate, due, {("ines", date(2026, 5, 4))}) == []


def test_a_late_brief_is_marked_and_a_much_too_late_one_expires() -> None:
    estate, due = one(), utc("2026-05-04T06:00+01:00")
    assert [b.delayed for b in briefs_due(estate, due + DELAYED, set())] == [False]
    assert [b.delayed for b in briefs_due(estate, due + timedelta(minutes=40), set())] == [True]
    assert [b.action for b in briefs_due(estate, due + WINDOW - timedelta(seconds=1), set())] == ["send"]
    assert [b.action for b in briefs_due(estate, due + WINDOW, set())] == ["expire"]


def test_after_three_days_down_only_todays_brief_is_due() -> None:
    now = utc("2026-05-07T06:40+01:00")
    found = briefs_due(one(), now, {("ines", date(2026, 5, 3))})
    assert [(b.local_date, b.action) for b in found] == [(date(2026, 5, 7), "send")]


def test_the_window_of_an_evening_brief_reaches_into_the_next_date() -> None:
    estate = one(time(22))
    found = briefs_due(estate, utc("2026-05-05T01:00+01:00"), set())
    assert [(b.local_date, b.action, b.delayed) for b in found] == [(date(2026, 5, 4), "send", True)]
    assert briefs_due(estate, utc("2026-05-05T03:00+01:00"), set()) == []


def test_a_persons_own_zone_comes_before_the_estates() -> None:
    (brief,) = briefs_due(one(own_zone="America/New_York"), utc("2026-05-04T10:00Z"), set())
    assert brief.due_at == utc("2026-05-04T06:00-04:00")


def test_a_zone_moved_during_the_day_gives_no_second_brief_for_the_date() -> None:
    recorded = {("ines", date(2026, 5, 4))}
    assert briefs_due(one(own_zone="America/New_York"), utc("2026-05-04T10:30Z"), recorded) == []


def test_nobody_without_a_channel_is_due() -> None:
    assert briefs_due(one(reach=()), utc("2026-05-04T06:00Z"), set()) == []


def test_what_was_due_before_a_database_was_put_back_is_not_sent_again() -> None:
    now, restored = utc("2026-05-04T07:00+01:00"), utc("2026-05-04T06:30+01:00")
    assert [b.action for b in briefs_due(one(), now, set(), not_before=restored)] == ["expire"]
    assert [b.action for b in briefs_due(one(time(6, 45)), now, set(), not_before=restored)] == ["send"]
