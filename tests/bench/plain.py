"""The plain reference: judges each lawn alone, hour by hour, on lists of numbers read straight out of the answers.

It shares no table and no array with the core, and of its arithmetic only the spread that is drawn round a single run
(`members_from_run`); the figures that ship (limits, climate, waiting) are read, not repeated.
"""

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from statistics import fmean
from zoneinfo import ZoneInfo

import numpy as np
from astral import Observer
from astral.sun import sunrise, sunset

from config.defaults import defaults
from config.models import Estate
from config.resolve import product_limits
from scheduler.decide import rain as shipped
from scheduler.decide import waiting
from scheduler.decide.verdict import LEAST_CHANCE
from scheduler.season.due import Task, tasks
from scheduler.values import Entry
from scheduler.weather.chance import members_from_run, rho_for
from tests.bench.feed_bytes import Served
from tests.scheduler.decide.oracle import wet_chance

Number = float | None
Known = bool | None  # kept, known to fail, or not known
NEAR = 1e-9
HOUR = timedelta(hours=1)
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
BEFORE = ("precipitation", "precipitation_probability", "wind_gusts_10m", "et0_fao_evapotranspiration")


@dataclass(frozen=True)
class Weather:
    """Hour t of every list is [start + t h, start + (t + 1) h); None where nothing is known."""

    place: tuple[float, float]
    start: datetime
    columns: dict[str, list[Number]]
    members: list[list[Number]]
    doubt: list[float]  # share of each hour's chance that is the climate's
    from_ensemble: bool

    @property
    def hours(self) -> int:
        """Number of hours."""
        return len(self.doubt)

    def at(self, name: str, t: int) -> Number:
        """One value; None outside of the hours."""
        return self.columns[name][t] if 0 <= t < self.hours else None

    def window(self, name: str, t: int, hours: int) -> list[float] | None:
        """The values of [t, t + hours); None if one is missing."""
        return _whole(self.columns[name], t, hours)


def read(of: Served, now: datetime) -> Weather:
    """The answers of one place. Sums and gusts of the preceding hour are stamped with its end (docs of the feed)."""
    answer = json.loads(of.forecast)
    hourly = answer["hourly"]
    first, last = hourly["time"][0] - 3600, hourly["time"][-1]
    hours = (last - first) // 3600 + 1
    columns = {
        name: _by_hour(hourly["time"], hourly[name], first + 3600 * (name in BEFORE), hours)
        for name in hourly
        if name != "time"
    }
    start = datetime.fromtimestamp(first, UTC)
    if of.ensemble:
        told = json.loads(of.ensemble)["hourly"]
        members = [_by_hour(told["time"], told[name], first + 3600, hours) for name in told if name != "time"]
        return Weather((answer["latitude"], answer["longitude"]), start, columns, members, [0.0] * hours, True)
    lead = [max(0.0, (start - now) / HOUR + t) for t in range(hours)]
    drawn, _, doubt = members_from_run(np.array(columns["precipitation"], dtype=float), np.array(lead))
    members = [[None if math.isnan(mm) else mm for mm in member] for member in drawn.tolist()]
    return Weather((answer["latitude"], answer["longitude"]), start, columns, members, doubt.tolist(), False)


