"""One morning: every application that is due, judged on the weather at hand, in one brief per person."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from config.models import Estate, Feed, Lawn, Person, Product
from config.packs import cautions as pack_cautions
from config.resolve import accepted_risk, oldest_forecast_h, product_limits
from scheduler.agronomy.mixing import job_for
from scheduler.decide.cautions import cautions
from scheduler.decide.lawn_limits import OwnLimits, likeness, own_limits
from scheduler.decide.sky import Sky
from scheduler.decide.table import Table, limit_table
from scheduler.decide.verdict import PRIORITY, Judge, Judged, settle, wish_for
from scheduler.messages.words import AMOUNT, measure, reason, sentence
from scheduler.season.due import Task, tasks
from scheduler.values import Brief, CellWeather, Entry, Limit, Line
from scheduler.weather.cells import cell_of

SOON = timedelta(days=14)


@dataclass(frozen=True)
class Answer:
    """The verdict for one application and the words for it; in the text AMOUNT stands for the lawn's own amount."""

    judged: Judged
    why: str
    text: str


@dataclass(frozen=True)
class Answers:
    """For all lawns that are alike: the tasks that are due with their answers, and those that come soon."""

    due: tuple[tuple[Task, Answer], ...]
    coming: tuple[Task, ...]


class Desk:
    """The tables of one morning, made once per forecast cell and product class and looked up by every lawn."""

    def __init__(self, estate: Estate, now: datetime, weather: Mapping[str, CellWeather]) -> None:
        self.estate = estate
        self.now = now
        self.weather = weather
        self.risk = accepted_risk(estate)
        self._skies: dict[str, Sky] = {}
        self._tables: dict[tuple[object, ...], Table] = {}
        self._judges: dict[tuple[str, str, str], Judge] = {}
        self._own: dict[Hashable, OwnLimits] = {}
        self._answer: dict[Hashable, Answer] = {}
        self._answers: dict[Hashable, Answers] = {}

    def cell(self, lawn: Lawn) -> CellWeather:
        """The weather of a lawn's cell; a cell without an answer counts as down."""
        key = cell_of(lawn.latitude, lawn.longitude)
        return self.weather.get(key) or CellWeather(key, None, "down", "no forecast has been received")

    def table(self, lawn: Lawn, product: Product) -> Table | None:
        """The limit table of the lawn's cell for the product's class; None without a forecast."""
        cell = self.cell(lawn)
        if cell.forecast is None:
            return None
        zone = self.estate.zone_of(lawn)
        key = (cell.cell, zone, product.form, product_limits(product))
        if key not in self._tables:
            sky = self._skies.setdefault(cell.cell, Sky(cell.forecast))
            risk = (self.risk.number, self.risk.source)
            self._tables[key] = limit_table(
                sky, product, self.estate.hours, zone, risk, self.estate.rules, cell.warnings, known=cell.calibrations
            )
        return self._tables[key]

    def today(self, lawn: Lawn) -> date:
        """The date on the lawn."""
        return _date_in(self.estate.zone_of(lawn), self.now)

    def judge(self, task: Task, entries: Sequence[Entry]) -> Judged:
        """The verdict for one task; without a fresh forecast it can only be hold (by the lawn's limits) or unknown."""
        cell, today = self.cell(task.lawn), self.today(task.lawn)
        judge = self._judge(task, cell) if cell.state == "fresh" else None
        if judge is not None:
            own = self._own_limits(task, today, date.fromordinal(int(judge.table.days[-1])), entries)
            return settle(judge.weigh(wish_for(judge.table, task.lawn, task.due.latest, own.allowed)), own.today)
        dated = self._own_limits(task, today, today, entries).today
        data = _data_limit(cell, self.now, self.estate.feed)
        failing = [limit.name for limit in dated if limit.ok is False]
        if failing:
            return Judged("hold", None, None, None, min(failing, key=PRIORITY.index), (*dated, data))
        return Judged("unknown", None, None, None, "data", (*dated, data))

    def answers(self, lawn: Lawn, entries: Sequence[Entry]) -> Answers:
        """What is due and what comes, with the answers. Lawns of a cell that are alike in all that counts share it.

        The tasks of the result are those of the lawn that was asked about first.
        """
        key = (self._place(lawn), lawn.programme, lawn.latitude < 0, likeness(lawn, entries))
        if key not in self._answers:
            today = self.today(lawn)
            first: dict[str, Task] = {}
            for task in tasks(self.estate, lawn, today, entries):
                first.setdefault(task.product.id, task)
            due = tuple((task, self.answer(task, entries)) for task in first.values() if task.due.earliest <= today)
            coming = tuple(task for task in first.values() if today < task.due.earliest <= today + SOON)
            self._answers[key] = Answers(due, coming)
        return self._answers[key]

    def answer(self, task: Task, entries: Sequence[Entry]) -> Answer:
        """The verdict for one task in words."""
        key = (self._place(task.lawn), *self._task_key(task, entries))
        if key not in self._answer:
            zone, units = self.estate.zone_of(task.lawn), self.estate.units
            judged = self.judge(task, entries)
            why = reason(judged, zone, units)
            self._answer[key] = Answer(judged, why, sentence(judged, why, task, zone, units, self.now))
        return self._answer[key]

    def _place(self, lawn: Lawn) -> tuple[str, str, bool]:
        """Cell, zone, and whether there is water: what of a lawn its weather, hours and words hang on."""
        return self.cell(lawn).cell, self.estate.zone_of(lawn), lawn.irrigation != "none"

    def _task_key(self, task: Task, entries: Sequence[Entry]) -> tuple[Hashable, ...]:
        """What the lawn's own limits hang on, and the dates of the task."""
        return task.product.id, task.step.every_days, task.season, task.due, likeness(task.lawn, entries)

    def _judge(self, task: Task, cell: CellWeather) -> Judge | None:
        """The judge of the task's cell and product; products of one class share their table."""
        key = (cell.cell, self.estate.zone_of(task.lawn), task.product.id)
        if key not in self._judges and (table := self.table(task.lawn, task.product)) is not None:
            self._judges[key] = Judge(table, self.now)
        return self._judges.get(key)

    def _own_limits(self, task: Task, today: date, last: date, entries: Sequence[Entry]) -> OwnLimits:
        """The lawn's own limits; most lawns of a round have had the same on the same days and share them."""
        key = (today, last, *self._task_key(task, entries))
        if key not in self._own:
            self._own[key] = own_limits(self.estate, task, today, last, entries)
        return self._own[key]


