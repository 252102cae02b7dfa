"""What surrounds the jobs: the lock, the estate's files, the beat, the log, the service manager."""

import logging
import os
import socket
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from adapters.daemon import run
from adapters.daemon.beat import Beat, Every, Job
from adapters.daemon.estates import Estates
from adapters.daemon.lock import AlreadyRunning, DaemonLock
from adapters.daemon.logs import OneLine
from adapters.daemon.parts import Parts
from adapters.daemon.service import ClockWatch
from adapters.daemon.systemd import tell
from adapters.store import QueuedBrief, open_store
from config.problems import EstateInvalid
from scheduler.values import Message
from tests.adapters.daemon.fakes import DUE, HandClock, parts_in
from tests.builders import lawn, write_estate


def until(condition: Callable[[], bool], seconds: float = 5.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_one_daemon_holds_a_database_and_the_lock_goes_with_it(tmp_path: Path) -> None:
    with DaemonLock(tmp_path / "ligule.db"):
        with pytest.raises(AlreadyRunning, match=str(os.getpid())), DaemonLock(tmp_path / "ligule.db"):
            pass
        with DaemonLock(tmp_path / "other.db"):
            pass
    with DaemonLock(tmp_path / "ligule.db"):
        pass


def test_a_changed_estate_is_read_again_and_a_faulty_change_is_not_taken(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    estates = Estates(write_estate(tmp_path), {})
    assert len(estates.current().lawns) == 1
    write_estate(tmp_path, lawns=[lawn(), lawn(id="back")])
    assert len(estates.current().lawns) == 2
    write_estate(tmp_path, lawns=[lawn(area_m2=-1)])
    for _ in range(3):
        assert len(estates.current().lawns) == 2
    assert len([r for r in caplog.records if "stays in force" in r.getMessage()]) == 1
    assert "lawns.csv" in caplog.text
    write_estate(tmp_path, lawns=[lawn(), lawn(id="back"), lawn(id="bank")])
    assert len(estates.current().lawns) == 3


def test_a_faulty_estate_at_the_start_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(EstateInvalid):
        Estates(write_estate(tmp_path, lawns=[lawn(area_m2=-1)]), {})


def test_a_beat_never_counts_what_was_missed() -> None:
    now = datetime(2200, 1, 1, tzinfo=UTC)
    every = Every(2)
    assert every.get_next_fire_time(None, now) == now
    assert every.get_next_fire_time(datetime(2026, 1, 1, tzinfo=UTC), now) == now + timedelta(seconds=2)


def test_jobs_run_again_and_again_and_survive_their_exceptions(caplog: pytest.LogCaptureFixture) -> None:
    runs: dict[str, int] = {"good": 0, "bad": 0}

    def good() -> None:
        runs["good"] += 1

    def bad() -> None:
        runs["bad"] += 1
        raise ValueError("always")

    beat = Beat([Job("good", good, 0.02), Job("bad", bad, 0.02)])
    beat.start()
    until(lambda: runs["good"] > 5 and runs["bad"] > 5)
    beat.stop()
    counts = dict(runs)
    time.sleep(0.1)
    assert runs == counts
    assert len([r for r in caplog.records if "always" in r.getMessage()]) == 1  # said once, not at every beat


def test_a_slow_job_blocks_no_other_and_is_not_run_twice_at_once() -> None:
    gone, quick, slow = threading.Event(), [], []

    def dawdle() -> None:
        slow.append(1)
        gone.wait(5)

    beat = Beat([Job("slow", dawdle, 0.01), Job("quick", lambda: quick.append(1), 0.01)])
    beat.start()
    until(lambda: len(quick) > 10)
    assert len(slow) == 1
    gone.set()
    beat.stop()


def test_waking_runs_a_job_that_would_sleep_for_long() -> None:
    runs: list[int] = []
    beat = Beat([Job("rare", lambda: runs.append(1), 3600)])
    beat.start()
    until(lambda: len(runs) == 1)
    beat.wake()
    until(lambda: len(runs) == 2)
    beat.stop()


@pytest.fixture
def watched(tmp_path: Path) -> tuple[Parts, HandClock, ClockWatch]:
    clock = HandClock()
    store = open_store(tmp_path)
    parts = parts_in(tmp_path / "estate", store, clock)
    return parts, clock, ClockWatch(parts)


def test_the_gate_shuts_for_a_senseless_clock_and_opens_again(watched: tuple[Parts, HandClock, ClockWatch]) -> None:
    parts, clock, watch = watched
    assert not watch.look()
    assert not parts.gate.is_shut
    clock.at = datetime(1970, 1, 1, tzinfo=UTC)
    watch.look()
    assert parts.gate.is_shut
    clock.at = DUE
    assert watch.look()  # everything runs at once
    assert not parts.gate.is_shut
    parts.store.close()


def test_a_clock_behind_the_last_brief_shuts_the_gate_but_not_in_a_trial(
    watched: tuple[Parts, HandClock, ClockWatch],
) -> None:
    parts, clock, watch = watched
    late = DUE + timedelta(hours=3)
    brief = QueuedBrief("ines", late.date(), ("${A}",), late, late, Message("", "", ""))
    parts.store.queue_brief(brief, late)
    watch.look()
    assert parts.gate.is_shut
    clock.trial = True
    watch.look()
    assert not parts.gate.is_shut
    parts.store.close()


def test_a_host_that_slept_wakes_every_job(watched: tuple[Parts, HandClock, ClockWatch]) -> None:
    parts, clock, watch = watched
    watch.look()
    clock.at = DUE + timedelta(hours=3)
    assert watch.look()
    assert not parts.gate.is_shut
    assert not watch.look()
    parts.store.close()


def test_a_log_line_stays_a_line() -> None:
    record = logging.makeLogRecord({"msg": "a\r\nERROR forged \x1b[31m", "levelname": "INFO"})
    assert OneLine("%(levelname)s %(message)s").format(record) == r"INFO a\r\nERROR forged \x1b[31m"


def test_the_service_manager_is_told(tmp_path: Path) -> None:
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(path)
        tell({"NOTIFY_SOCKET": path}, "READY=1")
        assert manager.recv(100) == b"READY=1"
    tell({"NOTIFY_SOCKET": path}, "READY=1")  # nobody listens any more
    tell({}, "READY=1")


def test_mistakes_and_a_second_daemon_end_with_two_a_useless_database_with_three(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    faulty = write_estate(tmp_path / "faulty", lawns=[lawn(area_m2=-1)])
    assert run(faulty, {}, HandClock()) == 2
    assert "lawns.csv" in capsys.readouterr().err
    good = write_estate(tmp_path / "good")
    with DaemonLock(good / "ligule.db"):
        assert run(good, {}, HandClock()) == 2
    assert "another ligule run" in capsys.readouterr().err
    (good / "ligule.db").write_bytes(b"not a database" * 100)
    assert run(good, {}, HandClock()) == 3
    assert "database" in capsys.readouterr().err
