"""From limits to a verdict: go with a window, hold with the limit that binds and the next window, or unknown."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from config.models import Lawn
from scheduler.decide.row import TOLERANCE, Bools, Row
from scheduler.decide.table import Table, first_hour
from scheduler.decide.waiting import Waiting
from scheduler.values import Chance, Limit, Stretch, Verdict, Window
from scheduler.weather.forecast import HOUR, Floats, Ints

# Which failing limit is named first: what a person can least do about comes before what an hour's patience mends.
PRIORITY = (
    "closed_season", "yearly_maximum", "nitrogen_cap", "phosphorus_cap", "interval", "new_turf", "water_distance",
    "data", "weather_warning", "ground", "heavy_rain", "rain_after", "rain_band", "frost", "temperature", "wind",
    "gust", "inversion", "delta_t", "leaf", "mowing", "hours", "daylight",
)  # fmt: skip
RANK = {name: at for at, name in enumerate(PRIORITY)}

# Even on the last day granules are not thrown on a lawn that nobody can water with less than this chance of the right
# rain: where the declining threshold of the measured policy ends (tests/scheduler/verify).
LEAST_CHANCE = 0.20
GO: Verdict = "go"
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


@dataclass(frozen=True)
class Wish:
    """What a lawn asks of its class's table: all that lawns of one cell and class differ in, as far as weather goes.

    `allowed` are the dates from today on, as ordinals, that the lawn's own limits leave. `latest` is the last date of
    the application where it matters (see `wish_for`), `can_wet` whether the lawn can be watered where that matters.
    """

    allowed: tuple[int, ...]
    latest: date | None
    can_wet: bool


def wish_for(table: Table, lawn: Lawn, latest: date, allowed: tuple[int, ...]) -> Wish:
    """The wish of one lawn, without what makes no difference to its class, so that lawns that are alike are equal."""
    waits = table.form == "granular"
    damp = any(row.unit == "damp" for row in table.rows)
    return Wish(allowed, latest if waits else None, (waits or damp) and lawn.irrigation != "none")


class View:
    """The rows that count for a lawn, and what they leave of the hours.

    `passing` (rows, hours): where each row passes; `passes` (hours,): where all do; `ranked`: the rows in the order in
    which a failing one is named; `fails` (rows, hours): where each of these is known to fail.
    """

    def __init__(self, rows: tuple[Row, ...]) -> None:
        self.rows = rows
        values = np.array([row.value for row in rows])
        known = np.isfinite(values)
        low, high = _bounds([row.low for row in rows], -np.inf), _bounds([row.high for row in rows], np.inf)
        ok = known & (values >= low - TOLERANCE) & (values <= high + TOLERANCE)
        blocks = np.array([row.blocks for row in rows])[:, None]
        self.passing = ok | ~(known | blocks)
        self.passes = np.asarray(self.passing.all(axis=0))
        rank = sorted(range(len(rows)), key=lambda at: RANK[rows[at].name])
        self.ranked = [rows[at] for at in rank]
        self.fails = (known & ~ok)[rank]


def _bounds(bounds: Sequence[Floats | float | None], none: float) -> Floats:
    """One bound for each row: (rows, 1), or (rows, hours) if one of them changes from hour to hour."""
    given = [none if bound is None else bound for bound in bounds]
    hours = next((len(bound) for bound in given if isinstance(bound, np.ndarray)), None)
    return np.array(given)[:, None] if hours is None else np.array([np.broadcast_to(bound, hours) for bound in given])


@dataclass(frozen=True)
class Weighed:
    """What the weather says to a wish: the verdict for a lawn whose own limits are all kept today, and what tells it.

    `margin` is the smallest margin of a kept limit, as a share of its range, with the limit's name.
    """

    verdict: Verdict
    binding: str
    window: Window | None
    next_window: Window | None
    chance: Chance | None
    limits: tuple[Limit, ...]
    margin: tuple[float, str]
    story: tuple[Stretch, ...]
    better: tuple[date, float] | None


class Judge:
    """Judges the hours of one fresh table at `now`. Lawns that ask the same of it are answered once."""

    def __init__(self, table: Table, now: datetime) -> None:
        self.table, self.now = table, now
        self.today = now.astimezone(ZoneInfo(table.zone)).date()
        self._usable = np.arange(len(table.days)) >= first_hour(table.forecast, now)
        self._slots = self._usable & (table.days == self.today.toordinal())
        self._workable = self._slots & table.workable
        self._views: dict[tuple[date | None, bool], View] = {}
        self._waiting: Waiting | None = None
        self._weighed: dict[Wish, Weighed] = {}

    def weigh(self, wish: Wish) -> Weighed:
        """What the weather says to a wish."""
        if wish not in self._weighed:
            self._weighed[wish] = self._weigh(wish)
        return self._weighed[wish]

    def view(self, latest: date | None, can_wet: bool) -> View:
        """The class's rows with what the lawn itself changes.

        A lawn that can be watered may be wetted before a product that wants a damp leaf.
        """
        key = (latest, can_wet)
        if key not in self._views:
            rows = self.table.rows
            if can_wet:
                rows = tuple(replace(row, blocks=False, low=0.0) if row.unit == "damp" else row for row in rows)
            plain = self._views.setdefault((None, can_wet), View(rows))
            self._views[key] = View((*rows, *self._band_row(plain, latest, can_wet))) if latest else plain
        return self._views[key]

    def _weigh(self, wish: Wish) -> Weighed:
        table, view = self.table, self.view(wish.latest, wish.can_wet)
        by_date = self._usable & self._on(wish.allowed)
        fit = view.passes & by_date
        window = _best_run(table, fit & self._slots, self.now)
        following = None if window else _next_run(table, fit & ~self._slots, self.now)
        at = table.forecast.index(window.best or window.start) if window else _nearest(view, self._workable)
        limits = () if at is None else tuple(limit_at(row, at) for row in view.rows)
        verdict, binding = self._without_window(view, limits) if window is None else (GO, "")
        story = () if window else _story(view, np.flatnonzero(self._workable), table)
        better = None
        if wish.latest and at is not None:
            better = _better_day(view, table, by_date, at, wish.latest)
        return Weighed(
            verdict, binding, window, following, _chance_at(table, at), limits, _margin(limits), story, better
        )

    def _on(self, dates: Sequence[int]) -> Bools:
        """The hours that lie on some dates (ordinals), (hours,)."""
        first, last = int(self.table.days[0]), int(self.table.days[-1])
        is_wanted = np.zeros(last - first + 1, dtype=bool)
        is_wanted[[day - first for day in dates if first <= day <= last]] = True
        return np.asarray(is_wanted[self.table.days - first])

    def _without_window(self, view: View, limits: Sequence[Limit]) -> tuple[Verdict, str]:
        """The verdict and the limit that binds it, where no hour of today is left to go."""
        if self._workable.any():
            undecided = self._workable & ~view.fails.any(axis=0)
            return ("unknown", "data") if undecided.any() else ("hold", _first_failing(limits))
        if self.table.forecast.end.astimezone(ZoneInfo(self.table.zone)).date() <= self.today:
            return "unknown", "data"
        in_hours = any((self._slots & row.ok).any() for row in self.table.rows if row.name == "hours")
        return "hold", "daylight" if in_hours else "hours"

    def _band_row(self, plain: View, latest: date, can_wet: bool) -> list[Row]:
        """The rain that granules want, on hours that fit otherwise. Where the lawn can be watered no rain is needed."""
        table = self.table
        chance, band = table.rain.dissolved, table.limits.rain_band_mm
        if table.form != "granular" or chance is None or band is None or table.limits.dissolve_h is None:
            return []
        note = f"chance of {band.value[0]:g}-{band.value[1]:g} mm within {table.limits.dissolve_h.number:g} h"
        if can_wet:
            return [Row("rain_band", "1", chance, 0.0, None, band.source, note=f"{note}; the lawn can be watered")]
        if self._waiting is None:
            usable = np.where(plain.passes, chance, np.where(np.isnan(chance), np.nan, 0.0))
            self._waiting = Waiting(usable, table.days)
        wanted = np.maximum(LEAST_CHANCE, self._waiting.wanted_by_hour(latest.toordinal()))
        source = f"{band.source}; wanted today by what the days left promise (optimal stopping)"
        return [Row("rain_band", "1", chance, wanted, None, source, note=note)]


def settle(seen: Weighed, dated: tuple[Limit, ...]) -> Judged:
    """The verdict for a lawn whose own limits of today are `dated`; a go needs every limit known and kept."""
    verdict, binding = seen.verdict, seen.binding
    if any(limit.ok is False for limit in dated):
        verdict, binding = "hold", _first_failing(dated)
    elif any(limit.ok is None for limit in dated):
        verdict, binding = "unknown", "data"
    elif verdict == "go":
        binding = min(_margin(dated), seen.margin, key=lambda margin: margin[0])[1]
    return Judged(
        verdict=verdict,
        window=seen.window if verdict == "go" else None,
        next_window=seen.next_window,
        chance=seen.chance,
        binding=binding,
        limits=(*dated, *seen.limits),
        story=seen.story if verdict == "hold" else (),
        better=seen.better if binding == "rain_band" else None,
    )


def _better_day(view: View, table: Table, open_: Bools, at: int, latest: date) -> tuple[date, float] | None:
    """The later day, by the latest, whose chance of the right rain is the best and better than at hour `at`."""
    chance, days = table.rain.dissolved, table.days
    others = view.passing[[row.name != "rain_band" for row in view.rows]].all(axis=0)
    later = open_ & others & (days > days[at]) & (days <= latest.toordinal())
    if chance is None or not later.any():
        return None
    best = int(np.flatnonzero(later)[np.argmax(chance[later])])
    if chance[best] <= chance[at] + ALIKE:
        return None
    return date.fromordinal(int(days[best])), float(chance[best])


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


def _story(view: View, hours: Ints, table: Table) -> tuple[Stretch, ...]:
    """What rules out the workable hours of today: for each hour the failing limit named first, joined up."""
    told: list[Stretch] = []
    first = view.fails.argmax(axis=0)
    for at in hours[view.fails[:, hours].any(axis=0)].tolist():
        failing = view.ranked[first[at]]
        start = table.forecast.start + at * HOUR
        if told and told[-1].limit.name == failing.name and told[-1].end == start:
            told[-1] = replace(told[-1], end=start + HOUR)
        else:
            told.append(Stretch(start, start + HOUR, limit_at(failing, at)))
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


def _next_run(table: Table, mask: Bools, now: datetime) -> Window | None:
    """The best run of the first later day that has one."""
    fitting = np.flatnonzero(mask)
    if not fitting.size:
        return None
    return _best_run(table, mask & (table.days == table.days[fitting[0]]), now)


def _nearest(view: View, slots: Bools) -> int | None:
    """The workable hour of today that fails the fewest limits (the earlier of two), to explain a hold by; or None."""
    hours = np.flatnonzero(slots)
    if not hours.size:
        return None
    return int(hours[np.argmin(view.fails[:, hours].sum(axis=0))])


def limit_at(row: Row, at: int) -> Limit:
    """One row at one hour."""
    low, high = (None if x is None else float(x[at] if isinstance(x, np.ndarray) else x) for x in (row.low, row.high))
    value = float(row.value[at])
    if not math.isfinite(value):
        return Limit(row.name, None, row.unit, (low, high), None, row.source, row.note)
    ok = (low is None or value >= low - TOLERANCE) and (high is None or value <= high + TOLERANCE)
    return Limit(row.name, value, row.unit, (low, high), ok, row.source, row.note)


def _first_failing(limits: Sequence[Limit]) -> str:
    """The failing limit that is named first."""
    failing = [limit.name for limit in limits if limit.ok is False]
    return min(failing, key=RANK.__getitem__) if failing else "data"


def _margin(limits: Iterable[Limit]) -> tuple[float, str]:
    """The smallest margin of a limit, as a share of its allowed range or bound, and its name."""
    margins: dict[str, float] = {}
    for limit in limits:
        low, high = limit.allowed
        if limit.value is None or limit.name in ("hours", "daylight", "leaf", "inversion"):
            continue
        scale = (high - low) if low is not None and high is not None else abs(high or low or 1.0)
        sides = [x for x in ((high - limit.value) if high is not None else None,
                             (limit.value - low) if low is not None else None) if x is not None]  # fmt: skip
        if sides and scale > 0:
            margins[limit.name] = min(min(sides) / scale, margins.get(limit.name, np.inf))
    return min(((margin, name) for name, margin in margins.items()), key=lambda x: x[0], default=(np.inf, "hours"))


def _chance_at(table: Table, at: int | None) -> Chance | None:
    """The chances at one start hour; None where there is no hour to speak of."""
    if at is None:
        return None
    rain, limits = table.rain, table.limits

    def share(values: Floats | None) -> float | None:
        return None if values is None or not np.isfinite(values[at]) else float(values[at])

    liquid = rain.washed_off is not None and rain.dissolved is None
    hours = limits.dry_for_h if liquid else limits.dissolve_h
    days = 0 if rain.calibrated_days is None else int(rain.calibrated_days[at])
    return Chance(
        window_h=hours.number if hours else 0.0,
        method=f"{rain.method}, calibrated here on {days} days" if days else rain.method,
        washed_off=share(rain.washed_off),
        said=share(rain.said),
        calibrated_days=days,
        start=table.forecast.start + at * HOUR,
        wet_mm=limits.wet_mm.number if rain.washed_off is not None else None,
        dissolved=share(rain.dissolved),
        too_dry=share(rain.too_dry),
        too_heavy=share(rain.too_heavy),
    )