def _by_hour(times: list[int], values: list[Number], first: int, hours: int) -> list[Number]:
    found: list[Number] = [None] * hours
    for when, value in zip(times, values, strict=True):
        if 0 <= (when - first) // 3600 < hours:
            found[(when - first) // 3600] = value
    return found


def verdicts(
    estate: Estate, now: datetime, weather: Mapping[str, Weather], ledger: Sequence[Entry]
) -> dict[tuple[str, str], str]:
    """(lawn, product) -> verdict of everything that is due; `weather` by the lawn's id."""
    found: dict[tuple[str, str], str] = {}
    for lawn in estate.lawns:
        today = now.astimezone(ZoneInfo(estate.zone_of(lawn))).date()
        rows = [entry for entry in ledger if entry.lawn == lawn.id]
        for task in tasks(estate, lawn, today, rows):
            if task.due.earliest <= today:
                found[(lawn.id, task.product.id)] = Plain(estate, task, weather[lawn.id], now, rows).verdict()
    return found


class Plain:
    """One application on one lawn."""

    def __init__(self, estate: Estate, task: Task, weather: Weather, now: datetime, entries: Sequence[Entry]) -> None:
        self.estate, self.task, self.weather, self.now, self.entries = estate, task, weather, now, entries
        self.zone = ZoneInfo(estate.zone_of(task.lawn))
        self.limits = product_limits(task.product)
        self.can_wet = task.lawn.irrigation != "none"

    def verdict(self) -> str:
        """go, hold or unknown."""
        today = self.now.astimezone(self.zone).date()
        if not self.own_limits_kept(today):
            return "hold"
        first = (self.now - self.weather.start) // HOUR
        first += (self.now - self.weather.start) % HOUR > HOUR / 2
        hours = [t for t in range(first, self.weather.hours) if self.local(t).date() == today and self.is_worked(t)]
        if not hours:
            over = (self.weather.start + self.weather.hours * HOUR).astimezone(self.zone).date() <= today
            return "unknown" if over else "hold"
        wanted = self.wanted(hours[0]) if self.task.product.form == "granular" else None
        told = [_all([*self.class_limits(t), *self.right_rain(t, wanted)]) for t in hours]
        return "go" if True in told else "unknown" if None in told else "hold"

    def local(self, t: int) -> datetime:
        """Start of an hour on the lawn."""
        return (self.weather.start + t * HOUR).astimezone(self.zone)

    def own_limits_kept(self, on: date) -> bool:
        """Season, interval, yearly maximum, young turf, distance from water."""
        lawn, product = self.task.lawn, self.task.product
        done = [entry.local_date for entry in self.entries if entry.product == product.id]
        repeat = self.task.step.every_days or product.every_days
        kept = self.task.season.first <= on <= self.task.season.last
        kept &= not done or repeat is None or (on - max(done)).days >= repeat[0]
        kept &= product.most_per_year is None or sum(day.year == on.year for day in done) < product.most_per_year
        kept &= lawn.sown_on is None or (on - lawn.sown_on).days >= product.label.sowing_gap_days
        least_m = defaults("ground")["water_min_m"].number
        return kept and (lawn.water_within_m is None or lawn.water_within_m >= least_m)

    # One start hour: what all lawns of the cell and class have in common.

    def class_limits(self, t: int) -> list[Known]:
        """Every limit but the rain that granules want."""
        return [self.is_worked(t), *self.air(t), self.leaf(t), *self.ground(t), *self.rain_after(t), *self.heavy(t)]

    def is_worked(self, t: int) -> bool:
        """Wholly inside working hours and daylight."""
        begin, work = self.local(t), self.estate.hours
        minute = begin.hour * 60 + begin.minute
        first, last = (when.hour * 60 + when.minute for when in (work.start, work.end))
        return first <= minute <= last - 60 and WEEK[begin.weekday()] in work.days and self.is_light(t, 0.0, 0.0)

    def is_light(self, t: int, after_rise_h: float, before_fall_h: float) -> bool:
        """Whether the hour lies so long after sunrise and so long before sunset (astral; a place near Greenwich)."""
        begin, observer = self.weather.start + t * HOUR, Observer(*self.weather.place)
        rise, fall = (when(observer, begin.date(), tzinfo=UTC) for when in (sunrise, sunset))
        return rise + after_rise_h * HOUR <= begin and begin + HOUR <= fall - before_fall_h * HOUR

    def air(self, t: int) -> list[Known]:
        """Wind and gust (their forecast height is 10 m), temperature, frost, Delta T, inversion."""
        w, limits, ground = self.weather, self.limits, defaults("ground")
        wind, gust, warmth = (w.at(name, t) for name in ("wind_speed_10m", "wind_gusts_10m", "temperature_2m"))
        humid, cloud = w.at("relative_humidity_2m", t), w.at("cloud_cover", t)
        if gust is None and wind is not None and all(x is None for x in w.columns["wind_gusts_10m"][t:]):
            gust = wind * defaults("forecast")["gust_factor"].number
        low, high = limits.wind_m_s.value
        answers = [_inside(wind, low, high), _inside(gust, None, high * 1.5)]
        answers.append(_inside(warmth, *limits.temperature_c.value))
        if limits.frost_c:
            night = w.window("temperature_2m", t, 24)
            answers.append(_inside(min(night) if night else None, limits.frost_c.number, None))
        if limits.delta_t_c:
            drop = None if warmth is None or humid is None else delta_t(warmth, humid)
            answers.append(_inside(drop, *limits.delta_t_c.value))
        if self.task.product.form == "liquid" and not self.is_light(t, 1.0, 1.5):
            clear = cloud is None or cloud <= ground["inversion_cloud_pct"].number
            answers.append(None if wind is None else not (clear and wind < ground["inversion_wind_m_s"].number))
        return answers

    def leaf(self, t: int) -> Known:
        """Wet: rain in this hour or the two before, or humid without wind (Sentelhas et al. 2008); damp: in six."""
        w, ground, wanted = self.weather, defaults("ground"), self.limits.leaf.value
        humid, wind = w.at("relative_humidity_2m", t), w.at("wind_speed_10m", t)
        if wanted == "any" or (wanted == "damp" and self.can_wet):
            return True
        if humid is None or w.at("precipitation", t) is None:
            return None
        rained = [(w.at("precipitation", at) or 0.0) >= 0.1 for at in range(t - 6, t + 1)]
        still = wind is None or wind <= ground["dew_wind_m_s"].number
        wet = any(rained[-3:]) or (still and humid >= ground["leaf_wet_humidity_pct"].number)
        return not wet if wanted == "dry" else wet or any(rained) or (still and humid >= 87)

    def ground(self, t: int) -> list[Known]:
        """Frozen and saturated, by the 24 hours before."""
        w, ground = self.weather, defaults("ground")
        frozen = [c for at in range(t - 24, t) if (c := w.at("temperature_2m", at)) is not None and c <= 0.0]
        soaked = sum(w.at("precipitation", at) or 0.0 for at in range(t - 24, t))
        return [len(frozen) <= ground["frozen_h"].number, soaked <= ground["saturated_mm"].number + NEAR]

    def rain_after(self, t: int) -> list[Known]:
        """Starts at the hour's beginning and at its end must both stay dry, by chance and by what amount is known."""
        if self.limits.dry_for_h is None or self.task.product.form == "granular":
            return []
        hours, wet_mm = math.ceil(self.limits.dry_for_h.number), self.limits.wet_mm.number
        chances = [self.wash_off(start, hours, wet_mm) for start in (t, t + 1)]
        worst = None if None in chances else max(x for x in chances if x is not None)
        windows = [self.weather.window("precipitation", start, hours) for start in (t, t + 1)]
        amounts = [math.fsum(mm) for mm in windows if mm is not None]
        return [_inside(worst, None, self.estate.risk.washed_off), len(amounts) < 2 or max(amounts) < wet_mm - 5e-7]

    def wash_off(self, t: int, hours: int, wet_mm: float) -> Number:
        """Chance of `wet_mm` within `hours`: of the ensemble, else by the hourly probabilities, else of the run."""
        by_amount = self.share(t, hours, lambda mm: math.fsum(mm) >= wet_mm - NEAR, shipped.CLIMATE_WET)
        told = self.weather.columns["precipitation_probability"]
        if self.weather.from_ensemble:
            return by_amount
        window = _whole(told, t, hours)
        if window is not None:
            return wet_chance([percent / 100.0 for percent in window], rho_for(wet_mm, hours))
        last = max(at for at, percent in enumerate(told) if percent is not None)
        return None if any(told[at] is None for at in range(t, min(t + hours, last))) else by_amount

    def share(self, t: int, hours: int, event: Callable[[list[float]], bool], climate: float) -> Number:
        """Share of the members whose window is known for which `event` holds; None where too few (80 %) are known."""
        windows = [mm for member in self.weather.members if (mm := _whole(member, t, hours)) is not None]
        if len(windows) < 0.8 * len(self.weather.members):
            return None
        doubt = self.weather.doubt[t]
        return (1 - doubt) * sum(map(event, windows)) / len(windows) + doubt * climate

    def heavy(self, t: int) -> list[Known]:
        """Chance and amounts of rain that washes granules away."""
        if self.task.product.form == "liquid":
            return []
        hours, most = math.ceil(self.limits.dissolve_h.number), defaults("forecast")["heavy_risk"].number
        mm = self.weather.window("precipitation", t, hours)
        hour = None if mm is None else max(mm)
        day = None if mm is None else _wettest_day(mm)
        chance = self.share(t, hours, self.is_heavy, self.climate()[2])
        return [
            _inside(chance, None, most),
            _inside(hour, None, self.limits.heavy_mm_h.number),
            _inside(day, None, self.limits.heavy_mm_24h.number),
        ]

    def climate(self) -> tuple[float, float, float]:
        """What a random day does: dissolved, too dry, too heavy."""
        return shipped.CLIMATE_BAND_48_H if self.limits.dissolve_h.number <= 48 else shipped.CLIMATE_BAND_72_H

    def is_heavy(self, mm: list[float]) -> bool:
        """Too much in the window, in an hour or in a day."""
        limits = self.limits
        most = limits.rain_band_mm.value[1]
        return (
            math.fsum(mm) > most + NEAR
            or max(mm) > limits.heavy_mm_h.number + NEAR
            or _wettest_day(mm) > limits.heavy_mm_24h.number + NEAR
        )

    # What granules want of the rain.

    def dissolved(self, t: int) -> Number:
        """Chance of just the right rain."""
        least, hours = self.limits.rain_band_mm.value[0], math.ceil(self.limits.dissolve_h.number)
        return self.share(
            t, hours, lambda mm: not self.is_heavy(mm) and math.fsum(mm) >= least - NEAR, self.climate()[0]
        )

    def right_rain(self, t: int, wanted: Number) -> list[Known]:
        """Likely enough; a lawn that can be watered does not depend on it, but the chance must be known."""
        if wanted is None:
            return []
        return [_inside(self.dissolved(t), 0.0 if self.can_wet else wanted, None)]

    def wanted(self, t: int) -> float:
        """The least chance worth taking on the day of hour t."""
        latest = self.task.due.latest
        by_day: dict[date, list[Number]] = {}
        for at in range(self.weather.hours if not self.can_wet else 0):
            chance = self.dissolved(at)
            fits = chance is None or all(answer is True for answer in self.class_limits(at))
            by_day.setdefault(self.local(at).date(), []).append(chance if fits else 0.0)
        best = {day: max((x for x in found if x is not None), default=None) for day, found in by_day.items()}
        today = self.local(t).date()
        value = value_of_waiting([best.get(today + timedelta(days=n)) for n in range(1, 6)], (latest - today).days)
        return max(LEAST_CHANCE, min(value, waiting.GOOD_ENOUGH))


def value_of_waiting(coming: list[Number], left: int) -> float:
    """What waiting promises with `left` days to come, the next five as the forecast sees them: backward induction.

    Each of these may still become likelier or less so; the climate's days, drawn nearer to their mean by what the
    forecast knows already, say how far (see scheduler.decide.waiting).
    """
    if left <= 0:
        return 0.0
    climate = 0.0
    for _ in range(left - waiting.AHEAD):
        climate = fmean(max(x, climate) for x in waiting.DEFAULT_DAYS) - waiting.DAY_COST
    value = max(climate, 0.0)
    for ahead in range(min(waiting.AHEAD, left), 0, -1):
        outcomes = _may_become(coming[ahead - 1], waiting.STILL_TO_COME[ahead - 1])
        taken = sum(weight * (x if ahead == left else max(x, value)) for x, weight in outcomes)
        value = max(taken - waiting.DAY_COST, 0.0)
    return value


def _may_become(chance: Number, to_come: float) -> list[tuple[float, float]]:
    draws = waiting.DEFAULT_DAYS
    if chance is None:
        return [(x, 1 / len(draws)) for x in draws]
    mean = fmean(draws)
    odds = [mean / (1 - mean) * (x / (1 - x) * (1 - mean) / mean) ** to_come for x in draws]
    day = [o / (1 + o) for o in odds]
    wet, dry = [x / sum(day) for x in day], [(1 - x) / sum(1 - y for y in day) for x in day]
    weights = [chance * w + (1 - chance) * d for w, d in zip(wet, dry, strict=True)]
    return [(chance * w / weight, weight) for w, weight in zip(wet, weights, strict=True)]


def delta_t(celsius: float, humid_pct: float) -> float:
    """Dry bulb less wet bulb [K]: the psychrometer equation (FAO-56 eq. 15 and 16) solved by halving."""

    def vapour(c: float) -> float:
        return 0.6108 * math.exp(17.27 * c / (c + 237.3))

    actual = vapour(celsius) * min(humid_pct, 100.0) / 100.0
    low, high = celsius - 60.0, celsius
    for _ in range(40):
        middle = (low + high) / 2
        if vapour(middle) - 0.000662 * 101.325 * (celsius - middle) > actual:
            high = middle
        else:
            low = middle
    return celsius - high


def _whole(values: list[Number], t: int, hours: int) -> list[float] | None:
    window = values[t : t + hours]
    return None if len(window) < hours or None in window else window  # type: ignore[return-value]


def _wettest_day(mm: list[float]) -> float:
    return max(math.fsum(mm[t : t + 24]) for t in range(max(1, len(mm) - 23)))


def _inside(value: Number, low: Number, high: Number) -> Known:
    if value is None:
        return None
    return (low is None or value >= low - NEAR) and (high is None or value <= high + NEAR)


def _all(answers: Sequence[Known]) -> Known:
    return False if False in answers else None if None in answers else True
