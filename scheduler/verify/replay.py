"""What each policy would have done over observed hours, with a simulated forecast and the live decision's functions.

Every date of the season counts once as the day on which an application falls due. A liquid goes on the due day or is
held, at most until `liquid_hold_days` later; a granule may go `granular_early_days` before and is held as long. The
last day is taken as it comes. A day of the record whose rain is not known cannot be judged and is left out.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.decide.waiting import AHEAD, threshold_table, worth_taking
from scheduler.verify.bounds import Rate, bootstrap
from scheduler.verify.scores import brier
from scheduler.verify.simulate import ErrorModel, Run, Skill, simulate
from scheduler.weather.chance import band_chance, members_from_run, members_window_chance, mix_climate
from scheduler.weather.forecast import Floats, Ints
from scheduler.weather.rolling import whole_hours

Bools = NDArray[np.bool_]
TOO_SHORT = "the record is too short: no due date of the season with its days before and after lies in it"
POLICIES = ("calendar", "one_run", "ligule", "ligule_one_run", "clairvoyant")


@dataclass(frozen=True)
class Terms:
    """What is replayed. Defaults: a liquid due after 28 days and held to 42, a granule due after 35, from 31 to 49."""

    hour: int = 9  # local hour of the work
    months: tuple[int, ...] = (3, 4, 5, 6, 7, 8, 9, 10, 11)
    liquid_hold_days: int = 14
    dry_for_h: float = 8.0
    wet_mm: float = 0.5
    accepted_risk: float = 0.15
    granular_early_days: int = 4
    granular_hold_days: int = 14
    dissolve_h: float = 48.0
    band_mm: tuple[float, float] = (2.0, 12.0)
    heavy_mm_h: float | None = 8.0
    heavy_mm_24h: float | None = 25.0

    @property
    def leads(self) -> int:
        """Hours ahead that a forecast must cover: the days looked ahead and the longer window."""
        return 24 * AHEAD + max(whole_hours(self.dry_for_h), whole_hours(self.dissolve_h))


@dataclass(frozen=True)
class Outcome:
    """What one policy did: rates by name, mean days from the due date, and the day taken for each due date."""

    rates: dict[str, Rate]
    delay_d: float
    taken: Ints = field(repr=False)  # (due dates,) index into Season.start of the day taken


class Workable(NamedTuple):
    """Whether weather other than rain lets one work, by form; same shape each."""

    liquid: Bools
    granular: Bools


class Said(NamedTuple):
    """What forecasts issued at the hour of work say. Shapes (days, AHEAD + 1) for today, tomorrow, ..., or (days,)."""

    wet: Floats  # chance of a wet window
    dissolves: Floats  # chance of the rain that granules want
    run_wet: Floats  # (days,) the same chances from the single run with its spread
    run_dissolves: Floats
    run_alone_wet: Floats  # (days,) 0 or 1: what the single run says by itself
    run_alone_dissolves: Floats  # (days,)


@dataclass(frozen=True)
class Season:
    """The record day by day at the hour of work: what the forecasts said and what came. Shapes (days,)."""

    start: Ints  # index of the hour into the record
    month: Ints
    year: Ints
    workable: Workable
    said: Said
    wet: Floats  # 0 or 1
    dissolved: Floats
    too_dry: Floats
    too_heavy: Floats


@dataclass(frozen=True)
class Replay:
    """The answer of a replay."""

    n: int
    liquid: dict[str, Outcome]
    granular: dict[str, Outcome]
    brier_by_lead: tuple[float, ...]  # of the wet window's chance, 0, 1, ... days ahead
    blocks: str  # what the bootstrap draws: "year" or "month"
    season: Season = field(repr=False)
    due: Ints = field(repr=False)  # (due dates,) index into Season.start


def replay(
    rain: Floats,
    times: NDArray[np.datetime64],
    skill: Skill | ErrorModel,
    rng: np.random.Generator,
    terms: Terms | None = None,
    workable: Workable | None = None,
    progress: Callable[[int], object] = lambda _: None,
) -> Replay:
    """Replay a record of hours.

    Args:
        rain: (H,) observed mm per hour, NaN where missing.
        times: (H,) their starts in local standard time, one hour apart.
        skill: of the simulated forecast; promise no more than "low" gives.
        rng: source of all chance.
        workable: whether other weather (wind, heat) lets one work, (H,) by form; None where it is not known. The
            calendar does not ask.
        progress: told the number of days done after each part.

    ValueError when the record holds no due date that can be judged.
    """
    terms = terms or Terms()
    season = observe(rain, times, skill, rng, terms, workable, progress)
    due = _due_dates(season, terms)
    if not len(due):
        raise ValueError(TOO_SHORT)
    block, blocks = _blocks(season, due)
    kept = (season, due, terms)
    return Replay(
        n=len(due),
        liquid={
            name: _judge(season, due, taken, ("washed_off",), block, rng) for name, taken in _liquid(*kept).items()
        },
        granular={
            name: _judge(season, due, taken, ("success", "too_dry", "too_heavy"), block, rng)
            for name, taken in _granular(*kept).items()
        },
        brier_by_lead=tuple(_brier_ahead(season, lead) for lead in range(AHEAD + 1)),
        blocks=blocks,
        season=season,
        due=due,
    )


def observe(
    rain: Floats,
    times: NDArray[np.datetime64],
    skill: Skill | ErrorModel,
    rng: np.random.Generator,
    terms: Terms,
    workable: Workable | None,
    progress: Callable[[int], object],
) -> Season:
    """Forecast and truth of every day of the record whose forecast hours lie in it."""
    hour_of_day = (times - times.astype("datetime64[D]")).astype("timedelta64[h]").astype(np.int64)
    start = np.flatnonzero(hour_of_day == terms.hour)
    start = start[start + terms.leads <= len(rain)]
    wet = members_window_chance(rain[None], None, terms.dry_for_h, terms.wet_mm)
    bands = _band(rain[None], None, terms)
    if np.isnan(wet[start] + bands[0][start]).all():
        raise ValueError(TOO_SHORT)
    climate = (float(np.nanmean(wet[start])), float(np.nanmean(bands[0][start])))
    said = []
    for run in simulate(rain, start, terms.leads, skill, rng):
        said.append(_said(run, terms, *climate))
        progress(len(run.single))
    free = workable or Workable(*[np.ones(len(rain), dtype=bool)] * 2)
    month = times[start].astype("datetime64[M]").astype(np.int64)
    dissolved, too_dry, too_heavy = (band[start] for band in bands)
    return Season(
        start=start,
        month=month % 12 + 1,
        year=month // 12 + 1970,
        workable=Workable(free.liquid[start], free.granular[start]),
        said=Said(*(np.concatenate(parts) for parts in zip(*said, strict=True))),
        wet=wet[start],
        dissolved=dissolved,
        too_dry=too_dry,
        too_heavy=too_heavy,
    )


def _band(members: Floats, weights: Floats | None, terms: Terms) -> tuple[Floats, Floats, Floats]:
    return band_chance(
        members, weights, terms.dissolve_h, *terms.band_mm, heavy_mm_h=terms.heavy_mm_h, heavy_mm_24h=terms.heavy_mm_24h
    )


def _said(run: Run, terms: Terms, climate_wet: float, climate_dissolved: float) -> Said:
    """What one part's forecasts say."""

    def washed(members: Floats, weights: Floats | None) -> Floats:
        return members_window_chance(members, weights, terms.dry_for_h, terms.wet_mm)

    days = slice(0, 24 * AHEAD + 1, 24)
    alone = run.single[:, None, :]
    spread, weights, doubt = members_from_run(run.single, np.arange(terms.leads, dtype=np.float64))
    return Said(
        wet=washed(run.members, None)[:, days],
        dissolves=_band(run.members, None, terms)[0][:, days],
        run_wet=mix_climate(washed(spread, weights), doubt, climate_wet)[:, 0],
        run_dissolves=mix_climate(_band(spread, weights, terms)[0], doubt, climate_dissolved)[:, days],
        run_alone_wet=washed(alone, None)[:, 0],
        run_alone_dissolves=_band(alone, None, terms)[0][:, 0],
    )


