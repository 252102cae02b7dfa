"""A simulated ensemble over observed hours: forecasts with honest spread where no archive of real ones is at hand.

A latent signal is the truth, late or early by z0 sd(l) hours and scaled by exp(-s(l) a0); from some lead on it may lose
all skill and be the weather of another year at the same season. Members lie round the signal, not round the truth, so
that truth and members are drawn from one law and the ensemble is honest.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from scheduler.weather.forecast import Floats, Ints

Skill = Literal["high", "low", "perfect"]

MEMBERS = 31
FULL_H = 168.0
ANALOGUE_DAYS = 15  # another year, this close in season
ONE_YEAR_DAYS = (10, 45)  # with one year only: at least and at most this far away in the same year
CHUNK = 256


@dataclass(frozen=True)
class ErrorModel:
    """Errors by lead l in hours: value at 0 and at 168 h; no skill = first + second (l / 168) ** power."""

    timing_h: tuple[float, float] = (1.0, 6.0)
    log_amount: tuple[float, float] = (0.3, 0.6)
    no_skill: tuple[float, float, float] = (0.0, 0.0, 1.0)
    drizzle_mm: float = 0.12  # a forecast hour below it is dry

    def at(self, lead_h: Floats) -> tuple[Floats, Floats, Floats]:
        """Timing sd [h], log amount sd, and chance of no skill, each (L,)."""
        x = np.clip(np.asarray(lead_h, dtype=np.float64) / FULL_H, 0.0, 1.0)
        timing = self.timing_h[0] + (self.timing_h[1] - self.timing_h[0]) * x
        amount = self.log_amount[0] + (self.log_amount[1] - self.log_amount[0]) * x
        return timing, amount, self.no_skill[0] + self.no_skill[1] * x ** self.no_skill[2]


MODELS: dict[Skill, ErrorModel] = {
    "high": ErrorModel(no_skill=(0.10, 0.38, 1.0)),
    "low": ErrorModel(no_skill=(0.12, 0.43, 0.5)),
    "perfect": ErrorModel((0.0, 0.0), (0.0, 0.0), drizzle_mm=0.0),
}


@dataclass(frozen=True)
class Run:
    """Forecasts issued at several hours: `members` (issues, members, leads) in mm, NaN where the truth is missing.

    `single` (issues, leads) is one deterministic run, the signal that the members lie round.
    """

    members: Floats
    single: Floats


def simulate(
    rain: Floats,
    issues: Ints,
    leads: int,
    skill: Skill | ErrorModel,
    rng: np.random.Generator,
    members: int = MEMBERS,
) -> Iterator[Run]:
    """Simulated ensembles, a few hundred issue hours at a time, in their order.

    Args:
        rain: (H,) observed mm per hour, whole hours without a gap in time, NaN where missing.
        issues: (I,) indices into `rain` at which a forecast is issued; lead 0 is that very hour.
        leads: hours ahead that each forecast covers.
        skill: "high", "low" or "perfect" (the truth itself), or own errors. Promise no more than "low" gives.
        rng: source of all chance.

    ValueError when a forecast would run past the end of the record.
    """
    if len(issues) and int(issues.max()) + leads > len(rain):
        raise ValueError("a forecast runs past the end of the record")
    model = skill if isinstance(skill, ErrorModel) else MODELS[skill]
    for first in range(0, len(issues), CHUNK):
        yield _chunk(rain, issues[first : first + CHUNK], leads, model, rng, members)


def _chunk(rain: Floats, issues: Ints, leads: int, model: ErrorModel, rng: np.random.Generator, members: int) -> Run:
    timing, amount, no_skill = model.at(np.arange(leads, dtype=np.float64))
    count = len(issues)
    hours = issues[:, None] + np.arange(leads)
    z0, a0, u0 = rng.standard_normal((count, 1)), rng.standard_normal((count, 1)), rng.random((count, 1))
    z, a = rng.standard_normal((2, count, members, 1))
    u = rng.random((count, members, 1))
    other = analogues(
        len(rain) - leads + 1, issues, members + 1, rng
    )  # (I, members + 1): the signal's and each member's
    # Where each value is read from: the truth or, once skill is lost, the same lead of an analogue.
    lost = u0 < no_skill
    base = np.where(lost, other[:, :1] + np.arange(leads), hours)
    late, scale = np.where(lost, 0.0, -z0 * timing), np.where(lost, 1.0, np.exp(-amount * a0))
    single = _read(rain, base + np.rint(late).astype(np.int64)) * scale
    moved = base[:, None, :] + np.rint(late[:, None, :] + z * timing).astype(np.int64)
    own = u < no_skill
    index = np.where(own, other[:, 1:, None] + np.arange(leads), moved)
    factor = np.where(own, 1.0, scale[:, None, :] * np.exp(amount * a))
    ensemble = _read(rain, index) * factor
    ensemble[ensemble < model.drizzle_mm] = 0.0
    single[single < model.drizzle_mm] = 0.0
    unknown = np.isnan(_read(rain, hours))
    ensemble[np.broadcast_to(unknown[:, None, :], ensemble.shape)] = np.nan
    single[unknown] = np.nan
    return Run(ensemble, single)


def _read(rain: Floats, index: Ints) -> Floats:
    """rain[index]; NaN outside."""
    inside = (index >= 0) & (index < len(rain))
    return np.asarray(np.where(inside, rain[np.clip(index, 0, len(rain) - 1)], np.nan))


def analogues(starts: int, issues: Ints, count: int, rng: np.random.Generator) -> Ints:
    """(I, count) indices below `starts` of the same hour of the day at the same season.

    Another year within 15 days of the date, or, where there are less than two years, 10 to 45 days away. An issue
    without any candidate keeps itself.
    """
    per_year = 365.2425 * 24.0
    years = int(np.floor(starts / per_year))
    days = rng.integers(-ANALOGUE_DAYS, ANALOGUE_DAYS + 1, (len(issues), count))
    if years < 2:
        near, far = ONE_YEAR_DAYS
        days = rng.integers(near, far + 1, days.shape) * rng.choice([-1, 1], days.shape)
        picked = issues[:, None] + 24 * days
        picked = np.where((picked < 0) | (picked >= starts), issues[:, None] - 24 * days, picked)
        inside = (picked >= 0) & (picked < starts)
        return np.where(inside, picked, issues[:, None])
    lowest = -np.floor(issues / per_year).astype(np.int64)[:, None]
    highest = np.floor((starts - 1 - issues) / per_year).astype(np.int64)[:, None]
    step = lowest + rng.integers(0, np.broadcast_to(highest - lowest, days.shape))  # one of the others:
    step = np.where(step >= 0, step + 1, step)  # never 0, its own year
    picked = issues[:, None] + 24 * (np.rint(step * per_year / 24.0).astype(np.int64) + days)
    return np.asarray(np.clip(picked, issues[:, None] % 24, _last(issues, starts)[:, None]))


def _last(issues: Ints, starts: int) -> Ints:
    """Last index with the same hour of the day as each issue."""
    return np.asarray(starts - 1 - (starts - 1 - issues) % 24)
