"""Received forecasts and the state of the feeds, by cell and provider."""

import gzip
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, delete, func, insert, select

from adapters.store.tables import forecast_run

CLOCK_SLACK = timedelta(minutes=5)
KEPT = 3  # last good answers kept of each cell and provider


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
class RunHead:
    """What is known of a run without reading it."""

    id: int
    issued_at: datetime


def save(
    connection: Connection, cell: str, provider: str, *, issued_at: datetime, received_at: datetime, body: bytes
) -> int:
    """Keep one good answer (its id), and drop those of this cell and provider that are older than the last KEPT."""
    row = {
        "cell": cell,
        "provider": provider,
        "issued_at": issued_at,
        "received_at": received_at,
        "body_gz": gzip.compress(body, compresslevel=6, mtime=0),
    }
    number = int(connection.execute(insert(forecast_run).values(row).returning(forecast_run.c.id)).scalar_one())
    mine = (forecast_run.c.cell == cell) & (forecast_run.c.provider == provider)
    newest = select(forecast_run.c.id).where(mine).order_by(forecast_run.c.id.desc())
    kept = newest.limit(KEPT).scalar_subquery()
    connection.execute(delete(forecast_run).where(mine, forecast_run.c.id.not_in(kept)))
    return number


def newest(connection: Connection, now: datetime) -> dict[tuple[str, str], RunHead]:
    """(cell, provider) -> the run that came last, without its body; none from after `now` (a clock put back)."""
    runs = select(
        forecast_run.c.id,
        forecast_run.c.cell,
        forecast_run.c.provider,
        forecast_run.c.issued_at,
        func.row_number()
        .over(
            partition_by=(forecast_run.c.cell, forecast_run.c.provider),
            order_by=forecast_run.c.id.desc(),
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
