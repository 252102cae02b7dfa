"""Limits that hang on the lawn and the date, not on the weather: interval, yearly maximum, young turf, local rules."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from operator import attrgetter

from config.models import Estate, Lawn
from scheduler.season.due import Task, in_force, repeat_of
from scheduler.season.rules import rule_limits
from scheduler.values import Entry, Limit


def lawn_limits(
    estate: Estate, task: Task, on: date, entries: Sequence[Entry], rate: float | None = None
) -> tuple[Limit, ...]:
    """Every limit of the lawn's own on the date `on`, with value, allowed range and source.

    `rate` is what is put down (ml or g per m2), the sheet's if None.
    """
    limits = [_season(task, on), _interval(task, on, entries), _yearly_maximum(task, on, entries), _new_turf(task, on)]
    return (*[limit for limit in limits if limit], *rule_limits(estate, task.lawn, task.product, on, entries, rate))


# What a lawn is like, without what no limit of its own hangs on: only then may a new field be named here.
_NOT_ASKED = {
    "id", "name", "latitude", "longitude", "area_m2", "outline", "timezone", "programme", "round", "client",
    "irrigation", "hard_edges", "children_or_pets", "visit_min", "notes",
}  # fmt: skip
_asked_of = attrgetter(*(name for name in Lawn.model_fields if name not in _NOT_ASKED))


def likeness(lawn: Lawn, entries: Sequence[Entry]) -> Hashable:
    """What of a lawn and its past `lawn_limits` hang on. `entries` are the lawn's own rows.

    For lawns with the same likeness, tasks with the same product, step, season and dates have the same limits.
    """
    done = tuple(
        (e.product, e.local_date, e.kind, None if e.amount is None else (e.amount, e.area_m2 or lawn.area_m2))
        for e in in_force(entries, lawn.id)
    )
    return _asked_of(lawn), done


@dataclass(frozen=True)
class OwnLimits:
    """The lawn's own limits of today, and the dates from today on (ordinals) that they and the season leave."""

    today: tuple[Limit, ...]
    allowed: tuple[int, ...]


def own_limits(estate: Estate, task: Task, today: date, last: date, entries: Sequence[Entry]) -> OwnLimits:
    """Judge the dates from `today` to `last`. A date before the task is due, or after its season, is not allowed."""
    of_today = lawn_limits(estate, task, today, entries)
    allowed = []
    for ordinal in range(today.toordinal(), min(last, task.season.last).toordinal() + 1):
        on = date.fromordinal(ordinal)
        limits = of_today if on == today else lawn_limits(estate, task, on, entries) if on >= task.due.earliest else ()
        if on >= task.due.earliest and all(limit.ok is True for limit in limits):
            allowed.append(ordinal)
    return OwnLimits(of_today, tuple(allowed))


def _season(task: Task, on: date) -> Limit | None:
    """The programme's own season; only said when the date lies outside of it."""
    if task.season.first <= on <= task.season.last:
        return None
    note = f"the programme runs from {task.season.first} to {task.season.last}"
    return Limit("closed_season", None, "", (None, None), False, "programmes.toml from, to", note)


def _interval(task: Task, on: date, entries: Sequence[Entry]) -> Limit | None:
    """Days since the last application (done or skipped) of the product: never shorter than the repeat."""
    repeat = repeat_of(task.step, task.product)
    done = [e for e in in_force(entries, task.lawn.id, task.product.id) if e.local_date <= on]
    if repeat is None or not done:
        return None
    days = (on - done[-1].local_date).days
    source = "programmes.toml every_days" if task.step.every_days else f"products.toml {task.product.id} every_days"
    return Limit("interval", days, "d", (repeat[0], None), days >= repeat[0], source)


def _yearly_maximum(task: Task, on: date, entries: Sequence[Entry]) -> Limit | None:
    """Applications of the product in the calendar year, this one included."""
    most = task.product.most_per_year
    if most is None:
        return None
    done = [e for e in in_force(entries, task.lawn.id, task.product.id) if e.kind == "done"]
    count = 1 + sum(e.local_date.year == on.year for e in done)
    source = f"products.toml {task.product.id} most_per_year"
    return Limit("yearly_maximum", count, "applications in the year", (None, most), count <= most, source)


def _new_turf(task: Task, on: date) -> Limit | None:
    """Days since sowing against the label's gap."""
    gap, sown = task.product.label.sowing_gap_days, task.lawn.sown_on
    if sown is None or gap == 0:
        return None
    days = (on - sown).days
    source = f"products.toml {task.product.id} sowing_gap_days"
    return Limit("new_turf", days, "d since sowing", (gap, None), days >= gap, source)


def first_allowed(
    estate: Estate, task: Task, after: date, entries: Sequence[Entry], horizon_d: int = 400
) -> date | None:
    """The first date from `after` on that the lawn's own limits allow; None within `horizon_d` days there is none."""
    for step in range(horizon_d):
        day = after + timedelta(days=step)
        if all(limit.ok is not False for limit in lawn_limits(estate, task, day, entries)):
            return day
    return None
