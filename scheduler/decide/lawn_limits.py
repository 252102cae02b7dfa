"""Limits that hang on the lawn and the date, not on the weather: interval, yearly maximum, young turf, local rules."""

from collections.abc import Sequence
from datetime import date, timedelta

from config.models import Estate
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