def _due_dates(season: Season, terms: Terms) -> Ints:
    """Days of the season with all their days before and after in the record, whose own outcome is known."""
    day = np.arange(len(season.start))
    late = max(terms.liquid_hold_days, terms.granular_hold_days)
    inside = (day >= terms.granular_early_days) & (day + late < len(day))
    known = ~np.isnan(season.wet) & ~np.isnan(season.dissolved)
    return np.flatnonzero(inside & known & np.isin(season.month, terms.months))


def _first(go: Bools) -> Ints:
    """First day that may go, (due dates,) offsets; the last where none may. `go` is (due dates, days)."""
    return np.asarray(np.where(go.any(axis=1), np.argmax(go, axis=1), go.shape[1] - 1))


def _liquid(season: Season, due: Ints, terms: Terms) -> dict[str, Ints]:
    """Day taken by each policy for each due date. A chance that is not known never leads to a go."""
    go = {
        "one_run": (season.said.run_alone_wet == 0.0) & season.workable.liquid,
        "ligule": (season.said.wet[:, 0] <= terms.accepted_risk) & season.workable.liquid,
        "ligule_one_run": (season.said.run_wet <= terms.accepted_risk) & season.workable.liquid,
        "clairvoyant": (season.wet == 0.0) & season.workable.liquid,
    }
    days = due[:, None] + np.arange(terms.liquid_hold_days + 1)
    return {"calendar": due} | {name: due + _first(may[days]) for name, may in go.items()}