def _data_limit(cell: CellWeather, now: datetime, feed: Feed) -> Limit:
    """Age of the forecast against the oldest that may lead to a go."""
    oldest = oldest_forecast_h(feed)
    note = f"no usable forecast: {cell.why}" if cell.state == "down" else cell.why
    age = None if cell.forecast is None else (now - cell.forecast.issued).total_seconds() / 3600.0
    return Limit("data", age, "h since issue", (0.0, oldest.number), False, oldest.source, note)


def line_for(desk: Desk, task: Task, entries: Sequence[Entry]) -> Line:
    """The decision for one application, with its text."""
    return _line(desk.estate, task.lawn, task, desk.answer(task, entries))


def _line(estate: Estate, lawn: Lawn, task: Task, answer: Answer) -> Line:
    """The answer for a lawn, with what is the lawn's own. The task may be that of another lawn that is alike."""
    judged, job = answer.judged, job_for(task.product, lawn.area_m2, estate.tank_l)
    return Line(
        lawn=lawn.id,
        lawn_name=lawn.name,
        product=task.product.id,
        product_name=task.product.name,
        form=task.product.form,
        due=task.due,
        verdict=judged.verdict,
        window=judged.window,
        next_window=judged.next_window,
        chance=judged.chance,
        binding=judged.binding,
        limits=judged.limits,
        job=job,
        cautions=(*cautions(lawn, task.product), *pack_cautions(estate.rules)),
        text=answer.text.replace(AMOUNT, measure(job, estate.units, task.tank_l)),
        group=lawn.round or "",
        why=answer.why,
        story=judged.story,
        better=judged.better,
    )


def _one_a_day(lines: Sequence[Line]) -> list[Line]:
    """A caution where more than one product may go on a lawn today: common practice is one a day."""
    open_: dict[str, list[str]] = {}
    for line in lines:
        if line.verdict == "go":
            open_.setdefault(line.lawn, []).append(line.product_name)
    said = {
        lawn: f"Put down one product a day; open here today: {', '.join(sorted(names))}."
        for lawn, names in open_.items()
        if len(names) > 1
    }
    return [
        replace(line, cautions=(said[line.lawn], *line.cautions))
        if line.verdict == "go" and line.lawn in said
        else line
        for line in lines
    ]


def brief_for(
    estate: Estate,
    person: Person | None,
    now: datetime,
    weather: Mapping[str, CellWeather],
    ledger: Sequence[Entry],
    desk: Desk | None = None,
) -> Brief:
    """What `person` (None: everybody) is told at `now`: one line for each application whose window is open.

    Lines that can be acted on come first. `desk` may be handed in to share the tables between people.
    """
    at = desk or Desk(estate, now, weather)
    lawns = estate.lawns if person is None else estate.lawns_of(person)
    by_lawn: dict[str, list[Entry]] = {}
    for entry in ledger:
        by_lawn.setdefault(entry.lawn, []).append(entry)
    lines: list[Line] = []
    coming: list[tuple[str, str, date]] = []
    for lawn in lawns:
        answers = at.answers(lawn, by_lawn.get(lawn.id, []))
        lines += [_line(estate, lawn, task, answer) for task, answer in answers.due]
        coming += [(lawn.name, task.product.name, task.due.earliest) for task in answers.coming]
    lines = _one_a_day(lines)
    order = {"go": 0, "hold": 1, "unknown": 2}
    lines.sort(key=lambda line: (line.group, order[line.verdict], line.due.latest, line.lawn, line.product))
    cells = {at.cell(lawn).cell: at.cell(lawn) for lawn in lawns}
    zone = person.timezone if person and person.timezone else estate.timezone
    return Brief(
        estate=estate.name,
        person=person.id if person else None,
        now=now,
        local_date=_date_in(zone, now),
        lines=tuple(lines),
        cells=tuple(cells[key] for key in sorted(cells)),
        coming=tuple(sorted(coming, key=lambda item: (item[2], item[0]))),
    )


@lru_cache(maxsize=256)
def _date_in(zone: str, now: datetime) -> date:
    """The date in a zone."""
    return now.astimezone(ZoneInfo(zone)).date()
