"""Why: the verdict hour by hour, with every limit, for one lawn and product."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from config.models import Estate
from scheduler.decide.lawn_limits import lawn_limits
from scheduler.decide.table import Table, first_hour
from scheduler.decide.verdict import Judge, limit_at, wish_for
from scheduler.season.due import Task
from scheduler.values import Entry, Limit, Verdict
from scheduler.weather.forecast import HOUR


@dataclass(frozen=True)
class Hour:
    """One start hour: its verdict, the limits that stop it, all limits, and the forecast behind them."""

    start: datetime
    verdict: Verdict
    stopped_by: tuple[str, ...]
    limits: tuple[Limit, ...]
    rain_mm: float | None
    temperature_c: float | None
    wind_m_s: float | None


def hours(
    estate: Estate, task: Task, table: Table, now: datetime, zone: str, entries: Sequence[Entry], most: int = 48
) -> list[Hour]:
    """The next `most` hours from `now`, each judged as the brief judges them."""
    judge = Judge(table, now)
    wish = wish_for(table, task.lawn, task.due.latest, ())
    rows, days = judge.view(wish.latest, wish.can_wet).rows, table.days
    first = first_hour(table.forecast, now)
    dated: dict[int, tuple[Limit, ...]] = {}
    found = []
    for at in range(first, min(first + most, table.forecast.hours)):
        day = int(days[at])
        if day not in dated:
            dated[day] = lawn_limits(estate, task, date.fromordinal(day), entries)
        limits = (*dated[day], *(limit_at(row, at) for row in rows))
        stopping = [*dated[day], *(limit_at(row, at) for row in rows if row.blocks or row.known[at])]
        found.append(_hour(table, at, limits, stopping))
    return found


def _hour(table: Table, at: int, limits: tuple[Limit, ...], stopping: list[Limit]) -> Hour:
    failing = list(dict.fromkeys(limit.name for limit in stopping if limit.ok is False))
    missing = list(dict.fromkeys(limit.name for limit in stopping if limit.ok is None))
    verdict: Verdict = "hold" if failing else "unknown" if missing else "go"
    forecast = table.forecast

    def value(name: str) -> float | None:
        number = float(getattr(forecast, name)[at])
        return number if np.isfinite(number) else None

    return Hour(
        forecast.start + at * HOUR, verdict, tuple(failing or missing), limits,
        value("rain_mm"), value("temperature_c"), value("wind_m_s"),
    )  # fmt: skip
