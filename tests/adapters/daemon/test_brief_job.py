from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from adapters.daemon.brief_job import MOST_TRIES, BriefJob
from adapters.daemon.compose import Composed
from adapters.store import Store, StoreError, open_store
from config.models import Estate, Person
from scheduler.clockwork.retry import RetryDecision
from scheduler.values import Message
from tests.adapters.daemon.fakes import DUE, MINUTE, HandClock, parts_in, plain
from tests.builders import person

DAY = date(2026, 5, 4)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


def job(
    folder: Path,
    store: Store,
    clock: HandClock,
    *,
    looked: datetime = DUE,
    compose: object = plain,
    **more: object,
) -> BriefJob:
    return BriefJob(parts_in(folder / "estate", store, clock, **more), lambda _cell: looked, compose)  # type: ignore[arg-type]


def texts(store: Store) -> list[str]:
    return [row.text for row in store.outbox_rows()]


def test_a_brief_is_decided_once_when_it_is_due(tmp_path: Path, store: Store, clock: HandClock) -> None:
    briefs = job(tmp_path, store, clock, people=[person(reach=["${A}", "${B}"])])
    clock.at = DUE - MINUTE
    briefs.run()
    assert texts(store) == []
    for _ in range(3):
        clock.at = DUE
        briefs.run()
    assert texts(store) == ["brief of ines", "brief of ines"]
    assert {row.due_at for row in store.outbox_rows()} == {DUE}


def test_it_waits_for_a_recent_look_at_the_feeds_but_not_for_long(
    tmp_path: Path, store: Store, clock: HandClock
) -> None:
    briefs = job(tmp_path, store, clock, looked=DUE - 61 * MINUTE)
    for minutes in (0, 4):
        clock.at = DUE + minutes * MINUTE
        briefs.run()
    assert texts(store) == []
    clock.at = DUE + 5 * MINUTE
    briefs.run()
    assert texts(store) == ["brief of ines"]


def test_a_look_within_the_hour_before_is_recent_enough(tmp_path: Path, store: Store, clock: HandClock) -> None:
    job(tmp_path, store, clock, looked=DUE - 60 * MINUTE).run()
    assert texts(store) == ["brief of ines"]


def test_after_a_late_start_the_brief_says_that_it_is_late(tmp_path: Path, store: Store, clock: HandClock) -> None:
    clock.at = DUE + 40 * MINUTE
    job(tmp_path, store, clock).run()
    assert texts(store) == ["brief of ines late"]


def test_a_late_start_waits_for_a_look_at_the_feeds_as_well(tmp_path: Path, store: Store, clock: HandClock) -> None:
    briefs = job(tmp_path, store, clock, looked=DUE - timedelta(days=1))
    for minutes in (90, 94):
        clock.at = DUE + minutes * MINUTE
        briefs.run()
    assert texts(store) == []
    clock.at = DUE + 95 * MINUTE
    briefs.run()
    assert texts(store) == ["brief of ines late"]


def test_after_a_much_later_start_it_is_on_record_as_expired_and_not_sent(
    tmp_path: Path, store: Store, clock: HandClock
) -> None:
    clock.at = DUE + timedelta(hours=7)
    job(tmp_path, store, clock).run()
    assert [row.state for row in store.outbox_rows()] == ["expired"]
    assert store.claim(clock.at, "me", 9) == []
    kept = store.brief("ines", DAY)
    assert kept is not None
    assert kept.state == "expired"


def test_a_brief_names_the_one_before_it_that_reached_nobody(tmp_path: Path, store: Store, clock: HandClock) -> None:
    clock.at = DUE + timedelta(hours=7)
    briefs = job(tmp_path, store, clock, looked=DUE + timedelta(days=2), people=[person(), person(id="otto")])
    briefs.run()
    clock.at = DUE + timedelta(days=1)
    briefs.run()
    assert texts(store)[2:] == ["brief of ines missed 2026-05-04", "brief of otto missed 2026-05-04"]
    (row,) = [row for row in store.claim(clock.at, "me", 2) if row.person == "ines"]
    store.mark_failed(row.id, "me", RetryDecision("dead", "550"), why="550")
    clock.at = DUE + timedelta(days=2)
    briefs.run()
    assert texts(store)[4:] == ["brief of ines missed 2026-05-05", "brief of otto"]


def test_nothing_is_decided_while_the_clock_cannot_be_believed(tmp_path: Path, store: Store, clock: HandClock) -> None:
    briefs = job(tmp_path, store, clock)
    briefs.parts.gate.why = "the clock says 1970"
    briefs.run()
    assert texts(store) == []
    briefs.parts.gate.why = ""
    briefs.run()
    assert texts(store) == ["brief of ines"]


