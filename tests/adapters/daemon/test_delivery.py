import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from adapters.daemon.delivery import Delivery
from adapters.daemon.parts import Parts
from adapters.notify.results import Failed, Outcome, Sent
from adapters.store import OutboxRow, QueuedBrief, Store, StoreError, open_store
from scheduler.clockwork.due import WINDOW
from scheduler.values import Message
from tests.adapters.daemon.fakes import DUE, MINUTE, FakeSend, HandClock, parts_in
from tests.builders import person

Answer = Callable[[str, int], Outcome]
DAY = date(2026, 5, 4)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


class Office:
    """A delivery with one person and some channels, one brief queued."""

    def __init__(self, parts: Parts, send: FakeSend, clock: HandClock) -> None:
        self.parts, self.send, self.clock = parts, send, clock
        self.delivery = Delivery(parts, send)

    def rounds(self, *minutes: float) -> None:
        """One run at each of these minutes after the brief was due, every send waited for."""
        for minute in minutes:
            self.clock.at = DUE + minute * MINUTE
            self.run()

    def run(self) -> None:
        self.delivery.run()
        end = time.monotonic() + 10
        while not self.delivery.is_idle and time.monotonic() < end:
            time.sleep(0.005)
        assert self.delivery.is_idle

    def rows(self) -> list[OutboxRow]:
        return self.parts.store.outbox_rows()


@pytest.fixture
def office(tmp_path: Path, store: Store, clock: HandClock) -> Iterator[Callable[..., Office]]:
    opened: list[Office] = []

    def make(answer: Answer = lambda _r, _n: Sent(), reach: tuple[str, ...] = ("${A}",)) -> Office:
        parts = parts_in(tmp_path / "estate", store, clock, people=[person(reach=list(reach))])
        store.queue_brief(QueuedBrief("ines", DAY, reach, DUE, DUE + WINDOW, Message("t", "text", "html")), DUE)
        opened.append(Office(parts, FakeSend(answer), clock))
        return opened[-1]

    yield make
    for each in opened:
        each.delivery.close()


def test_each_channel_gets_the_message_once(office: Callable[..., Office]) -> None:
    at = office(reach=("${A}", "${B}", "${C}"))
    at.rounds(0, 1, 2)
    assert sorted(reach for reach, _, _ in at.send.sends) == ["${A}", "${B}", "${C}"]
    assert at.send.sends[0][1] == Message("t", "text", "html")
    assert {row.state for row in at.rows()} == {"sent"}


def test_only_the_failing_channel_is_tried_again(office: Callable[..., Office]) -> None:
    at = office(lambda reach, n: Failed("500") if reach == "${B}" and n <= 2 else Sent(), ("${A}", "${B}", "${C}"))
    at.rounds(0, 0.9, 1, 2, 5.9, 6, 30)
    assert [at.send.over(r) for r in ("${A}", "${B}", "${C}")] == [1, 3, 1]
    assert {row.state for row in at.rows()} == {"sent"}
    assert len({key for reach, _, key in at.send.sends if reach == "${B}"}) == 1


def test_a_refusal_for_good_is_not_repeated(office: Callable[..., Office]) -> None:
    at = office(lambda _r, _n: Failed("550 no such mailbox", permanent=True))
    at.rounds(0, 1, 10, 100)
    assert at.send.over("${A}") == 1
    (row,) = at.rows()
    assert (row.state, row.last_error) == ("dead", "550 no such mailbox")


def test_an_unknown_outcome_is_tried_once_more_later(office: Callable[..., Office]) -> None:
    at = office(lambda _r, _n: Failed("no answer", unknown=True))
    at.rounds(0, 1, 14)
    assert at.send.over("${A}") == 1
    at.rounds(15, 31, 100)
    assert at.send.over("${A}") == 2
    assert [row.state for row in at.rows()] == ["dead"]


def test_what_never_works_expires_with_the_morning(office: Callable[..., Office]) -> None:
    at = office(lambda _r, _n: Failed("503"))
    at.rounds(*range(0, 302, 2))
    assert at.send.over("${A}") == 8
    assert [row.state for row in at.rows()] == ["expired"]


def test_nothing_is_sent_while_the_clock_cannot_be_believed(office: Callable[..., Office]) -> None:
    at = office()
    at.parts.gate.why = "the clock says 2200"
    at.rounds(0)
    assert at.send.sends == []


