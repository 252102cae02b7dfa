"""The coming days of one lawn, for pictures and pages: its weather, and hour by hour when each product may go on."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from config.models import Estate, Lawn, Product, Step
from scheduler.decide.explain import Hour, hours
from scheduler.decide.table import Table
from scheduler.decide.verdict import PRIORITY
from scheduler.morning import Desk, line_for
from scheduler.season.due import Season, Task, tasks
from scheduler.values import CellWeather, Due, Entry, Line, Verdict, Window
from scheduler.weather import sun
from scheduler.weather.forecast import HOUR

NOT_WORKED = frozenset(("hours", "daylight"))
_ORDER = {"go": 0, "hold": 1, "unknown": 2}


@dataclass(frozen=True)
class Run:
    """Working hours of one day, joined up [start, end), that have the same verdict."""

    start: datetime
    end: datetime
    verdict: Verdict
    indicative: bool = False  # some of it rests on forecast hours that are not given hour by hour


@dataclass(frozen=True)
class DayMark:
    """One product on one day. `verdict` None: no working hour is left. `stopped_by`: what holds most of a held day.

    `chance` as a fraction at the best start: of a wash-off (liquid, combined), of the wanted rain (granular).
    """

    day: date
    verdict: Verdict | None
    window: Window | None = None
    stopped_by: str = ""
    chance: float | None = None


@dataclass(frozen=True)
class Strip:
    """One product over the days."""

    line: Line
    hours: tuple[Hour, ...]  # from now on, as far as the forecast goes
    runs: tuple[Run, ...]
    days: tuple[DayMark, ...]


@dataclass(frozen=True)
class Outlook:
    """One lawn from the local midnight before `now` over some days. Instants are UTC."""

    estate: Estate
    lawn: Lawn
    zone: str
    now: datetime
    start: datetime
    end: datetime
    cell: CellWeather
    nights: tuple[tuple[datetime, datetime], ...]
    strips: tuple[Strip, ...]
    midnights: tuple[datetime, ...]  # of every day shown and of the one after
    coming: tuple[tuple[str, date], ...] = ()  # products not yet due: name, earliest

    @property
    def dates(self) -> tuple[date, ...]:
        """The local dates shown."""
        tz = ZoneInfo(self.zone)
        return tuple(when.astimezone(tz).date() for when in self.midnights[:-1])


def outlook(desk: Desk, lawn: Lawn, entries: Sequence[Entry], days: int = 5) -> Outlook:
    """The coming `days` of a lawn, with every product that is due today."""
    today = desk.now.astimezone(ZoneInfo(desk.estate.zone_of(lawn))).date()
    known: dict[str, Task] = {}
    for task in tasks(desk.estate, lawn, today, entries):
        known.setdefault(task.product.id, task)
    due = [task for task in known.values() if task.due.earliest <= today]
    coming = [(task.product.name, task.due.earliest) for task in known.values() if task.due.earliest > today]
    return replace(outlook_of(desk, lawn, due, entries, days), coming=tuple(coming))


def outlook_of(desk: Desk, lawn: Lawn, due: Sequence[Task], entries: Sequence[Entry], days: int = 5) -> Outlook:
    """The same for chosen products."""
    zone = desk.estate.zone_of(lawn)
    tz = ZoneInfo(zone)
    today = desk.now.astimezone(tz).date()
    midnights = tuple(_midnight(today + timedelta(days=n), tz) for n in range(days + 1))
    strips = [_strip(desk, task, entries, midnights, zone) for task in due]
    strips.sort(key=lambda strip: (_ORDER[strip.line.verdict], strip.line.due.latest, strip.line.product))
    return Outlook(
        desk.estate, lawn, zone, desk.now, midnights[0], midnights[-1], desk.cell(lawn),
        _nights(lawn, midnights[0], midnights[-1]), tuple(strips), midnights,
    )  # fmt: skip


def task_for(estate: Estate, lawn: Lawn, product: Product, today: date, entries: Sequence[Entry]) -> Task:
    """The task of the lawn's programme, or, for a product outside of it, one that would be open all year."""
    for task in tasks(estate, lawn, today, entries):
        if task.product.id == product.id:
            return task
    step = Step.model_validate({"product": product.id, "from": "01-01", "to": "12-31"})
    season = Season(today.replace(month=1, day=1), today.replace(month=12, day=31))
    return Task(lawn, product, step, season, Due(today, today, season.last, True), estate.tank_l)


def judged_hours(desk: Desk, task: Task, entries: Sequence[Entry], most: int) -> list[Hour]:
    """The next `most` hours of a task; none without a fresh forecast."""
    table = desk.table(task.lawn, task.product)
    if table is None or desk.cell(task.lawn).state != "fresh":
        return []
    return hours(desk.estate, task, table, desk.now, desk.estate.zone_of(task.lawn), entries, most)


def is_worked(hour: Hour) -> bool:
    """True if the hour lies inside working hours and daylight."""
    return not NOT_WORKED.intersection(hour.stopped_by)


