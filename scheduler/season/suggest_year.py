"""The growing year of a lawn: its climate, when grass grows, and how much nitrogen it wants.

Days count from the depth of winter: day 0 is 1 January in the north and 1 July in the south, and there are 365.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from config.advice import advice, coarse_climate
from config.models import Estate, Lawn, Rules
from config.packs import YearCap, rules_in_force
from config.reference_data import GrassKind, grass_species, grass_types
from scheduler.agronomy.growth import growth_potential
from scheduler.season.due import month_day
from scheduler.season.suggest_values import Climate, Target, Wishes

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

DAYS = 365
EVEN_C = 2.0  # difference of the two half-years below which neither is summer: judgement
_FIRST = {False: date(2001, 1, 1), True: date(2001, 7, 1)}  # no leap year on either side
_MID_MONTH = np.array([15.5, 45.0, 74.5, 105.0, 135.5, 166.0, 196.5, 227.5, 258.0, 288.5, 319.0, 349.5])


def climate_of(estate: Estate, lawn: Lawn) -> Climate:
    """The estate's monthly means, else a coarse guess by latitude that is marked as such.

    Means whose summer lies on the other side of the year are not this lawn's: an estate may reach over the equator.
    """
    if estate.monthly_mean_c is not None and _same_side(estate.monthly_mean_c, lawn.latitude):
        return Climate(tuple(estate.monthly_mean_c), "estate.toml monthly_mean_c", assumed=False)
    coarse = coarse_climate()
    zone = coarse.south if lawn.latitude < 0 else coarse.north
    mean = float(np.interp(abs(lawn.latitude), zone.latitude, zone.mean_c))
    swing = float(np.interp(abs(lawn.latitude), zone.latitude, zone.swing_c))
    peak = coarse.warmest_day + (DAYS / 2 if lawn.latitude < 0 else 0)
    months = mean + swing * np.cos(2 * np.pi * (_MID_MONTH - peak) / DAYS)
    return Climate(tuple(round(float(t), 1) for t in months), coarse.source, assumed=True)


def _day(month_day: str, southern: bool) -> int:
    text = "02-28" if month_day == "02-29" else month_day
    return (date.fromisoformat(f"2001-{text}") - _FIRST[southern]).days % DAYS


def _northern(text: str, southern: bool) -> int:
    return _day(f"{month_day(text, 2001, 6 if southern else 0):%m-%d}", southern)


def _same_side(monthly_mean_c: Sequence[float], latitude: float) -> bool:
    """Whether the warm half of the year is the one of this side of the equator, or there is no warm half."""
    northern = float(np.mean(monthly_mean_c[3:9]) - np.mean([*monthly_mean_c[:3], *monthly_mean_c[9:]]))
    return abs(northern) < EVEN_C or (northern > 0) == (latitude >= 0)


@dataclass(frozen=True)
class Year:
    """Growth through one year of a lawn, day by day from the depth of winter, shape (365,)."""

    grass: GrassKind
    southern: bool
    mean_c: Floats
    growth: Floats  # growth potential, less in dry weeks without water
    open: Bools  # days on which nitrogen makes sense
    dry: Bools  # midsummer of a lawn that is never watered
    hot: bool  # a summer too hot to feed in parts the season in two

    @cached_property
    def first(self) -> int | None:
        """First day on which nitrogen makes sense; None if there is none."""
        days = np.flatnonzero(self.open)
        return int(days[0]) if days.size else None

    @cached_property
    def last(self) -> int | None:
        """Last day on which nitrogen makes sense."""
        days = np.flatnonzero(self.open)
        return int(days[-1]) if days.size else None

    def month_day(self, day: int) -> str:
        """ "04-15" for a day of the year."""
        return f"{_FIRST[self.southern] + timedelta(days=day):%m-%d}"

    def day(self, month_day: str) -> int:
        """The day of a month-day; 29 February counts as the 28th."""
        return _day(month_day, self.southern)

    def northern(self, month_day: str) -> int:
        """The day of a season given for the north: six months later on the other side."""
        return _northern(month_day, self.southern)

    def on(self, day: int, year: int) -> date:
        """The date of a day in the season that begins in `year`."""
        text = self.month_day(day)
        later = self.southern and text < "07-01"
        return date.fromisoformat(f"{year + later}-{text}")


def growing_year(lawn: Lawn, climate: Climate) -> Year:
    """The growing year of a lawn in a climate."""
    southern = lawn.latitude < 0
    days = np.arange(DAYS) + (181 if southern else 0)
    mean = np.interp(days % DAYS, _MID_MONTH, np.asarray(climate.monthly_mean_c, dtype=np.float64), period=DAYS)
    growth = growth_potential(mean, lawn.grass)
    rules = advice(lawn.grass)
    rising = np.arange(DAYS) <= int(np.argmax(mean))
    least = np.where(rising, rules["open_growth"].number, rules["close_growth"].number)
    open_ = growth >= least
    too_hot = mean > rules["hot_c"].number if "hot_c" in rules else np.zeros(DAYS, dtype=np.bool_)
    open_ &= ~too_hot
    parted = bool(too_hot.any() and open_[: too_hot.argmax()].any())
    if parted:
        growth = np.where(rising, growth * rules["spring_share"].number, growth)
    dry = _dry(lawn)
    growth = np.where(dry, growth * advice("drought")["growth_share"].number, growth)
    return Year(lawn.grass, southern, mean, growth, open_, dry, parted)


def _dry(lawn: Lawn) -> Bools:
    """Midsummer, for cool-season grass that nobody waters."""
    if lawn.grass != "cool" or lawn.irrigation != "none":
        return np.zeros(DAYS, dtype=np.bool_)
    begin, end = (_northern(text, lawn.latitude < 0) for text in advice("drought")["days"].value)
    return (np.arange(DAYS) >= begin) & (np.arange(DAYS) <= end)


def target_n(lawn: Lawn, wishes: Wishes, rules: Rules) -> Target:
    """The year's nitrogen from the published range of the grass, the use, the effort and the water it gets.

    A yearly cap of the local rules is never passed, not even by a figure the owner fixed.
    """
    known = grass_species()[lawn.species or ("cool-mixed" if lawn.grass == "cool" else "warm-mixed")]
    low, high = (float(x) for x in known.year_n_g_m2.value)
    wanted = wishes.n_g_m2 if wishes.n_g_m2 is not None else _in_range(lawn, wishes, low, high)
    cap, source = _year_cap(lawn, rules)
    fixed = wishes.n_g_m2 is not None
    if cap is None or wanted <= cap:
        return Target(wanted, low, high, known.year_n_g_m2.source, fixed)
    return Target(cap, low, high, known.year_n_g_m2.source, fixed, cap, source)


def _in_range(lawn: Lawn, wishes: Wishes, low: float, high: float) -> float:
    places = advice("nitrogen")
    place = places[wishes.use].number
    if wishes.effort == "few":
        place += places["few_visits"].number
    if lawn.irrigation == "none":
        place += places["no_water"].number
    wanted = low + min(max(place, 0.0), 1.0) * (high - low)
    if wishes.clippings == "removed":
        wanted = min(high, wanted * (1 + grass_types()[lawn.grass].clippings_share.number))
    return wanted


def _year_cap(lawn: Lawn, rules: Rules) -> tuple[float | None, str]:
    """The strictest yearly cap on nitrogen, and its source."""
    found = [
        (rule.grams(rule.species.get(lawn.species, rule.most) if lawn.species else rule.most), rule.source)
        for rule in rules_in_force(rules)
        if isinstance(rule, YearCap) and rule.nutrient == "n"
    ]
    return min(found) if found else (None, "")
