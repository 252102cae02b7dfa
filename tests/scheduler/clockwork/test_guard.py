from datetime import UTC, datetime, timedelta

from scheduler.clockwork.guard import ClockVerdict, ClockView, judge_clock

T0 = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
BEFORE = ClockView(T0, 100.0)


def look(
    wall: datetime, after_s: float, before: ClockView | None = BEFORE, newest: datetime | None = None
) -> ClockVerdict:
    return judge_clock(wall, 100.0 + after_s, before, newest)


def test_a_steady_clock_is_believed() -> None:
    assert look(T0 + timedelta(seconds=15), 15).state == "ok"
    assert look(T0, 0, before=None).state == "ok"


def test_an_hour_forward_or_back_and_a_suspended_host_wake_every_job() -> None:
    assert look(T0 + timedelta(hours=1), 15).state == "stepped"
    assert look(T0 - timedelta(hours=1), 15).state == "stepped"
    assert look(T0 + timedelta(hours=3), 1).state == "stepped"


def test_a_senseless_year_sends_nothing() -> None:
    assert look(datetime(1970, 1, 1, tzinfo=UTC), 15).state == "hold"
    assert look(datetime(2200, 1, 1, tzinfo=UTC), 15).state == "hold"


def test_a_senseless_clock_put_right_is_believed_at_once() -> None:
    booted = look(datetime(1970, 1, 1, tzinfo=UTC), 15)
    assert judge_clock(T0, 130, booted.view, None).state == "stepped"


def test_a_clock_set_by_hand_may_say_any_date() -> None:
    assert judge_clock(datetime(2019, 3, 31, tzinfo=UTC), 100.0, None, None, trusted=True).state == "ok"


def test_a_clock_behind_the_newest_row_sends_nothing() -> None:
    assert look(T0, 15, newest=T0 + timedelta(hours=2)).state == "hold"
    assert look(T0, 0, newest=T0 + timedelta(minutes=59)).state == "ok"


def test_a_leap_of_days_is_believed_only_after_it_stood_for_ten_minutes() -> None:
    leapt = look(T0 + timedelta(days=3), 15)
    assert leapt.state == "hold"
    still = judge_clock(T0 + timedelta(days=3, minutes=5), 115 + 300, leapt.view, None)
    assert still.state == "hold"
    settled = judge_clock(T0 + timedelta(days=3, minutes=10), 115 + 600, still.view, None)
    assert settled.state == "ok"


def test_a_leap_that_is_put_right_holds_no_longer() -> None:
    leapt = look(T0 + timedelta(days=300), 15)
    righted = judge_clock(T0 + timedelta(seconds=30), 130, leapt.view, None)
    assert righted.state == "stepped"