def _midnight(day: date, tz: ZoneInfo) -> datetime:
    """The first instant of a local date, UTC."""
    return datetime(day.year, day.month, day.day, tzinfo=tz).astimezone(UTC)


def _nights(lawn: Lawn, start: datetime, end: datetime) -> tuple[tuple[datetime, datetime], ...]:
    """The dark spells of [start, end)."""
    hours_shown = int((end - start) / HOUR) + 1
    light = sorted(sun.spells(lawn.latitude, lawn.longitude, start.replace(minute=0), hours_shown))
    edges = [start, *(min(max(edge, start), end) for spell in light for edge in spell), end]
    return tuple((a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)


def _strip(desk: Desk, task: Task, entries: Sequence[Entry], midnights: Sequence[datetime], zone: str) -> Strip:
    tz = ZoneInfo(zone)
    line = line_for(desk, task, entries)
    judged = judged_hours(desk, task, entries, int((midnights[-1] - desk.now) / HOUR) + 1)
    judged = [hour for hour in judged if hour.start < midnights[-1]]
    worked: dict[date, list[Hour]] = {}
    for hour in judged:
        if is_worked(hour):
            worked.setdefault(hour.start.astimezone(tz).date(), []).append(hour)
    runs: dict[date, list[Run]] = {}
    for day, its_hours in worked.items():
        if task.due.earliest <= day <= task.season.last:
            runs[day] = _runs(its_hours, desk.table(task.lawn, task.product), desk.now)
    cell, named = desk.cell(task.lawn), {}
    for window in (line.next_window, line.window):
        if window is not None:
            named[window.start.astimezone(tz).date()] = window
    days = []
    for midnight in midnights[:-1]:
        day = midnight.astimezone(tz).date()
        mark = _day(day, task, cell, worked.get(day, []), runs.get(day, []), named.get(day), tz)
        days.append(replace(mark, chance=_chance(mark, line, worked.get(day, []))))
    if line.verdict == days[0].verdict:
        days[0] = replace(days[0], chance=_told_chance(line))
    return Strip(line, tuple(judged), tuple(run for day in sorted(runs) for run in runs[day]), tuple(days))


def _chance(mark: DayMark, line: Line, worked: Sequence[Hour]) -> float | None:
    """The chance at the day's best start; None where the day is not decided."""
    if mark.verdict not in ("go", "hold"):
        return None
    window = mark.window
    inside = [h for h in worked if window is None or window.start < h.start + HOUR and h.start < window.end]
    name, best = ("rain_band", max) if line.form == "granular" else ("rain_after", min)
    found = [x.value for h in inside for x in h.limits if x.name == name and x.unit == "1" and x.value is not None]
    return best(found) if found else None


def _told_chance(line: Line) -> float | None:
    """The chance that the brief tells for today."""
    if line.verdict == "go" and line.chance is not None:
        return line.chance.dissolved if line.form == "granular" else line.chance.washed_off
    name = "rain_band" if line.form == "granular" else "rain_after"
    return next((x.value for x in line.limits if x.name == name and x.unit == "1"), None)


def _runs(worked: Sequence[Hour], table: Table | None, now: datetime) -> list[Run]:
    """Hours of one day that follow each other with one verdict, joined up."""
    found: list[Run] = []
    for hour in worked:
        rough = table is not None and not bool(table.hourly[table.forecast.index(hour.start)])
        if found and found[-1].end == hour.start and found[-1].verdict == hour.verdict:
            found[-1] = replace(found[-1], end=hour.start + HOUR, indicative=found[-1].indicative or rough)
        else:
            found.append(Run(max(hour.start, now), hour.start + HOUR, hour.verdict, rough))
    return found


def _day(
    day: date,
    task: Task,
    cell: CellWeather,
    worked: Sequence[Hour],
    runs: Sequence[Run],
    named: Window | None,
    tz: ZoneInfo,
) -> DayMark:
    """What one day offers: the window that the brief names, else the day's longest; or what stands in the way."""
    if day < task.due.earliest:
        return DayMark(day, "hold", stopped_by="not_due")
    if day > task.season.last:
        return DayMark(day, "hold", stopped_by="season_over")
    if cell.state != "fresh" or cell.forecast is None:
        return DayMark(day, "unknown")
    open_ = [run for run in runs if run.verdict == "go"]
    if named is None and open_:
        longest = max(open_, key=lambda run: run.end - run.start)
        named = Window(longest.start, longest.end, indicative=longest.indicative)
    if named is not None:
        return DayMark(day, "go", named)
    if any(hour.verdict == "unknown" for hour in worked):
        return DayMark(day, "unknown")
    if worked:
        named_first = Counter(min(hour.stopped_by, key=PRIORITY.index) for hour in worked)
        return DayMark(day, "hold", stopped_by=named_first.most_common(1)[0][0])
    covered = cell.forecast.end.astimezone(tz).date() > day
    return DayMark(day, None) if covered else DayMark(day, "unknown")
