"""`ligule run`: start, the watch over the clock, and an orderly end."""

import gc
import logging
import os
import secrets
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from types import FrameType

from adapters.daemon.beat import Beat, Job
from adapters.daemon.brief_job import BriefJob, Compose
from adapters.daemon.chance_job import ChanceJob
from adapters.daemon.compose import compose_for
from adapters.daemon.delivery import Delivery, Send
from adapters.daemon.estates import Estates
from adapters.daemon.feed_job import FeedJob
from adapters.daemon.lock import AlreadyRunning, DaemonLock
from adapters.daemon.logs import log_to_stderr
from adapters.daemon.parts import Parts, nowhere
from adapters.daemon.pictures import Pictures
from adapters.daemon.systemd import tell
from adapters.feeds import fetch
from adapters.notify.send import send as send_message
from adapters.refresh import Refresh
from adapters.store.engine import StoreError, sqlite_file, warn_of_old_sqlite
from adapters.store.store import Store, open_store
from config.problems import EstateInvalid
from scheduler.clockwork.guard import ClockView, judge_clock
from scheduler.ports import Clock

log = logging.getLogger("ligule.service")

LOOK_S = 2.0  # between two looks at the clock
TICK_S = 2.0  # briefs and delivery
FEEDS_S = 20.0
SCORE_S = 600.0
TIDY_S = 3600.0
RAIN_KEPT = timedelta(days=92)  # longer than any balance of the ground looks back
KEPT = timedelta(days=35)  # the wording of sent messages is kept that long; the decisions stay
INPUT_WRONG, OUTSIDE_FAILED = 2, 3


def run(
    folder: Path,
    environ: Mapping[str, str],
    clock: Clock,
    *,
    stop: threading.Event | None = None,
    point: Callable[[str], None] = nowhere,
    send: Send = send_message,
    refresh: Refresh = fetch.refresh,
    compose: Compose | None = None,
) -> int:
    """Run the service of one estate until SIGTERM, SIGINT or `stop`; its exit code.

    0: stopped in order. 2: the estate has mistakes, or another daemon holds the database. 3: the database cannot be
    used. `point`, `send`, `refresh` and `compose` are for tests.
    """
    log_to_stderr()
    spare_collections()
    stop = stop or threading.Event()
    database = environ.get("LIGULE_DATABASE") or None
    try:
        estates = Estates(folder, environ)
        file = sqlite_file(folder, database)
        with DaemonLock(file or folder / "ligule.db"), open_store(folder, database) as store:
            owner = f"{os.getpid()}-{secrets.token_hex(4)}"
            parts = Parts(store, estates, clock, environ, owner, stop, point=point)
            if file is not None:  # we hold the lock: whoever held a message before is dead
                store.release(parts.now(), all_but=owner)
                warn_of_old_sqlite()
            _stop_on_signals(stop)
            _serve(parts, send, refresh, compose or partial(compose_for, pictures=Pictures(environ)))
    except EstateInvalid as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        print(f"ligule: {len(error.problems)} mistakes in {folder}; nothing was started", file=sys.stderr)
        return INPUT_WRONG
    except AlreadyRunning as error:
        print(f"ligule: {error}", file=sys.stderr)
        return INPUT_WRONG
    except (StoreError, OSError) as error:
        print(f"ligule: {error}", file=sys.stderr)
        return OUTSIDE_FAILED
    return 0


def spare_collections() -> None:
    """A morning makes very many small objects and hardly a cycle: looking for cycles less often saves a tenth of it."""
    gc.set_threshold(20_000, 20, 20)


def _serve(parts: Parts, send: Send, refresh: Refresh, compose: Compose) -> None:
    feeds = FeedJob(parts, refresh)
    briefs = BriefJob(parts, feeds.looked_at, compose)
    delivery = Delivery(parts, send)
    beat = Beat(
        [
            Job("feeds", feeds.run, FEEDS_S),
            Job("briefs", briefs.run, TICK_S),
            Job("delivery", delivery.run, TICK_S),
            Job("score", ChanceJob(parts).run, SCORE_S),
            Job("tidy", lambda: _tidy(parts), TIDY_S),
        ]
    )
    estate = parts.estates.current()
    watch = ClockWatch(parts)
    watch.look()
    beat.start()
    trial = f", TRIAL clock at {parts.now():%Y-%m-%d %H:%M:%S}Z" if parts.is_trial else ""
    log.info("started for %s: %d lawns, %d people%s", estate.name, len(estate.lawns), len(estate.people), trial)
    tell(parts.environ, "READY=1")
    try:
        while not parts.stop.wait(LOOK_S):
            if watch.look():
                beat.wake()
            if beat.is_well():
                tell(parts.environ, "WATCHDOG=1")
    finally:
        parts.stop.set()
        tell(parts.environ, "STOPPING=1")
        log.info("stopping: running sends are finished and recorded")
        beat.stop()
        delivery.close()
        log.info("stopped")


class ClockWatch:
    """Compares the clock with the monotonic one, and shuts the gate while it cannot be believed."""

    def __init__(self, parts: Parts) -> None:
        self.parts = parts
        self._view: ClockView | None = None

    def look(self) -> bool:
        """One look; True if every job has to run at once because the clock stepped or the host had slept."""
        parts = self.parts
        newest = None if parts.is_trial else _newest(parts.store)
        verdict = judge_clock(parts.now(), time.monotonic(), self._view, newest, trusted=parts.is_trial)
        self._view = verdict.view
        was_shut = parts.gate.is_shut
        parts.gate.why = verdict.why if verdict.state == "hold" else ""
        if parts.gate.is_shut and not was_shut:
            log.error("nothing is sent: %s", verdict.why)
        elif was_shut and not parts.gate.is_shut:
            log.info("the clock can be believed again")
        elif verdict.state == "stepped":
            log.warning("%s", verdict.why)
        return verdict.state == "stepped" or (was_shut and not parts.gate.is_shut)


def _newest(store: Store) -> datetime | None:
    try:
        return store.newest_brief_at()
    except StoreError:
        return None  # the jobs will say what is wrong with the database


def _tidy(parts: Parts) -> None:
    forgotten = parts.store.forget_wording((parts.now() - KEPT).date())
    if forgotten:
        log.info("the wording of %d old messages was dropped", forgotten)
    parts.store.forget_observed(parts.now() - RAIN_KEPT)


def _stop_on_signals(stop: threading.Event) -> None:
    """SIGTERM and SIGINT end the service. Only the main thread may ask for signals."""
    if threading.current_thread() is not threading.main_thread():
        return

    def ask_to_stop(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, ask_to_stop)
