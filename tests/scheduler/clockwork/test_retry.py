from datetime import UTC, datetime, timedelta

from scheduler.clockwork.retry import after_failure

NOW = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
LATER = NOW + timedelta(hours=5)


def waits(failures: int) -> timedelta:
    decision = after_failure(NOW, LATER, failures=failures)
    assert decision.state == "due"
    assert decision.next_try_at is not None
    return decision.next_try_at - NOW


def test_waits_grow_and_then_stay() -> None:
    assert [waits(n) // timedelta(minutes=1) for n in (1, 2, 3, 4, 5)] == [1, 5, 15, 60, 60]


def test_no_try_is_planned_at_or_after_the_expiry() -> None:
    assert after_failure(NOW, NOW + timedelta(minutes=1), failures=1).state == "expired"
    assert after_failure(NOW, NOW + timedelta(minutes=1, seconds=1), failures=1).state == "due"
    assert after_failure(NOW, NOW - timedelta(hours=1), failures=1).next_try_at is None


def test_a_permanent_refusal_ends_it() -> None:
    assert after_failure(NOW, LATER, failures=1, permanent=True).state == "dead"


def test_an_unknown_outcome_is_tried_once_more_and_later() -> None:
    once = after_failure(NOW, LATER, failures=0, unknown=True, unknowns=1)
    assert (once.state, once.next_try_at) == ("due", NOW + timedelta(minutes=15))
    assert after_failure(NOW, LATER, failures=0, unknown=True, unknowns=2).state == "dead"


def test_a_morning_of_failures_stops_at_the_expiry() -> None:
    now, tries = NOW, 0
    while True:
        tries += 1
        decision = after_failure(now, LATER, failures=tries)
        if decision.next_try_at is None:
            break
        assert now < decision.next_try_at < LATER
        now = decision.next_try_at
    assert decision.state == "expired"
    assert tries == 8  # 0, 1, 6, 21, 81, 141, 201 and 261 min after it was due
