import threading
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from adapters.store import QueuedBrief, Store, StoreError, open_store
from scheduler.clockwork.retry import MOST_CLAIMS, RetryDecision
from scheduler.values import Message

DUE = datetime(2026, 5, 4, 5, 0, tzinfo=UTC)
EXPIRES = DUE + timedelta(hours=5)
DAY = date(2026, 5, 4)
MESSAGE = Message("Monday", "Front lawn: hold", "<p>Front lawn: hold</p>")
REACH = ("${INES_MAIL}", "${INES_HOOK}")
MINUTE = timedelta(minutes=1)


@pytest.fixture
def store(tmp_path: Path):
    with open_store(tmp_path) as opened:
        yield opened


def queue(store: Store, person: str = "ines", reach: tuple[str, ...] = REACH, day: date = DAY) -> bool:
    return store.queue_brief(QueuedBrief(person, day, reach, DUE, EXPIRES, MESSAGE), DUE)


def states(store: Store) -> list[str]:
    return [row.state for row in store.outbox_rows()]


def test_a_brief_is_queued_once_per_person_date_and_channel(store: Store) -> None:
    assert queue(store)
    assert not queue(store)
    assert not queue(store, reach=("${OTHER}",))
    assert queue(store, person="otto")
    assert queue(store, day=DAY + timedelta(days=1))
    rows = store.outbox_rows()
    assert len(rows) == 6
    assert len({row.idempotency_key for row in rows}) == 6
    assert store.recorded_briefs(DAY) == {("ines", DAY), ("otto", DAY), ("ines", DAY + timedelta(days=1))}


def test_a_batch_adds_what_is_new_and_nothing_else(store: Store) -> None:
    queue(store, person="p7")
    batch = [QueuedBrief(f"p{n}", DAY, REACH, DUE, EXPIRES, MESSAGE) for n in range(450)]
    assert store.queue_briefs(batch, DUE) == 449
    assert store.queue_briefs(batch, DUE) == 0
    rows = store.outbox_rows()
    assert len(rows) == len({row.idempotency_key for row in rows}) == 900


def test_a_channel_named_twice_gets_one_message(store: Store) -> None:
    queue(store, reach=("${INES_MAIL}", "${INES_MAIL}"))
    assert len(store.outbox_rows()) == 1


def test_a_decision_that_cannot_be_written_whole_leaves_nothing_behind(store: Store) -> None:
    broken = Message("Monday", None, "")  # type: ignore[arg-type]
    with pytest.raises(StoreError):
        store.queue_brief(QueuedBrief("ines", DAY, REACH, DUE, EXPIRES, broken), DUE)
    assert store.outbox_rows() == []
    assert store.recorded_briefs(DAY) == set()


def test_the_reach_is_kept_only_as_a_hash(store: Store, tmp_path: Path) -> None:
    queue(store, reach=("json://planted-token@hook.example",))
    assert all(b"planted-token" not in path.read_bytes() for path in tmp_path.iterdir())


def test_a_row_is_claimed_by_one_owner_and_marked_by_no_other(store: Store) -> None:
    queue(store, reach=REACH[:1])
    (row,) = store.claim(DUE, "a", 10)
    assert store.claim(DUE, "b", 10) == []
    assert not store.mark_sent(row.id, "b", DUE)
    assert store.mark_sent(row.id, "a", DUE)
    assert not store.mark_sent(row.id, "a", DUE)
    assert states(store) == ["sent"]


def test_a_claim_takes_the_oldest_first_and_no_more_than_asked(store: Store) -> None:
    for person in ("a", "b", "c"):
        queue(store, person=person, reach=REACH[:1])
    assert [row.person for row in store.claim(DUE, "me", 2)] == ["a", "b"]
    assert [row.person for row in store.claim(DUE, "me", 2)] == ["c"]


def test_threads_never_claim_the_same_row(store: Store) -> None:
    for n in range(40):
        queue(store, person=f"p{n}", reach=REACH[:1])
    taken: list[int] = []

    def work(owner: str) -> None:
        while rows := store.claim(DUE, owner, 1):
            taken.append(rows[0].id)
            assert store.mark_sent(rows[0].id, owner, DUE)

    threads = [threading.Thread(target=work, args=(f"t{n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(taken) == len(set(taken)) == 40
    assert set(states(store)) == {"sent"}


def test_a_failed_row_waits_for_its_next_try(store: Store) -> None:
    queue(store, reach=REACH[:1])
    (row,) = store.claim(DUE, "a", 1)
    later = RetryDecision("due", "next try in 1 min", DUE + MINUTE)
    assert store.mark_failed(row.id, "a", later, why="451 try later")
    assert store.claim(DUE + MINUTE / 2, "a", 1) == []
    (again,) = store.claim(DUE + MINUTE, "a", 1)
    assert (again.attempts, again.failures, again.unknowns, again.last_error) == (2, 1, 0, "451 try later")
    assert store.mark_failed(again.id, "a", RetryDecision("dead", ""), why="unknown", unknown=True)
    (end,) = store.outbox_rows()
    assert (end.state, end.failures, end.unknowns) == ("dead", 1, 1)


def test_a_lease_that_ran_out_is_given_back_and_its_late_owner_changes_nothing(store: Store) -> None:
    queue(store, reach=REACH[:1])
    (row,) = store.claim(DUE, "slow", 1)
    assert store.release(DUE + MINUTE) == 0
    assert store.release(DUE + 6 * MINUTE) == 1
    (again,) = store.claim(DUE + 6 * MINUTE, "quick", 1)
    assert not store.mark_sent(row.id, "slow", DUE + 7 * MINUTE)
    assert store.mark_sent(again.id, "quick", DUE + 7 * MINUTE)


def test_a_new_daemon_takes_over_at_once_what_a_dead_one_held(store: Store) -> None:
    queue(store)
    store.claim(DUE, "dead", 1)
    store.claim(DUE, "me", 1)
    assert store.release(DUE, all_but="me") == 1
    assert sorted(states(store)) == ["due", "sending"]


def test_past_its_time_a_row_expires_and_is_not_claimed(store: Store) -> None:
    queue(store, reach=REACH[:1])
    assert store.claim(EXPIRES, "a", 1) == []
    assert store.close_overdue(EXPIRES) == 1
    assert states(store) == ["expired"]


def test_a_row_that_kills_every_sender_is_laid_aside(store: Store) -> None:
    queue(store, reach=REACH[:1])
    for _ in range(MOST_CLAIMS):
        assert len(store.claim(DUE, "a", 1)) == 1
        store.release(DUE, all_but="b")
    store.close_overdue(DUE)
    assert states(store) == ["dead"]


def test_a_brief_given_up_is_on_record_and_never_sent(store: Store) -> None:
    assert store.queue_brief(
        QueuedBrief("ines", DAY, REACH, DUE, EXPIRES, state="expired", note="came too late"), EXPIRES
    )
    assert not queue(store)
    assert states(store) == ["expired", "expired"]
    assert store.claim(DUE, "a", 10) == []
    kept = store.brief("ines", DAY)
    assert kept is not None
    assert (kept.state, kept.note) == ("expired", "came too late")
    assert store.newest_brief_at() == EXPIRES
