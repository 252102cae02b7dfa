"""The plain values of a drafted programme."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from config.models import Lawn, Product
from scheduler.agronomy.nutrients import Nutrients, nutrients
from scheduler.values import Limit

Use = Literal["ornamental", "family", "sport"]
Effort = Literal["few", "monthly", "weekly"]
Weeds = Literal["none", "small", "large"]
Clippings = Literal["returned", "removed"]
Role = Literal["opening", "middle", "closing", "spoon", "weeds", "moss"]
Refused = Literal["rules", "strong", "much", "young", "time"]


@dataclass(frozen=True)
class Wishes:
    """What the owner wants of the lawn and will do for it. `n_g_m2` fixes the year's nitrogen."""

    use: Use = "family"
    effort: Effort = "monthly"
    moss: bool = False
    weeds: Weeds = "none"
    clippings: Clippings = "returned"
    n_g_m2: float | None = None


@dataclass(frozen=True)
class Climate:
    """Twelve monthly mean temperatures [C], January to December; `assumed` if they are a coarse guess by latitude."""

    monthly_mean_c: tuple[float, ...]
    source: str
    assumed: bool


@dataclass(frozen=True)
class Target:
    """The year's nitrogen [g/m2]: wanted, and the published range of the grass. `cap` is a local rule's that binds."""

    wanted: float
    low: float
    high: float
    source: str
    fixed: bool = False
    cap: float | None = None
    cap_source: str = ""


@dataclass(frozen=True)
class Stage:
    """One step of the draft: a product in a window of the year (month-days, inclusive), and how often in it.

    `dates` are the earliest days on which each application could be done, month-days in order: as many as there can be.
    """

    role: Role
    product: Product
    own: bool
    first: str
    last: str
    dates: tuple[str, ...]
    every_days: tuple[int, int] | None = None

    @property
    def dose(self) -> Nutrients:
        """Nutrients of one application [g/m2]."""
        return nutrients(self.product)

    @property
    def total(self) -> Nutrients:
        """Nutrients of all applications of the step [g/m2]."""
        return sum((self.dose for _ in self.dates), Nutrients())


@dataclass(frozen=True)
class PassedOver:
    """A product of the owner's that was not used for a role, and why.

    rules: `limit` forbids it, though perhaps not at the rate `fits_at` (ml or g per m2, as the sheet). strong: too much
    quick nitrogen at once. much: more than the year has room for. young: the lawn is too newly sown. time: no room.
    """

    product: Product
    role: Role
    reason: Refused
    limit: Limit | None = None
    fits_at: float | None = None


@dataclass(frozen=True)
class Against:
    """Something the adviser would not do on this lawn, with the reason. `about` is a stable name."""

    about: str
    advice: str
    source: str = ""


@dataclass(frozen=True)
class Starter:
    """A feed for the seedbed, once, on the day of sowing; `forbidden` is the rule that stands against it."""

    product: Product
    on: date
    forbidden: Limit | None


@dataclass(frozen=True)
class Suggestion:
    """A drafted programme with all that led to it. Monthly arrays run from January to December."""

    lawn: Lawn
    drafted_on: date
    year: int  # in which the season begins
    southern: bool
    wishes: Wishes
    climate: Climate
    growth: tuple[float, ...]
    n_by_growth_g_m2: tuple[float, ...]
    target: Target
    stages: tuple[Stage, ...]
    passed_over: tuple[PassedOver, ...]
    against: tuple[Against, ...]
    starter: Starter | None = None  # for a lawn still to be sown: once, beside the programme
    no_season: str = ""  # why there is no programme at all
    keep_from_water_m: float | None = None  # a strip that has to be left untreated, for the plan to hold

    @property
    def season(self) -> str:
        """ "2027", or "2026/27" in the south, where the season runs over New Year."""
        return f"{self.year}/{(self.year + 1) % 100:02d}" if self.southern else f"{self.year}"

    def already_past(self) -> tuple[Stage, ...]:
        """Stages whose window in this season had closed when the draft was made."""
        return tuple(stage for stage in self.stages if self._closes(stage) < self.drafted_on)

    def _closes(self, stage: Stage) -> date:
        last = "02-28" if stage.last == "02-29" else stage.last
        return date.fromisoformat(f"{self.year + (self.southern and last < '07-01')}-{last}")

    @property
    def total(self) -> Nutrients:
        """Nutrients of the whole year [g/m2], if every application is done."""
        return sum((stage.total for stage in self.stages), Nutrients())

    @property
    def n_by_month_g_m2(self) -> tuple[float, ...]:
        """N of the draft month by month [g/m2]."""
        months = [0.0] * 12
        for stage in self.stages:
            for day in stage.dates:
                months[int(day[:2]) - 1] += stage.dose.n
        return tuple(months)

    def amount(self, stage: Stage) -> float:
        """Product of all applications of a step on the lawn [ml or g]."""
        rate = stage.product.rate_ml_m2 or stage.product.rate_g_m2 or 0.0
        return rate * self.lawn.area_m2 * len(stage.dates)

    def cost(self) -> tuple[float, tuple[Product, ...]] | None:
        """Cost at the prices of the sheets, and the products without one; None if no product has a price."""
        used = {stage.product.id: stage.product for stage in self.stages}
        unpriced = tuple(product for product in used.values() if product.price_per_kg_or_l is None)
        if len(unpriced) == len(used):
            return None
        spent = sum(self.amount(s) / 1000 * (s.product.price_per_kg_or_l or 0.0) for s in self.stages)
        return spent, unpriced
