"""A cold morning, timed: from the bytes of the feed to committed outbox rows, beside the least that any program needs.

    python -m tests.bench.morning --lawns 10000 --cells 400 --members 31 --json

The morning is the service's own: feed job, brief job, store. Only the transport is ours, and it serves from memory.
The floor is `json.loads` of the same bytes and the same rows put into SQLite by `executemany`.
"""

import argparse
import json
import resource
import sqlite3
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import requests
from sqlalchemy import insert

from adapters.daemon.brief_job import BriefJob
from adapters.daemon.feed_job import FeedJob
from adapters.daemon.parts import Parts
from adapters.daemon.service import spare_collections
from adapters.feeds import fetch
from adapters.store import Store, open_store
from adapters.store import tables as t
from config.models import Estate
from tests.bench import invented
from tests.bench.feed_bytes import served
from tests.bench.transport import InProcess, session_with


@dataclass(frozen=True)
class Figures:
    """What one run measured. `verdicts` counts decisions, one for each lawn and product that was due."""

    lawns: int
    seconds: float
    floor_seconds: float
    ratio: float
    peak_mb: float
    verdicts: int
    messages: int
    http_requests: int


@dataclass(frozen=True)
class FixedEstate:
    """Stands in for the folder: the estate as it was loaded."""

    estate: Estate

    def current(self) -> Estate:
        """The estate."""
        return self.estate


@dataclass(frozen=True)
class FixedClock:
    """Always the same morning."""

    trial: bool = False

    def now(self) -> Any:
        """The morning."""
        return invented.NOW


class NoWait(threading.Event):
    """The service's stop: never set, and the pauses that feeds ask for are over at once."""

    def wait(self, timeout: float | None = None) -> bool:
        """Is not waited for."""
        return self.is_set()


def run(lawns: int, cells: int, members: int, folder: Path) -> tuple[Figures, dict[tuple[str, str], str]]:
    """One morning in an empty folder: the figures, and (lawn, product) -> verdict."""
    estate = invented.estate(lawns, cells, members)
    adapter = InProcess(served(invented.cell_centres(cells), members))
    with open_store(folder) as store:
        _fill_ledger(store, estate)
        parts = Parts(store, FixedEstate(estate), FixedClock(), {}, "bench", NoWait())  # type: ignore[arg-type]
        begun = time.perf_counter()
        morning(parts, session_with(adapter))
        seconds = time.perf_counter() - begun
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        briefs, messages = _rows(store, "brief_log"), _rows(store, "outbox")
    begun = time.perf_counter()
    floor(adapter.bodies, {"brief_log": briefs, "outbox": messages}, folder / "floor.db")
    floor_s = time.perf_counter() - begun
    verdicts = {
        (line["lawn"], line["product"]): line["verdict"] for brief in briefs for line in json.loads(brief["lines"])
    }
    figures = Figures(
        lawns, seconds, floor_s, seconds / floor_s, peak_mb, len(verdicts), len(messages), len(adapter.bodies)
    )
    return figures, verdicts


def morning(parts: Parts, session: requests.Session) -> None:
    """The part that is timed."""
    spare_collections()

    def refresh(*args: Any, **settings: Any) -> Any:
        return fetch.refresh(*args, **{**settings, "session": session})

    feeds = FeedJob(parts, refresh)
    feeds.run()
    BriefJob(parts, feeds.looked_at).run()


def floor(bodies: list[bytes], tables: Mapping[str, list[dict[str, Any]]], file: Path) -> None:
    """The least: the same bytes read, the same rows committed."""
    for body in bodies:
        json.loads(body)
    with sqlite3.connect(file, isolation_level=None) as connection:
        connection.execute("BEGIN")
        for table, rows in tables.items():
            names = ", ".join(f'"{name}"' for name in rows[0])
            connection.execute(f"CREATE TABLE {table} ({names})")
            marks = ", ".join("?" * len(rows[0]))
            connection.executemany(f"INSERT INTO {table} VALUES ({marks})", [tuple(row.values()) for row in rows])  # noqa: S608
        connection.execute("COMMIT")


def _rows(store: Store, table: str) -> list[dict[str, Any]]:
    """The rows of a table as the database keeps them."""
    with store.engine.connect() as connection:
        found = connection.exec_driver_sql(f"SELECT * FROM {table}")  # noqa: S608
        return [dict(row._mapping) for row in found]


def _fill_ledger(store: Store, estate: Estate) -> None:
    rows = [
        {name: value for name, value in asdict(entry).items() if name not in ("id", "undone_at")}
        | {"recorded_at": invented.NOW}
        for entry in invented.ledger(estate)
    ]
    with store.engine.begin() as connection:
        connection.execute(insert(t.ledger), rows)


def main(arguments: list[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lawns", type=int, default=10_000)
    parser.add_argument("--cells", type=int, default=400)
    parser.add_argument("--members", type=int, default=31, help="of the ensemble; 0: a single run with probabilities")
    parser.add_argument("--json", action="store_true", help="answer in JSON")
    asked = parser.parse_args(arguments)
    if asked.lawns < 1 or asked.cells < 1 or asked.members < 0 or asked.members == 1:
        parser.error("--lawns and --cells from 1, --members 0 or from 2")
    with tempfile.TemporaryDirectory() as folder:
        figures, _ = run(asked.lawns, min(asked.cells, asked.lawns), asked.members, Path(folder))
    if asked.json:
        print(json.dumps({"schema": 1, **asdict(figures)}))
    else:
        for name, value in asdict(figures).items():
            print(f"{name:14} {value:.3f}" if isinstance(value, float) else f"{name:14} {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
