"""Received forecasts and the state of the feeds, by cell and provider."""

import gzip
import json
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, delete, exists, func, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from adapters.feeds.state import FetchState
from adapters.store.tables import feed_state, forecast_run

CLOCK_SLACK = timedelta(minutes=5)
KEPT = 3  # last good answers kept of each cell and provider
_STATE_NAMES = tuple(field.name for field in fields(FetchState) if field.name != "extra")


@dataclass(frozen=True)
class StoredRun:
    """One received answer, as bytes: the feed's own parser reads it again."""

    id: int
    cell: str
    provider: str
    issued_at: datetime
    received_at: datetime
    body: bytes


@dataclass(frozen=True)
class NewRun:
    """One good answer to be kept. Packed before the transaction begins: packing takes longer than writing."""

    cell: str
    provider: str
    issued_at: datetime
    received_at: datetime
    body_gz: bytes

    @classmethod
    def of(cls, cell: str, provider: str, *, issued_at: datetime, received_at: datetime, body: bytes) -> "NewRun":
        """A run with its body packed."""
        return cls(cell, provider, issued_at, received_at, gzip.compress(body, compresslevel=6, mtime=0))


@dataclass(frozen=True)
class RunHead:
    """What is known of a run without reading it."""

    id: int
    issued_at: datetime


def save(connection: Connection, run: NewRun) -> int:
    """Keep one good answer (its id), and drop all of its cell and provider but the KEPT that were issued last.

    What was received after it bears a clock that was wrong, and goes as well.
    """
    row = {
        "cell": run.cell,
        "provider": run.provider,
        "issued_at": run.issued_at,
        "received_at": run.received_at,
        "body_gz": run.body_gz,
    }
    number = int(connection.execute(insert(forecast_run).values(row).returning(forecast_run.c.id)).scalar_one())
    mine = (forecast_run.c.cell == run.cell) & (forecast_run.c.provider == run.provider)
    sane = mine & (forecast_run.c.received_at <= run.received_at + CLOCK_SLACK)
    order = forecast_run.c.issued_at.desc(), forecast_run.c.id.desc()
    kept = select(forecast_run.c.id).where(sane).order_by(*order).limit(KEPT).scalar_subquery()
    connection.execute(delete(forecast_run).where(mine, forecast_run.c.id.not_in(kept)))
    return number


def newest(connection: Connection, now: datetime) -> dict[tuple[str, str], RunHead]:
    """(cell, provider) -> the run issued last, without its body; none from after `now` (a clock put back).

    A feed that serves an old run after a newer one (a stale cache on its side) does not take the newer one away.
    """
    runs = select(
        forecast_run.c.id,
        forecast_run.c.cell,
        forecast_run.c.provider,
        forecast_run.c.issued_at,
        func.row_number()
        .over(
            partition_by=(forecast_run.c.cell, forecast_run.c.provider),
            order_by=(forecast_run.c.issued_at.desc(), forecast_run.c.id.desc()),
        )
        .label("rank"),
    ).where(forecast_run.c.received_at <= now + CLOCK_SLACK)
    ranked = runs.subquery()
    found = connection.execute(select(ranked).where(ranked.c.rank == 1))
    return {(row.cell, row.provider): RunHead(row.id, row.issued_at) for row in found}


def load(connection: Connection, run_id: int) -> StoredRun | None:
    """One run with its body; None if it was dropped meanwhile."""
    row = connection.execute(select(forecast_run).where(forecast_run.c.id == run_id)).one_or_none()
    if row is None:
        return None
    return StoredRun(row.id, row.cell, row.provider, row.issued_at, row.received_at, gzip.decompress(row.body_gz))


def save_state(connection: Connection, state: FetchState) -> None:
    """Keep how a feed stands for a cell, in place of what was known before."""
    row = {name: getattr(state, name) for name in _STATE_NAMES} | {"extra": json.dumps(dict(state.extra))}
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(feed_state).values(row)
    keys = ("provider", "cell")
    rest = {name: value for name, value in row.items() if name not in keys}
    connection.execute(statement.on_conflict_do_update(index_elements=keys, set_=rest))


def states(connection: Connection, provider: str) -> dict[str, FetchState]:
    """Cell -> how one feed stands. Without an answer kept, its validators are left out: the feed is asked in full."""
    kept = exists().where(forecast_run.c.cell == feed_state.c.cell, forecast_run.c.provider == feed_state.c.provider)
    query = select(feed_state, kept.label("kept")).where(feed_state.c.provider == provider)
    return {row.cell: _state(row) for row in connection.execute(query)}


def _state(row: Row[Any]) -> FetchState:
    state = FetchState(**{name: getattr(row, name) for name in _STATE_NAMES}, extra=json.loads(row.extra))
    if row.kept:
        return state
    state = replace(state, last_modified=None, etag=None, expires_at=None)
    return state if state.failures else replace(state, next_try_at=None)
