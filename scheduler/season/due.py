"""What is due: the dates of each programme step, from the season, the interval and what was recorded."""

from calendar import isleap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from config.models import Estate, Lawn, Product, Programme, Step
from scheduler.values import Due, Entry


@dataclass(frozen=True)
class Season:
    """First and last day (inclusive) on which a step may be done."""

    first: date
    last: date


@dataclass(frozen=True)
class Task:
    """One product of a lawn's programme with the dates between which its next application lies."""

    lawn: Lawn
    product: Product
    step: Step
    season: Season
    due: Due
    tank_l: float = 15.0


def in_force(entries: Sequence[Entry], lawn_id: str, product_id: str | None = None) -> list[Entry]:
    """The rows of one lawn (and product) that were not taken back, oldest first."""
    rows = [e for e in entries if e.lawn == lawn_id and e.undone_at is None and product_id in (None, e.product)]
    return sorted(rows, key=lambda e: (e.at, e.id))


def month_day(text: str, year: int, shift_months: int = 0) -> date:
    """The date of "MM-DD" in `year`, moved by whole months; days that do not exist fall back to the month's last."""
    month, day = int(text[:2]), int(text[3:])
    month += shift_months
    year += (month - 1) // 12
    month = (month - 1) % 12 + 1
    longest = [31, 29 if isleap(year) else 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month - 1]
    return date(year, month, min(day, longest))


def seasons(step: Step, programme: Programme, lawn: Lawn, year: int) -> list[Season]:
    """The step's seasons that begin in the year before, in `year` and in the year after.

    Dates move six months where the lawn lies on the other side of the equator. A step may run over New Year.
    """
    shift = 6 if (lawn.latitude < 0) != (programme.hemisphere == "south") else 0
    return list(_seasons(step.from_, step.to, year, shift))


@lru_cache(maxsize=4096)
def _seasons(from_: str, to: str, year: int, shift_months: int) -> tuple[Season, ...]:
    found = []
    for begin in (year - 1, year, year + 1):
        first = month_day(from_, begin, shift_months)
        last = month_day(to, begin + (to < from_), shift_months)
        found.append(Season(first, last))
    return tuple(sorted(found, key=lambda s: s.first))


def repeat_of(step: Step, product: Product) -> tuple[int, int] | None:
    """Earliest and latest repeat in days: the step's, else the product's; None means once a season."""
    return step.every_days or product.every_days


def next_due(season: Season, repeat: tuple[int, int] | None, last: date | None) -> Due | None:
    """When the next application of a step lies in `season`, given the date of the last one; None if no more fits.

    After an application the next lies `repeat` days on, counted from what was done, never from the calendar. Without
    one the window opens with the season. The target lies a third into the window.
    """
    span = repeat[1] - repeat[0] if repeat else (season.last - season.first).days
    if last is not None and repeat is None and last >= season.first:
        return None
    earliest = season.first
    first = last is None or last < season.first
    if last is not None and repeat is not None:
        earliest = max(season.first, last + timedelta(days=repeat[0]))
    if earliest > season.last:
        return None
    latest = min(earliest + timedelta(days=span), season.last)
    return Due(earliest, earliest + timedelta(days=(latest - earliest).days // 3), latest, first)


def tasks(estate: Estate, lawn: Lawn, today: date, entries: Sequence[Entry]) -> list[Task]:
    """For each step of the lawn's programme the next application from `today` on, in this season or the next.

    A skipped application counts as the last one, so that the next keeps its distance. Ordered by earliest date.
    """
    if lawn.programme is None:
        return []
    programme = estate.programme(lawn.programme)
    found = []
    for step in programme.steps:
        product = estate.product(step.product)
        done = in_force(entries, lawn.id, product.id)
        last = done[-1].local_date if done else None
        for season in seasons(step, programme, lawn, today.year):
            if season.last < today:
                continue
            due = next_due(season, repeat_of(step, product), last)
            if due is not None:
                found.append(Task(lawn, product, step, season, due, estate.tank_l))
                break
    return sorted(found, key=lambda t: (t.due.earliest, t.product.id))