def test_a_trial_is_said_on_the_message(tmp_path: Path, store: Store, clock: HandClock) -> None:
    clock.trial = True
    job(tmp_path, store, clock).run()
    assert texts(store) == ["brief of ines trial"]


def failing_for(victim: str) -> object:
    def compose(estate: Estate, now: datetime, weather: object, entries: object, *, trial: bool) -> Composed:
        good = plain(estate, now, weather, entries, trial=trial)

        def write(who: Person, delayed: bool, missed: date | None) -> tuple[str, Message]:
            if who.id == victim:
                raise ZeroDivisionError("poison")
            return good(who, delayed, missed)

        return write

    return compose


def test_one_brief_that_cannot_be_written_costs_the_others_nothing(
    tmp_path: Path, store: Store, clock: HandClock
) -> None:
    people = [person(), person(id="otto"), person(id="zoe")]
    briefs = job(tmp_path, store, clock, compose=failing_for("otto"), people=people)
    briefs.run()
    assert texts(store) == ["brief of ines", "brief of zoe"]
    clock.at = DUE + MINUTE / 2
    briefs.run()  # not tried again at once
    for _ in range(MOST_TRIES):
        clock.at += timedelta(minutes=60)
        briefs.run()
    kept = store.brief("otto", DAY)
    assert kept is not None
    assert kept.state == "dead"
    assert "ZeroDivisionError" in kept.note
    assert [row.state for row in store.outbox_rows("otto")] == ["dead"]


def test_a_brief_that_can_be_written_again_is_still_sent(tmp_path: Path, store: Store, clock: HandClock) -> None:
    briefs = job(tmp_path, store, clock, compose=failing_for("ines"))
    briefs.run()
    briefs.compose = plain
    briefs.run()
    assert texts(store) == []
    clock.at = DUE + MINUTE
    briefs.run()
    assert texts(store) == ["brief of ines"]


def test_a_text_that_the_database_refuses_costs_the_others_nothing(
    tmp_path: Path, store: Store, clock: HandClock
) -> None:
    def spoilt(estate: Estate, now: datetime, weather: object, entries: object, *, trial: bool) -> Composed:
        return lambda who, _delayed, _missed: (
            "\ud800" if who.id == "otto" else "[]",
            Message("t", f"for {who.id} \ud800", ""),
        )

    job(tmp_path, store, clock, compose=spoilt, people=[person(), person(id="otto"), person(id="zoe")]).run()
    assert texts(store) == ["for ines ", "for zoe "]


def test_nothing_is_sent_that_cannot_be_recorded_first(tmp_path: Path, store: Store, clock: HandClock) -> None:
    briefs = job(tmp_path, store, clock)
    with store.engine.begin() as connection:  # a disk that is full, as the database sees it
        connection.execute(
            text("CREATE TRIGGER full BEFORE INSERT ON outbox BEGIN SELECT RAISE(ABORT, 'disk full'); END")
        )
    with pytest.raises(StoreError, match="disk full"):
        briefs.run()
    assert texts(store) == []
    with store.engine.begin() as connection:
        connection.execute(text("DROP TRIGGER full"))
    briefs.run()
    assert texts(store) == ["brief of ines"]


def test_hundreds_of_people_get_theirs_in_one_go(tmp_path: Path, store: Store, clock: HandClock) -> None:
    people = [person(id=f"p{n}", reach=["${A}", "${B}"]) for n in range(230)]
    job(tmp_path, store, clock, people=people).run()
    assert len(texts(store)) == 460


def test_the_real_message_says_that_the_brief_before_it_was_not_delivered(
    tmp_path: Path, store: Store, clock: HandClock
) -> None:
    briefs = BriefJob(parts_in(tmp_path / "estate", store, clock), lambda _cell: DUE + timedelta(days=1))
    clock.at = DUE + timedelta(hours=7)
    briefs.run()
    clock.at = DUE + timedelta(days=1)
    briefs.run()
    last = store.outbox_rows()[-1]
    assert "could not be delivered" in last.text
    assert "could not be delivered" in last.html


def test_the_real_composer_keeps_every_limit_on_record(tmp_path: Path, store: Store, clock: HandClock) -> None:
    BriefJob(parts_in(tmp_path / "estate", store, clock), lambda _cell: DUE).run()
    (row,) = store.outbox_rows()
    assert "NO DATA" in row.text  # no forecast was ever received
    assert row.html.startswith("<!doctype html>")
    kept = store.brief("ines", DAY)
    assert kept is not None
    assert '"verdict":"unknown"' in kept.lines
    assert '"limits":[{' in kept.lines
