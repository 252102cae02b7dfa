"""The season plan: what was done, what is due and what comes, with dates and nutrients, for one lawn and year."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Literal

from config.models import Estate, Lawn, Product
from scheduler.agronomy.nutrients import Nutrients, nutrients
from scheduler.decide.lawn_limits import first_allowed
from scheduler.season.dose import dose_of
from scheduler.season.due import Task, in_force, next_due, repeat_of, seasons, tasks
from scheduler.values import Due, Entry

MOST_PER_STEP = 400  # a step that repeats daily all year


@dataclass(frozen=True)
class Planned:
    """One application of the plan. `due` is set for what is still to do, `on` for what was done or skipped."""

    product: Product
    state: Literal["done", "skipped", "due", "coming"]
    due: Due | None
    on: date | None
    dose: Nutrients

    @property
    def sort_date(self) -> date:
        """The date it is listed under."""
        return self.on or (self.due.target if self.due else date.max)


def season_plan(
    estate: Estate, lawn: Lawn, year: int, entries: Sequence[Entry], today: date
) -> tuple[list[Planned], Nutrients]:
    """The year's applications in order of date, and the sum of what was and will be given.

    What is to come is planned from what was done: each next window opens a full repeat after the target before it, and
    moves on past days that the lawn's own limits forbid. Dates already past are not planned again.
    """
    known = {product.id: product for product in estate.products}
    rows = in_force(entries, lawn.id)
    plan = [_past(known[e.product], e, lawn) for e in rows if e.local_date.year == year and e.product in known]
    steps: dict[str, list[Task]] = {}
    for task in tasks(estate, lawn, max(today, date(year, 1, 1)), entries):
        steps.setdefault(task.product.id, []).append(task)
    for same in steps.values():
        plan += _coming(estate, same, year, list(rows), today)
    total = sum((p.dose for p in plan if p.state != "skipped"), Nutrients())
    return sorted(plan, key=lambda p: (p.sort_date, p.product.id)), total


def _past(product: Product, entry: Entry, lawn: Lawn) -> Planned:
    if entry.kind == "skipped":
        return Planned(product, "skipped", None, entry.local_date, Nutrients())
    return Planned(product, "done", None, entry.local_date, dose_of(entry, product, lawn))


def _coming(estate: Estate, steps: Sequence[Task], year: int, rows: list[Entry], today: date) -> list[Planned]:
    """The windows of one product from today to the year's end, over all its steps and their seasons that begin by then.

    A product may stand in several steps, at a rhythm of its own in each; the distance to the last one always counts.
    """
    found: list[Planned] = []
    lawn = steps[0].lawn
    programme = estate.programme(lawn.programme or "")
    done = in_force(rows, lawn.id, steps[0].product.id)
    last = done[-1].local_date if done else None
    ahead = [(season, task) for task in steps for season in seasons(task.step, programme, lawn, year)]
    for season, task in sorted(ahead, key=lambda item: item[0].first):
        repeat = repeat_of(task.step, task.product)
        while len(found) < MOST_PER_STEP and season.last >= today:
            due = next_due(season, repeat, last)
            if due is None:
                break
            wanted = max(due.target, today)
            here = Task(task.lawn, task.product, task.step, season, due, task.tank_l)
            on = first_allowed(estate, here, wanted, rows, (season.last - wanted).days + 1)
            if on is None:
                break
            if on.year == year:
                due = Due(due.earliest, on, max(due.latest, on), due.first)
                state: Literal["due", "coming"] = "due" if due.earliest <= today and not found else "coming"
                found.append(Planned(task.product, state, due, None, nutrients(task.product)))
            elif on.year > year:
                break
            rows.append(Entry(task.lawn.id, task.product.id, _noon(on), on))
            last = on
    return found


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), tzinfo=UTC)
