"""Do the feeds agree? What each of them says of one application, for the same start."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from scheduler.decide.table import Table
from scheduler.morning import Desk
from scheduler.season.due import Task
from scheduler.values import CellWeather, Entry, FeedState, Verdict, Window
from scheduler.weather.rolling import rolling_sum


@dataclass(frozen=True)
class Opinion:
    """One feed's word. `chance` as a fraction: of a wash-off (liquid, combined), of the wanted rain (granular).

    `chance` and `rain_mm` are of the window that follows the common start; None where the feed does not tell.
    """

    provider: str
    state: FeedState
    issued: datetime | None
    verdict: Verdict
    binding: str
    window: Window | None = None
    chance: float | None = None
    rain_mm: float | None = None
    method: str = ""
    why: str = ""  # in words, when not fresh


@dataclass(frozen=True)
class Agreement:
    """The feeds' words in the order given, and the start (UTC) and hours that they are about."""

    start: datetime | None
    window_h: int
    opinions: tuple[Opinion, ...]

    @property
    def is_one_voice(self) -> bool:
        """True if all feeds that are fresh come to the same verdict."""
        return len({opinion.verdict for opinion in self.opinions if opinion.state == "fresh"}) <= 1


def agreement(desk: Desk, task: Task, entries: Sequence[Entry], feeds: Mapping[str, CellWeather]) -> Agreement:
    """What each of `feeds` (provider -> its weather of the lawn's cell) says of a task that `desk` has judged.

    The start is the one that the desk's own verdict speaks of. Each feed is judged as if it were the only one.
    """
    chance = desk.judge(task, entries).chance
    start = None if chance is None else chance.start
    own = desk.cell(task.lawn)
    opinions, hours = [], 0 if chance is None else int(np.ceil(chance.window_h))
    for provider, given in feeds.items():
        # The one that decided may hold more than its feed gave it, such as the members of an ensemble.
        is_own = own.forecast is not None and own.forecast.provider == provider
        weather = own if is_own else replace(given, warnings=own.warnings)
        alone = Desk(desk.estate, desk.now, {own.cell: weather})
        table = alone.table(task.lawn, task.product) if weather.state == "fresh" else None
        judged = alone.judge(task, entries)
        told, rain = (None, None) if table is None or start is None else _at(table, start, hours)
        opinions.append(
            Opinion(
                provider=provider,
                state=weather.state,
                issued=weather.forecast.issued if weather.forecast else None,
                verdict=judged.verdict,
                binding=judged.binding,
                window=judged.window,
                chance=told,
                rain_mm=rain,
                method=table.rain.method if table else "",
                why=weather.why,
            )
        )
    return Agreement(start, hours, tuple(opinions))


def _at(table: Table, start: datetime, hours: int) -> tuple[float | None, float | None]:
    """Chance and amount for one start."""
    at = table.forecast.index(start)
    if not 0 <= at < table.forecast.hours:
        return None, None
    chances = table.rain.dissolved if table.form == "granular" else table.rain.washed_off
    values = (np.nan if chances is None else chances[at], rolling_sum(table.forecast.rain_mm, max(1, hours))[at])
    chance, rain = (float(value) if np.isfinite(value) else None for value in values)
    return chance, rain
