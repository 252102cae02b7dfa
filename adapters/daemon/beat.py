"""Keeps the jobs going. APScheduler is the alarm clock and nothing else: no job of its own survives the process."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

from adapters.clock import SystemClock
from adapters.store.engine import StoreError

log = logging.getLogger("ligule.jobs")

SAID_AGAIN_S = 300.0  # a fault that goes on is logged that often
HUNG_S = 900.0  # a job that runs longer than this is taken for hung


class Every(BaseTrigger):  # type: ignore[misc]
    """Fires at once and then some time after the last look.

    Unlike the library's interval trigger it does not count the beats that were missed: a clock that leaps by years
    would fill the memory with them.
    """

    def __init__(self, seconds: float) -> None:
        self.period = timedelta(seconds=seconds)

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime:
        """The next beat after `now`."""
        return now + self.period if previous_fire_time else now


@dataclass
class Job:
    """A job and how it fares. An exception is logged and ends this run only."""

    name: str
    work: Callable[[], None]
    seconds: float
    started_s: float | None = None
    _said: str = ""
    _said_s: float = 0.0

    def run(self) -> None:
        """One run."""
        self.started_s = time.monotonic()
        try:
            self.work()
        except StoreError as error:
            self._say(str(error))
        except Exception as error:  # noqa: BLE001 - the service outlives whatever a job meets
            self._say(f"{type(error).__name__}: {error}")
            log.debug("where it failed", exc_info=True)
        else:
            if self._said:
                log.info("job %s works again", self.name)
                self._said = ""
        finally:
            self.started_s = None

    def is_hung(self) -> bool:
        """True if the present run has lasted far too long."""
        started_s = self.started_s
        return started_s is not None and time.monotonic() - started_s > HUNG_S

    def _say(self, what: str) -> None:
        now_s = time.monotonic()
        if what != self._said or now_s - self._said_s > SAID_AGAIN_S:
            log.error("job %s failed: %s", self.name, " ".join(what.split()))
            self._said, self._said_s = what, now_s


class Beat:
    """Runs each job in a thread of its own, again and again; never two runs of one job at a time."""

    def __init__(self, jobs: list[Job]) -> None:
        self.jobs = jobs
        logging.getLogger("apscheduler").setLevel(logging.CRITICAL)  # it reports every skipped beat; see Job instead
        self._scheduler: Any = BackgroundScheduler(
            timezone=UTC,
            jobstores={"default": MemoryJobStore()},
            executors={job.name: ThreadPoolExecutor(1) for job in jobs},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        for job in jobs:
            self._scheduler.add_job(job.run, Every(job.seconds), id=job.name, executor=job.name)

    def start(self) -> None:
        """Set the jobs going; each has its first run at once."""
        self._scheduler.start()

    def wake(self) -> None:
        """Run every job now: after a step of the clock the alarm would ring too late or too early."""
        now = SystemClock().now()
        for job in self._scheduler.get_jobs():
            job.modify(next_run_time=now)

    def stop(self) -> None:
        """No new runs; waits for those that are under way."""
        self._scheduler.pause()
        self._scheduler.shutdown(wait=True)

    def is_well(self) -> bool:
        """False when a job hangs."""
        return not any(job.is_hung() for job in self.jobs)
