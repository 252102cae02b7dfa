"""The draft's own book: which days the rules leave open for a product, and whether doses fit beside one another."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from config.advice import advice
from config.defaults import defaults
from config.models import Estate, Lawn, Product
from config.packs import PeriodCap, rules_in_force
from config.sheets import generic_sheets
from scheduler.agronomy.nutrients import nutrients
from scheduler.season.rules import rule_limits
from scheduler.season.suggest_values import Stage
from scheduler.season.suggest_year import DAYS, Bools, Year
from scheduler.values import Entry, Limit


@dataclass(frozen=True)
class Book:
    """The lawn in its year, with the generic sheets beside the estate's own products."""

    estate: Estate
    lawn: Lawn
    year: Year
    season: int  # the year in which the season begins
    own_ids: frozenset[str]  # products the owner has; the others are generic

    def open_days(self, product: Product, among: Bools) -> Bools:
        """Days among some on which only weather and what was given before stand against one dose, shape (365,)."""
        return np.array([bool(among[day]) and self._bare(product, self.on(day)) for day in range(DAYS)])

    def on(self, day: int) -> date:
        """The date of a day of the season."""
        return self.year.on(day, self.season)

    def broken(self, product: Product, on: date, beside: Sequence[Entry] = ()) -> list[Limit]:
        """The rules that one dose would break, beside others."""
        return [limit for limit in rule_limits(self.estate, self.lawn, product, on, beside) if limit.ok is not True]

    def clash(self, stages: Sequence[Stage]) -> Limit | None:
        """The first limit that a dose of the draft breaks beside all others, the same again in every year; or None."""
        doses = [(stage.product, self.year.day(text)) for stage in stages for text in stage.dates]
        for product in {product.id: product for product, _ in doses}.values():
            limit = _label_limit(product, sorted(day for one, day in doses if one.id == product.id))
            if limit is not None:
                return limit
        rows = [self._entry(product, day, year) for year in (-1, 0, 1) for product, day in doses]
        for number, (product, day) in enumerate(doses, start=len(doses)):
            for limit in self.broken(product, self.on(day), rows[:number] + rows[number + 1 :]):
                return limit
        return None

    def fits(self, stages: Sequence[Stage]) -> bool:
        """Whether the draft clashes with nothing."""
        return self.clash(stages) is None

    def _bare(self, product: Product, on: date) -> bool:
        return not self.too_young(product, on) and not self.broken(product, on)

    def too_young(self, product: Product, on: date) -> bool:
        """Whether the lawn is too newly sown for a product: by its label, or by the usual wait for a first feed."""
        if self.lawn.sown_on is None:
            return False
        gap = product.label.sowing_gap_days
        if product.form == "combined":
            gap = max(gap, int(advice("weeds")["new_turf_days"].number))
        if nutrients(product).n > 0:
            gap = max(gap, int(advice("new_turf")["days"].value[0]))
        return on < self.lawn.sown_on + timedelta(days=gap)  # before it is sown there is nothing to feed

    def _entry(self, product: Product, day: int, years: int) -> Entry:
        when = self.year.on(day, self.season + years)
        return Entry(self.lawn.id, product.id, datetime.combine(when, time(12), tzinfo=UTC), when)


def _label_limit(product: Product, days: Sequence[int]) -> Limit | None:
    """The label's yearly maximum or interval, where days of the year (in order) break it, also over the year's turn."""
    most, where = product.most_per_year, f"products.toml {product.id}"
    if most is not None and len(days) > most:
        unit = "applications in the year"
        return Limit("yearly_maximum", len(days), unit, (None, most), False, f"{where} most_per_year")
    between = [later - day for day, later in zip(days, [*days[1:], days[0] + DAYS], strict=True)]
    if product.every_days is not None and min(between) < product.every_days[0]:
        least = product.every_days[0]
        return Limit("interval", min(between), "d", (least, None), False, f"{where} every_days")
    return None


def open_book(estate: Estate, lawn: Lawn, year: Year, season: int) -> tuple[Book, float | None]:
    """The book of a lawn, and the strip [m] that has to be kept from water for anything at all to go on it.

    Where the lawn reaches nearer to water than the rules allow, the draft is for the part beyond the strip.
    """
    taken = {product.id for product in estate.products}
    sheets = tuple(sheet for sheet in generic_sheets() if sheet.id not in taken)
    whole = estate.model_copy(update={"products": (*estate.products, *sheets)})
    book = Book(whole, lawn, year, season, frozenset(taken))
    strips = [
        limit.allowed[0] or 0.0
        for limit in book.broken(whole.product("generic-iron"), book.on(0))
        if limit.name == "water_distance"
    ]
    if not strips:
        return book, None
    strip = max(strips)
    kept = lawn.model_copy(update={"water_within_m": strip})
    return replace(book, lawn=kept, estate=whole.model_copy(update={"lawns": (kept,)})), strip


def too_strong(product: Product) -> bool:
    """Whether the sheet's rate gives more quick nitrogen at once than grass should get."""
    most = defaults("ground")["single_soluble_n_g_m2"].number * (1 + advice("strength")["tolerance"].number)
    return nutrients(product).soluble_n > most


def period_days(estate: Estate) -> int:
    """The longest run of days for which local rules cap nitrogen; 0 if none does."""
    caps = [rule for rule in rules_in_force(estate.rules) if isinstance(rule, PeriodCap) and rule.nutrient != "p2o5"]
    return max((rule.days for rule in caps), default=0)
