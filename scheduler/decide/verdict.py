"""From limits to a verdict: go with a window, hold with the limit that binds and the next window, or unknown."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from config.models import Estate
from scheduler.decide.lawn_limits import lawn_limits
from scheduler.decide.row import Bools, Row
from scheduler.decide.table import Table, first_hour
from scheduler.decide.waiting import wanted_by_hour
from scheduler.season.due import Task
from scheduler.values import Chance, Entry, Limit, Stretch, Verdict, Window
from scheduler.weather.forecast import HOUR, Floats, Ints

# Which failing limit is named first: what a person can least do about comes before what an hour's patience mends.
PRIORITY = (
    "closed_season", "yearly_maximum", "nitrogen_cap", "phosphorus_cap", "interval", "new_turf", "water_distance",
    "data", "weather_warning", "ground", "heavy_rain", "rain_after", "rain_band", "frost", "temperature", "wind",
    "gust", "inversion", "delta_t", "leaf", "mowing", "hours", "daylight",
)  # fmt: skip


# Even on the last day granules are not thrown on a lawn that nobody can water with less than this chance of the right
# rain: where the declining threshold of the measured policy ends (tests/scheduler/verify).
LEAST_CHANCE = 0.20
ALIKE = 0.03  # chances closer than this are not worth waiting for within a day


@dataclass(frozen=True)
class Judged:
    """The verdict for one application today."""

    verdict: Verdict
    window: Window | None
    next_window: Window | None
    chance: Chance | None
    binding: str
    limits: tuple[Limit, ...]
    story: tuple[Stretch, ...] = ()
    better: tuple[date, float] | None = None  # a later day, by the latest, with a likelier rain for granules


def judge(estate: Estate, task: Task, table: Table, now: datetime, zone: str, entries: Sequence[Entry]) -> Judged:
    """Judge `task` at `now` on a fresh forecast. Dates are the lawn's; a go needs every limit known and kept."""
    tz = ZoneInfo(zone)
    today = now.astimezone(tz).date()
    days = local_days(table, zone)
    rows = rows_for(task, table, zone)
    by_date = _allowed_dates(estate, task, days, today, entries)
    fit, bad = _stack(rows)
    fit &= by_date
    usable = np.arange(len(days)) >= first_hour(table.forecast, now)
    slots = usable & (days == today.toordinal())
    following = None
    window = _best_run(table, fit & slots, now)
    if window is None:
        last = max(task.season.last, today).toordinal()
        following = _next_run(table, fit & usable & (days > today.toordinal()) & (days <= last), days, now)
    dated = lawn_limits(estate, task, today, entries)
    at = table.forecast.index(window.best or window.start) if window else _nearest(rows, slots & table.workable)
    limits = (*dated, *(limit_at(row, at) for row in rows if at is not None))
    covered = table.forecast.end.astimezone(tz).date() > today
    verdict, binding = _verdict(dated, limits, table, slots, bad, window, covered)
    if verdict != "go":
        window = None
    story = _story(rows, np.flatnonzero(slots & table.workable), table) if verdict == "hold" else ()
    better = None
    if binding == "rain_band" and at is not None:
        better = _better_day(rows, table, days, by_date & usable, at, task.due.latest)
    return Judged(verdict, window, following, _chance_at(table, at), binding, limits, story, better)


def _verdict(
    dated: tuple[Limit, ...],
    limits: tuple[Limit, ...],
    table: Table,
    slots: Bools,
    bad: Bools,
    window: Window | None,
    day_covered: bool,
) -> tuple[Verdict, str]:
    """The verdict and the limit that binds it."""
    if any(limit.ok is False for limit in dated):
        return "hold", _first_failing(dated)
    if any(limit.ok is None for limit in dated):
        return "unknown", "data"
    if window is not None:
        return "go", _tightest(limits)
    workable = slots & table.workable
    if workable.any():
        return ("unknown", "data") if (workable & ~bad).any() else ("hold", _first_failing(limits))
    if not day_covered:
        return "unknown", "data"
    in_hours = any((slots & row.ok).any() for row in table.rows if row.name == "hours")
    return "hold", "daylight" if in_hours else "hours"


