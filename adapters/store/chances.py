"""Chances as they were said, what came of them, and what was learned from both."""

import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, Row, delete, select, update
from sqlalchemy.dialects import postgresql, sqlite

from adapters.store.tables import calibration, chance_log
from scheduler.verify.place import Learned
from scheduler.weather.calibration import Calibrated, Event, Said
from scheduler.weather.forecast import Floats, Ints

log = logging.getLogger("ligule.store")

EVENT = tuple(field.name for field in fields(Event))
CHUNK = 500


@dataclass(frozen=True)
class Pairs:
    """The chances of one event and what came: mornings (as ordinals of the start), chances and outcomes, (n,) each."""

    day: Ints
    chance: Floats
    outcome: Floats


def say(connection: Connection, said: Sequence[Said], now: datetime) -> None:
    """Keep chances as they were said; of several on the same start and lead the first stays."""
    insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    rows = [{**_key(one), "chance": one.chance, "lead_h": one.lead_h, "said_at": now, "outcome": None} for one in said]
    for first in range(0, len(rows), CHUNK):
        connection.execute(insert(chance_log).values(rows[first : first + CHUNK]).on_conflict_do_nothing())


def undecided(connection: Connection, since: datetime, until: datetime) -> list[Said]:
    """Chances for starts in [since, until) whose outcome is not known."""
    open_ = chance_log.c.outcome.is_(None) & (chance_log.c.start >= since) & (chance_log.c.start < until)
    return [
        Said(row.cell, _event(row), row.start, row.chance, row.lead_h)
        for row in connection.execute(select(chance_log).where(open_))
    ]


def settle(connection: Connection, outcomes: Iterable[tuple[Said, int]]) -> None:
    """Record what came."""
    for said, outcome in outcomes:
        here = [chance_log.c[name] == value for name, value in _key(said).items()]
        connection.execute(update(chance_log).where(*here).values(outcome=outcome))


def forget(connection: Connection, before: datetime, undecided_before: datetime) -> int:
    """Drop the chances for starts before an instant, and those that nothing is known of before another; how many."""
    old = chance_log.c.start < before
    unknown = chance_log.c.outcome.is_(None) & (chance_log.c.start < undecided_before)
    return connection.execute(delete(chance_log).where(old | unknown)).rowcount


def pairs(connection: Connection, cell: str) -> dict[Event, Pairs]:
    """Event -> chances with their outcomes at a cell, oldest first."""
    query = select(chance_log).where(chance_log.c.cell == cell, chance_log.c.outcome.is_not(None))
    found: dict[Event, list[tuple[int, float, int]]] = {}
    for row in connection.execute(query.order_by(chance_log.c.start)):
        found.setdefault(_event(row), []).append((row.start.toordinal(), row.chance, row.outcome))
    return {event: _columns(rows) for event, rows in found.items()}


def _columns(rows: list[tuple[int, float, int]]) -> Pairs:
    day, chance, outcome = zip(*rows, strict=True)
    return Pairs(np.array(day, dtype=np.int64), np.array(chance), np.array(outcome, dtype=np.float64))


def save_learned(connection: Connection, cell: str, learned: Sequence[Learned], now: datetime) -> None:
    """Keep what a cell has taught, in place of what it had taught before."""
    connection.execute(delete(calibration).where(calibration.c.cell == cell))
    for one in learned:
        fit = one.fit
        knots = json.dumps([fit.x, fit.y])
        about = {name: getattr(fit.event, name) for name in EVENT}
        told = {"days": fit.days, "wet_days": fit.wet_days, "knots": knots, "in_use": one.helps, "fitted_at": now}
        connection.execute(calibration.insert().values(cell=cell, **about, **told))


def learned(connection: Connection) -> dict[str, tuple[Calibrated, ...]]:
    """Cell -> the maps that are in use there."""
    found: dict[str, list[Calibrated]] = {}
    for row in connection.execute(select(calibration).where(calibration.c.in_use)):
        fit = _fit(row)
        if fit is not None:
            found.setdefault(row.cell, []).append(fit)
    return {cell: tuple(fits) for cell, fits in found.items()}


def learned_at(connection: Connection) -> dict[str, datetime]:
    """Cell -> when its maps were made; cells that have none are left out."""
    return {row.cell: row.fitted_at for row in connection.execute(select(calibration.c.cell, calibration.c.fitted_at))}


def _fit(row: Row[Any]) -> Calibrated | None:
    """A stored map; None if it is none, which must cost no morning its brief."""
    try:
        x, y = json.loads(row.knots)
        return Calibrated(_event(row), tuple(x), tuple(y), row.days, row.wet_days)
    except (ValueError, TypeError):
        log.warning("the calibration of %s for %s is damaged and not used", row.provider, row.cell)
        return None


def _event(row: Row[Any]) -> Event:
    return Event(**{name: getattr(row, name) for name in EVENT})


def _key(said: Said) -> Mapping[str, Any]:
    return {"cell": said.cell, "start": said.start, **{name: getattr(said.event, name) for name in EVENT}}
