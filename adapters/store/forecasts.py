"""Received forecasts and the state of the feeds, by cell and provider."""

import gzip
import json
from collections.abc import Iterable, Sequence
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
        return cls(cell, provider, issued_at, received_at, gzip.compress(body, compresslevel=1, mtime=0))


@dataclass(frozen=True)
class RunHead:
    """What is known of a run without reading it."""

    id: int
    issued_at: datetime


def save_all(connection: Connection, runs: Sequence[NewRun]) -> list[int]:
    """Keep good answers; their ids, in order. Of each cell and provider the last KEPT by their issue stay.

    Answers from after a new one, received under a clock that was ahead, do not count among these and go.
    """
    if not runs:
        return []
    added = insert(forecast_run).returning(forecast_run.c.id, sort_by_parameter_order=True)
    numbers = [int(number) for number in connection.execute(added, [vars(run) for run in runs]).scalars()]
    rounds: dict[tuple[str, datetime], list[str]] = {}
    for run in runs:
        rounds.setdefault((run.provider, run.received_at), []).append(run.cell)
    for (provider, received_at), cells in rounds.items():
        _drop_old(connection, provider, cells, received_at)
    return numbers


def _drop_old(connection: Connection, provider: str, cells: Sequence[str], received_at: datetime) -> None:
    mine = (forecast_run.c.provider == provider) & forecast_run.c.cell.in_(cells)
    sane = mine & (forecast_run.c.received_at <= received_at + CLOCK_SLACK)
    ranked = select(forecast_run.c.id, _rank().label("rank")).where(sane).subquery()
    kept = select(ranked.c.id).where(ranked.c.rank <= KEPT)
    connection.execute(delete(forecast_run).where(mine, forecast_run.c.id.not_in(kept)))


def _rank() -> Any:
    """1 for the run of its cell and provider that was issued last (of equals, that came last), 2 for the one before."""
    order = (forecast_run.c.issued_at.desc(), forecast_run.c.id.desc())
    return func.row_number().over(partition_by=(forecast_run.c.cell, forecast_run.c.provider), order_by=order)


def newest(connection: Connection, now: datetime) -> dict[tuple[str, str], RunHead]:
    """(cell, provider) -> the run issued last, without its body; none from after `now` (a clock put back).

    A feed that serves an old run after a newer one (a stale cache on its side) does not take the newer one away.
    """
    named = (forecast_run.c.id, forecast_run.c.cell, forecast_run.c.provider, forecast_run.c.issued_at)
    runs = select(*named, _rank().label("rank")).where(forecast_run.c.received_at <= now + CLOCK_SLACK)
    ranked = runs.subquery()
    found = connection.execute(select(ranked).where(ranked.c.rank == 1))
    return {(row.cell, row.provider): RunHead(row.id, row.issued_at) for row in found}


def load(connection: Connection, run_id: int) -> StoredRun | None:
    """One run with its body; None if it was dropped meanwhile."""
    row = connection.execute(select(forecast_run).where(forecast_run.c.id == run_id)).one_or_none()
    if row is None:
        return None
    return StoredRun(row.id, row.cell, row.provider, row.issued_at, row.received_at, gzip.decompress(row.body_gz))


def save_states(connection: Connection, states: Iterable[FetchState]) -> None:
    """Keep how a feed stands for each cell, in place of what was known before."""
    rows = [
        {name: getattr(state, name) for name in _STATE_NAMES} | {"extra": json.dumps(dict(state.extra))}
        for state in states
    ]
    if not rows:
        return
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = dialect.insert(feed_state)
    keys = ("provider", "cell")
    rest = {name: statement.excluded[name] for name in rows[0] if name not in keys}
    connection.execute(statement.on_conflict_do_update(index_elements=keys, set_=rest), rows)


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