def rows_for(task: Task, table: Table, zone: str) -> list[Row]:
    """Every weather limit of one lawn over the hours: its class's table, with what the lawn itself changes.

    A lawn that can be watered may be wetted before a product that wants a damp leaf.
    """
    can_wet = task.lawn.irrigation != "none"
    rows = [replace(row, blocks=False, low=0.0) if can_wet and row.unit == "damp" else row for row in table.rows]
    return [*rows, *_band_row(task, table, local_days(table, zone), _stack(rows)[0])]


def local_days(table: Table, zone: str) -> Ints:
    """The lawn's date of each hour, as ordinals: (hours,)."""
    tz = ZoneInfo(zone)
    return np.array([when.astimezone(tz).date().toordinal() for when in table.forecast.times()], dtype=np.int64)


def _band_row(task: Task, table: Table, days: Ints, fit: Bools) -> list[Row]:
    """The rain that granules want, on hours that fit otherwise. Where the lawn can be watered no rain is needed."""
    chance = table.rain.dissolved
    band = table.limits.rain_band_mm
    if task.product.form != "granular" or chance is None or band is None or table.limits.dissolve_h is None:
        return []
    note = f"chance of {band.value[0]:g}-{band.value[1]:g} mm within {table.limits.dissolve_h.number:g} h"
    if task.lawn.irrigation != "none":
        return [Row("rain_band", "1", chance, 0.0, None, band.source, note=f"{note}; the lawn can be watered")]
    usable = np.where(fit, chance, np.where(np.isnan(chance), np.nan, 0.0))
    wanted = np.maximum(LEAST_CHANCE, wanted_by_hour(usable, days, task.due.latest.toordinal()))
    source = f"{band.source}; wanted today by what the days left promise (optimal stopping)"
    return [Row("rain_band", "1", chance, wanted, None, source, note=note)]


def _better_day(
    rows: list[Row], table: Table, days: Ints, open_: Bools, at: int, latest: date
) -> tuple[date, float] | None:
    """The later day, by the latest, whose chance of the right rain is the best and better than at hour `at`."""
    chance = table.rain.dissolved
    others, _ = _stack([row for row in rows if row.name != "rain_band"])
    later = open_ & others & (days > days[at]) & (days <= latest.toordinal())
    if chance is None or not later.any():
        return None
    best = int(np.flatnonzero(later)[np.argmax(chance[later])])
    if chance[best] <= chance[at] + ALIKE:
        return None
    return date.fromordinal(int(days[best])), float(chance[best])


def _allowed_dates(estate: Estate, task: Task, days: Ints, today: date, entries: Sequence[Entry]) -> Bools:
    """Hours whose date the lawn's own limits allow and that lie in the step's season and not before it is due."""
    allowed = {}
    for day in np.unique(days):
        on = date.fromordinal(int(day))
        inside = task.due.earliest <= on <= task.season.last
        allowed[day] = inside and all(limit.ok is True for limit in lawn_limits(estate, task, on, entries))
    return np.array([allowed[day] for day in days], dtype=bool)


def _stack(rows: list[Row]) -> tuple[Bools, Bools]:
    """Where every row passes, and where at least one is known to fail: (hours,) each."""
    passes = np.all([row.passes for row in rows], axis=0)
    fails = np.any([row.known & ~row.ok for row in rows], axis=0)
    return passes, fails