def test_a_channel_taken_out_of_the_estate_gets_nothing_more(office: Callable[..., Office], tmp_path: Path) -> None:
    at = office()
    parts_in(tmp_path / "estate", at.parts.store, at.clock, people=[person(reach=["${NEW}"])])
    at.rounds(0)
    assert at.send.sends == []
    (row,) = at.rows()
    assert row.state == "dead"
    assert "no longer declared" in row.last_error


def test_a_sender_that_raises_is_a_failure_like_any_other(office: Callable[..., Office]) -> None:
    def explode(_reach: str, n: int) -> Outcome:
        if n == 1:
            raise RuntimeError("planted-secret")
        return Sent()

    at = office(explode)
    at.rounds(0)
    (row,) = at.rows()
    assert (row.state, row.failures) == ("due", 1)
    assert "planted" not in row.last_error
    at.rounds(1)
    assert [row.state for row in at.rows()] == ["sent"]


def test_a_slow_channel_holds_up_no_other(office: Callable[..., Office], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("adapters.daemon.delivery.SLOW_S", 0.05)
    gone = threading.Event()
    at = office(lambda reach, _n: (gone.wait(10), Sent())[1] if reach == "${A}" else Sent(), ("${A}", "${B}", "${C}"))
    end = time.monotonic() + 5
    while [row.state for row in at.rows()] != ["sending", "sent", "sent"]:
        assert time.monotonic() < end
        at.delivery.run()  # as the beat does
        time.sleep(0.02)
    gone.set()
    at.run()
    assert {row.state for row in at.rows()} == {"sent"}


@pytest.mark.parametrize(("carriers", "most"), [("", 1), ("1", 1), ("4", 4), ("99", 8), ("many", 1)])
def test_as_many_sends_are_under_way_at_once_as_allowed(
    office: Callable[..., Office], carriers: str, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("adapters.daemon.delivery.SLOW_S", 60.0)
    at = office(reach=tuple(f"${{C{n}}}" for n in range(24)))
    under_way, seen, turn, all_there = [0], [0], threading.Lock(), threading.Barrier(most)

    def slow(_reach: str, _n: int) -> Outcome:
        with turn:
            under_way[0] += 1
            seen[0] = max(seen[0], under_way[0])
        all_there.wait(5)  # so many at once, or it breaks
        with turn:
            under_way[0] -= 1
        return Sent()

    at.send.answer = slow
    at.delivery.close()
    at.delivery = Delivery(replace(at.parts, environ={"LIGULE_CARRIERS": carriers}), at.send)
    at.run()
    assert seen[0] <= most
    assert {row.state for row in at.rows()} == {"sent"}


def test_a_delivery_is_recorded_though_the_database_is_busy(
    office: Callable[..., Office], monkeypatch: pytest.MonkeyPatch
) -> None:
    at = office()
    monkeypatch.setattr("adapters.daemon.delivery.RECORD_WAITS_S", (0.01,) * 5)
    marks, mark_sent = [], Store.mark_sent

    def busy(self: Store, *args: object) -> bool:
        marks.append(args)
        if len(marks) < 4:
            raise StoreError("database is locked")
        return mark_sent(self, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(Store, "mark_sent", busy)
    at.rounds(0)
    assert [row.state for row in at.rows()] == ["sent"]
    assert at.send.over("${A}") == 1


def test_a_stopping_service_finishes_what_it_began_and_takes_nothing_new(office: Callable[..., Office]) -> None:
    at = office(reach=tuple(f"${{C{n}}}" for n in range(20)))
    at.send.answer = lambda _r, n: (at.parts.stop.set(), Sent())[1]
    at.delivery.run()
    at.delivery.close()
    states = [row.state for row in at.rows()]
    assert states.count("sent") == 1
    assert states.count("due") == 19


def test_messages_of_a_dead_owner_are_sent_after_their_lease(office: Callable[..., Office]) -> None:
    at = office()
    at.parts.store.claim(DUE, "dead", 1)
    at.rounds(0, 4)
    assert at.send.sends == []
    at.clock.at = DUE + timedelta(minutes=5)
    at.run()
    assert [row.state for row in at.rows()] == ["sent"]