def _granular(season: Season, due: Ints, terms: Terms) -> dict[str, Ints]:
    """Day taken by each policy for each due date."""
    first = due - terms.granular_early_days
    span = terms.granular_early_days + terms.granular_hold_days
    days = first[:, None] + np.arange(span + 1)
    left = span - np.arange(span + 1)
    go = {
        "one_run": (season.said.run_alone_dissolves[days] == 1.0) & season.workable.granular[days],
        "clairvoyant": (season.dissolved[days] == 1.0) & season.workable.granular[days],
    }
    for name, chance in (("ligule", season.said.dissolves), ("ligule_one_run", season.said.run_dissolves)):
        table = threshold_table(chance, span)
        wanted = worth_taking(table[:, 0])  # (days, days left): today's row of each day's own forecast
        go[name] = (chance[days, 0] >= wanted[days, left]) & season.workable.granular[days]
    return {"calendar": due} | {name: first + _first(go[name]) for name in POLICIES if name in go}


def _blocks(season: Season, due: Ints) -> tuple[Ints, str]:
    """The bootstrap block of each due date: its year, or with fewer than three years its month."""
    years = np.unique(season.year[due])
    if len(years) >= 3:
        return season.year[due], "year"
    return season.year[due] * 12 + season.month[due], "month"


def _judge(
    season: Season, due: Ints, taken: Ints, names: tuple[str, ...], block: Ints, rng: np.random.Generator
) -> Outcome:
    outcomes = {
        "washed_off": season.wet,
        "success": season.dissolved,
        "too_dry": season.too_dry,
        "too_heavy": season.too_heavy,
    }
    rates = {name: bootstrap(outcomes[name][taken], block, rng) for name in names}
    return Outcome(rates, float(np.mean(taken - due)), taken)


def _brier_ahead(season: Season, lead: int) -> float:
    """Brier score of the wet window's chance `lead` days ahead; NaN when nothing can be scored."""
    chance, came = season.said.wet[: len(season.wet) - lead, lead], season.wet[lead:]
    if not len(chance) or np.isnan(chance + came).all():
        return float("nan")
    return brier(chance, came)