def _runs(mask: Bools) -> list[tuple[int, int]]:
    """Half-open index runs where `mask` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _cost(table: Table) -> Floats:
    """What makes one start better than another: the chance of a wash-off, or of rain that does not dissolve."""
    if table.rain.washed_off is not None:
        return table.rain.washed_off_by_end
    if table.rain.dissolved is not None:
        return 1.0 - table.rain.dissolved
    return np.zeros(table.forecast.hours)


def _story(rows: list[Row], hours: Ints, table: Table) -> tuple[Stretch, ...]:
    """What rules out the workable hours of today: for each hour the failing limit named first, joined up."""
    ranked = sorted(rows, key=lambda row: PRIORITY.index(row.name))
    told: list[Stretch] = []
    for at in hours:
        failing = next((row for row in ranked if row.known[at] and not row.ok[at]), None)
        if failing is None:
            continue
        start = table.forecast.start + int(at) * HOUR
        if told and told[-1].limit.name == failing.name and told[-1].end == start:
            told[-1] = replace(told[-1], end=start + HOUR)
        else:
            told.append(Stretch(start, start + HOUR, limit_at(failing, int(at))))
    return tuple(told)


def _best_run(table: Table, mask: Bools, now: datetime) -> Window | None:
    """The run of fitting hours with the best start in it; the earlier where two are alike to three hundredths."""
    cost = _cost(table)
    runs = _runs(mask)
    if not runs:
        return None
    least = cost[mask].min() + ALIKE
    first, end = next(run for run in runs if cost[run[0] : run[1]].min() <= least)
    best = first + int(np.argmax(cost[first:end] <= least))
    start = table.forecast.start
    begin = max(start + first * HOUR, now)
    return Window(begin, start + end * HOUR, max(start + best * HOUR, now), not table.hourly[first:end].all())


def _next_run(table: Table, mask: Bools, days: Ints, now: datetime) -> Window | None:
    """The best run of the first later day that has one."""
    fitting = np.flatnonzero(mask)
    if not fitting.size:
        return None
    return _best_run(table, mask & (days == days[fitting[0]]), now)


def _nearest(rows: list[Row], slots: Bools) -> int | None:
    """The workable hour of today that fails the fewest limits (the earlier of two), to explain a hold by; or None."""
    hours = np.flatnonzero(slots)
    if not hours.size:
        return None
    fails = np.sum([row.known & ~row.ok for row in rows], axis=0)
    return int(hours[np.argmin(fails[hours])])


def limit_at(row: Row, at: int) -> Limit:
    """One row at one hour."""
    low, high = (None if x is None else float(np.broadcast_to(x, row.value.shape)[at]) for x in (row.low, row.high))
    value = float(row.value[at])
    known = bool(np.isfinite(value))
    ok = bool(row.ok[at]) if known else None
    return Limit(row.name, value if known else None, row.unit, (low, high), ok, row.source, row.note)


def _first_failing(limits: Sequence[Limit]) -> str:
    """The failing limit that is named first."""
    failing = [limit.name for limit in limits if limit.ok is False]
    return min(failing, key=PRIORITY.index) if failing else "data"


def _tightest(limits: Sequence[Limit]) -> str:
    """The kept limit with the smallest margin, as a share of its allowed range or bound."""
    margins: dict[str, float] = {}
    for limit in limits:
        low, high = limit.allowed
        if limit.value is None or limit.name in ("hours", "daylight", "leaf", "inversion"):
            continue
        scale = (high - low) if low is not None and high is not None else abs(high or low or 1.0)
        sides = [x for x in ((high - limit.value) if high is not None else None,
                             (limit.value - low) if low is not None else None) if x is not None]  # fmt: skip
        if sides and scale > 0:
            margins[limit.name] = min(min(sides) / scale, margins.get(limit.name, 1e9))
    return min(margins, key=lambda name: margins[name]) if margins else "hours"


def _chance_at(table: Table, at: int | None) -> Chance | None:
    """The chances at one start hour; None where there is no hour to speak of."""
    if at is None:
        return None
    rain, limits = table.rain, table.limits

    def share(values: Floats | None) -> float | None:
        return None if values is None or not np.isfinite(values[at]) else float(values[at])

    liquid = rain.washed_off is not None and rain.dissolved is None
    hours = limits.dry_for_h if liquid else limits.dissolve_h
    return Chance(
        window_h=hours.number if hours else 0.0,
        method=rain.method,
        washed_off=share(rain.washed_off),
        wet_mm=limits.wet_mm.number if rain.washed_off is not None else None,
        dissolved=share(rain.dissolved),
        too_dry=share(rain.too_dry),
        too_heavy=share(rain.too_heavy),
    )
