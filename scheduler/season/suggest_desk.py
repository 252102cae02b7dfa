"""The desk a draft is made on: finding windows in the year, and choosing among products with the reasons kept."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from config.advice import advice
from config.models import Product
from scheduler.agronomy.nutrients import sheet_rate
from scheduler.season.suggest_book import Book, period_days, too_strong
from scheduler.season.suggest_products import candidates, holds_soluble_badly, kind_of, wants_phosphate
from scheduler.season.suggest_values import PassedOver, Refused, Role, Stage, Target, Wishes
from scheduler.season.suggest_year import DAYS, Bools, Year
from scheduler.values import Limit

OVER_FIXED = 1.05  # a figure the owner fixed may be passed by a twentieth, since doses are whole


@dataclass
class Desk:
    """One draft in the making."""

    book: Book
    wishes: Wishes
    target: Target
    passed_over: list[PassedOver] = field(default_factory=list)
    _open: dict[str, Bools] = field(default_factory=dict)
    _options: dict[Role, list[tuple[Product, bool]]] = field(default_factory=dict)

    @property
    def year(self) -> Year:
        """The growing year."""
        return self.book.year

    def open_days(self, product: Product) -> Bools:
        """Days of the season (for iron: of the whole year) on which one dose of a product is allowed by every rule."""
        if product.id not in self._open:
            among = np.ones(DAYS, dtype=np.bool_) if kind_of(product) == "iron" else self.year.open
            self._open[product.id] = self.book.open_days(product, among)
        return self._open[product.id]

    def feed_days(self, product: Product) -> Bools:
        """Days on which a feed is wanted too: granules not in dry weeks without water."""
        open_ = self.open_days(product)
        return open_ if product.form == "liquid" else open_ & ~self.year.dry

    def options(self, role: Role) -> list[tuple[Product, bool]]:
        """Products for a role, best first, leaving out those that no day of the season is open for.

        Generic sheets stand in only where the owner has nothing that may be used: nobody is sent to buy what he has.
        """
        if role not in self._options:
            self._options[role] = self._found(role)
        return self._options[role]

    def _found(self, role: Role) -> list[tuple[Product, bool]]:
        own = [p for p in self.book.estate.products if p.id in self.book.own_ids]
        # Slow release scorches least where nobody can water (Purdue Extension AY-22), and stays in sand.
        dry = bool(self.year.dry.any())
        slow_first = self.wishes.effort == "few" or dry or holds_soluble_badly(self.book.lawn)
        phosphate = wants_phosphate(self.book.lawn, self.book.season)
        found = []
        for product, is_own in candidates(role, own, slow_first=slow_first, phosphate=phosphate):
            if too_strong(product):
                self.pass_over(product, is_own, role, "strong")
            elif not (self.open_days(product) if role == "moss" else self.feed_days(product)).any():
                self._forbidden(product, is_own, role)
            else:
                found.append((product, is_own))
        mine = [option for option in found if option[1]]
        return mine or found

    def _forbidden(self, product: Product, own: bool, role: Role) -> None:
        """Say which rule keeps a product out, judged on the day of the season that comes nearest to letting it in."""
        if not own:
            return
        days = np.flatnonzero(self.year.open) if self.year.open.any() else np.arange(DAYS)
        broken = min((self.book.broken(product, self.book.on(int(day))) for day in days), key=len)
        self.pass_over(product, own, role, "rules" if broken else "young", broken)

    def pass_over(self, product: Product, own: bool, role: Role, reason: Refused, broken: Sequence[Limit] = ()) -> None:
        """Note why a product of the owner's is not used; said once for each product."""
        if not own or any(past.product.id == product.id for past in self.passed_over):
            return
        rates = [_rate_that_fits(product, limit) for limit in broken]
        lower = min((rate for rate in rates if rate is not None), default=None) if None not in rates else None
        # What no lower rate would heal is said before what one would.
        limit = next((one for one, rate in zip(broken, rates, strict=True) if rate is None), next(iter(broken), None))
        self.passed_over.append(PassedOver(product, role, reason, limit, lower))

    def gap_after(self, product: Product, following: Product) -> int:
        """Days from the end of one window to the beginning of the next."""
        apart = advice("apart_days")
        kind = kind_of(product)
        if kind_of(following) == "liquid" != kind:
            gap = int(apart["after_granule"].number)
        elif kind == "slow" != kind_of(following):
            gap = int(apart["after_slow"].number)
        else:
            gap = int(apart[kind if kind in ("liquid", "slow", "combined", "iron") else "quick"].number)
        if product.id == following.id and product.every_days is not None:
            gap = max(gap, product.every_days[0])
        return max(gap, period_days(self.book.estate))

    def window(self, mask: Bools, wanted: int, lo: int, hi: int, days: int) -> tuple[int, int] | None:
        """The run of `days` open days within [lo, hi] that begins nearest to `wanted`; a shorter one if need be."""
        least = int(advice("window_days")["least"].number)
        for length in (days, (days + least) // 2, least):
            starts = self.starts(mask, lo, hi, length)
            if starts.size:
                first = int(starts[np.argmin(np.abs(starts - wanted))])
                return first, first + length - 1
        return None

    def starts(self, mask: Bools, lo: int, hi: int, days: int) -> "np.ndarray[tuple[int], np.dtype[np.intp]]":
        """First days of all windows of `days` open days within [lo, hi]."""
        run = np.convolve(mask, np.ones(days, dtype=int), mode="valid") == days
        found = np.flatnonzero(run)
        return found[(found >= lo) & (found + days - 1 <= hi)]

    def width(self) -> int:
        """Days in the window of a granule, by the owner's effort."""
        return int(advice("window_days")[self.wishes.effort].number)

    def stage(self, role: Role, product: Product, own: bool, first: int, last: int) -> Stage:
        """A stage with one application. Where the sheet's repeat would let a second one in, the step says its own."""
        days = last - first + 1
        every = None
        if product.every_days is not None and product.every_days[0] < days:
            every = (days, max(days, product.every_days[1]))
        say = self.year.month_day
        return Stage(role, product, own, say(first), say(last), (say(first),), every)

    def turns(self, granules: Sequence[Stage]) -> bool:
        """Whether the year's last granule keeps its distance to the first of the next."""
        spans = self.spans(granules)
        if len(spans) < 2:
            return True
        (first, _, next_), (_, last, before) = spans[0], spans[-1]
        return first + DAYS - last > self.gap_after(before.product, next_.product)

    def spans(self, stages: Sequence[Stage]) -> list[tuple[int, int, Stage]]:
        """First and last day of each stage."""
        return sorted(((self.year.day(s.first), self.year.day(s.last), s) for s in stages), key=lambda x: x[:2])


def _rate_that_fits(product: Product, limit: Limit) -> float | None:
    """The rate at which a cap would be kept; None where the rule is not about the amount."""
    most = limit.allowed[1]
    if limit.name not in ("nitrogen_cap", "phosphorus_cap") or most is None or not limit.value or limit.value <= most:
        return None
    return sheet_rate(product)[0] * most / limit.value
