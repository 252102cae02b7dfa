"""The granules of a draft: which doses make up the year's nitrogen, and where in the growing year they go."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from config.advice import advice
from config.models import Product
from scheduler.agronomy.nutrients import nutrients
from scheduler.season.suggest_desk import OVER_FIXED, Desk
from scheduler.season.suggest_values import Role, Stage
from scheduler.season.suggest_year import DAYS, Floats, Year

Pick = tuple[Product, bool]  # a product, and whether it is the owner's own


@dataclass(frozen=True)
class Ends:
    """The first and the last feed of the year, where there is room for them."""

    opening: Stage | None = None
    closing: Stage | None = None

    def stages(self) -> list[Stage]:
        """Those that are there, in order."""
        return [stage for stage in (self.opening, self.closing) if stage is not None]


@dataclass(frozen=True)
class Plan:
    """The granules so far: both ends, and the feeds between them."""

    ends: Ends
    middles: tuple[Pick, ...] = ()

    def stages(self, desk: Desk) -> list[Stage]:
        """All of them in order of date; only the ends where the others have no room between them."""
        placed = _placed(desk, self.ends, self.middles) or []
        return sorted([*self.ends.stages(), *placed], key=lambda stage: desk.year.day(stage.first))


def granules(desk: Desk) -> list[Stage]:
    """The granular feeds of the year, in order of date."""
    plan = Plan(_with_weeds(desk))
    most = int(advice("visits")[desk.wishes.effort].number)
    for role in _order(desk):
        if len(plan.stages(desk)) < most:
            plan = _with_middle(desk, plan) if role == "middle" else _with_end(desk, plan, role)
    return plan.stages(desk)


def _order(desk: Desk) -> list[Role]:
    """What is filled first: in autumn cool-season grass repays a feed best, warm-season grass in early summer."""
    ends: list[Role] = ["closing", "opening"] if desk.year.grass == "cool" else ["opening", "middle", "closing"]
    if desk.year.open.all():  # no winter: the year has no end to prepare for
        ends = ["opening"]
    if desk.wishes.effort == "weekly":
        return [role for role in ends if role != "middle"]
    middles: list[Role] = ["middle"] * int(advice("visits")[desk.wishes.effort].number)
    return ends + middles


def _n(stages: Sequence[Stage]) -> float:
    return sum(stage.total.n for stage in stages)


def room_for(desk: Desk, product: Product, stages: Sequence[Stage]) -> bool:
    """Whether enough of one more dose is still wanted, and the year does not pass what it may have."""
    target, given, dose = desk.target, _n(stages), nutrients(product).n
    if desk.wishes.effort == "weekly":
        return given + dose <= target.wanted - _spoon_least(desk) + 1e-9
    rounding = advice("rounding")
    most = min(max(target.high, target.wanted), target.wanted * (1 + rounding["over"].number))
    if target.fixed:
        most = target.wanted * OVER_FIXED
    if target.cap is not None:
        most = min(most, target.cap)
    return given + rounding["up"].number * dose <= target.wanted and given + dose <= most + 1e-9


def _spoon_least(desk: Desk) -> float:
    """N that is kept for the spoon, so that there is something to do in half the weeks of the season."""
    options = desk.options("spoon")
    if not options:
        return 0.0
    weeks = float(desk.feed_days(options[0][0]).sum()) / 7
    return advice("spoon")["weeks"].number * weeks * nutrients(options[0][0]).n


# --- the two ends ------------------------------------------------------------------------------------------------


def _with_weeds(desk: Desk) -> Ends:
    """A combined granule where small weeds are to be treated: in spring if it can be, else in autumn."""
    if desk.wishes.weeds != "small" or desk.year.grass != "cool":
        return Ends()
    for product, own in desk.options("weeds"):
        if nutrients(product).n > desk.target.wanted:
            desk.pass_over(product, own, "weeds", "much")
            continue
        for name in ("spring", "autumn"):
            lo, hi = (desk.year.northern(text) for text in advice("weeds")[name].value)
            found = desk.window(desk.feed_days(product), lo, lo, hi, desk.width())
            if found is not None:
                stage = desk.stage("weeds", product, own, *found)
                if desk.book.fits([stage]):
                    return Ends(opening=stage) if name == "spring" else Ends(closing=stage)
        desk.pass_over(product, own, "weeds", "time")
    return Ends()


def _with_end(desk: Desk, plan: Plan, role: Role) -> Plan:
    """The plan with one more end, unless it is there already or nothing fits."""
    ends = plan.ends
    if (ends.opening if role == "opening" else ends.closing) is not None:
        return plan
    for product, own in desk.options(role):
        if not room_for(desk, product, plan.stages(desk)):
            desk.pass_over(product, own, role, "much")
            continue
        found = _opening(desk, ends, product) if role == "opening" else _closing(desk, ends, product)
        if found is None:
            continue
        stage = desk.stage(role, product, own, *found)
        more = Plan(Ends(stage, ends.closing) if role == "opening" else Ends(ends.opening, stage), plan.middles)
        stages = more.stages(desk)
        if len(stages) <= len(plan.stages(desk)) or not desk.turns(stages):
            desk.pass_over(product, own, role, "time")
        elif (clash := desk.book.clash(stages)) is not None:
            desk.pass_over(product, own, role, "rules", [clash])
        else:
            return more
    return plan


def _opening(desk: Desk, ends: Ends, product: Product) -> tuple[int, int] | None:
    first = desk.year.first or 0
    hi = int(np.argmax(desk.year.mean_c))
    if ends.closing is not None:
        hi = min(hi, desk.year.day(ends.closing.first) - desk.gap_after(product, ends.closing.product) - 1)
    return desk.window(desk.feed_days(product), first, first, hi, desk.width())


def _closing(desk: Desk, ends: Ends, product: Product) -> tuple[int, int] | None:
    last = desk.year.last or 0
    lo = int(np.argmax(desk.year.mean_c)) + 1
    if lo >= last:  # no winter to speak of: the year has no downward side
        lo = (desk.year.first or 0) + 1
    if ends.opening is not None:
        lo = max(lo, desk.year.day(ends.opening.last) + desk.gap_after(ends.opening.product, product) + 1)
    wanted = last - int(advice(desk.year.grass)["closing_days_hot" if desk.year.hot else "closing_days"].number)
    return desk.window(desk.feed_days(product), wanted, lo, last, desk.width())


# --- between them ------------------------------------------------------------------------------------------------


def _with_middle(desk: Desk, plan: Plan) -> Plan:
    """The plan with one more feed in the middle, of the first product that has room, time and leave."""
    for product, own in desk.options("middle"):
        if not room_for(desk, product, plan.stages(desk)):
            desk.pass_over(product, own, "middle", "much")
            continue
        more = Plan(plan.ends, (*plan.middles, (product, own)))
        stages = more.stages(desk)
        if len(stages) > len(plan.stages(desk)) and desk.turns(stages) and desk.book.fits(stages):
            return more
        desk.pass_over(product, own, "middle", "time")
    return plan


def _placed(desk: Desk, ends: Ends, middles: Sequence[Pick]) -> list[Stage] | None:
    """The middle feeds, each where growth has used up what was given before it; None if they do not all fit.

    Growth potential says how fast that goes (Gelernter & Stowell 2005). Where the distances to be kept push them
    about, they are moved by as few days in all as possible.
    """
    least = int(advice("window_days")["least"].number)
    for days in (desk.width(), (desk.width() + least) // 2):
        starts = _nearest(desk, ends, middles, days)
        if starts is not None:
            return [
                desk.stage("middle", product, own, first, first + days - 1)
                for (product, own), first in zip(middles, starts, strict=True)
            ]
    return None


def _nearest(desk: Desk, ends: Ends, middles: Sequence[Pick], days: int) -> list[int] | None:
    """First days of windows of one length that lie nearest to where they are wanted, in order and far enough apart."""
    lo = desk.year.first or 0
    before = ends.opening.product if ends.opening else None
    if ends.opening is not None:
        lo = desk.year.day(ends.opening.last) + 1
    cost = np.where(np.arange(DAYS) >= lo, 0.0, np.inf)  # least cost of all before, if the last one ended by this day
    choices = []
    for (product, _), wanted in zip(middles, _wanted(desk, ends, middles), strict=True):
        gap = desk.gap_after(before, product) if before is not None else 0
        here = np.full(DAYS, np.inf)
        for first in desk.starts(desk.feed_days(product), 0, DAYS - 1, days):
            if first - gap >= 0:
                here[first] = cost[first - gap] + abs(int(first) - wanted)
        choices.append(here)
        ended = np.concatenate([np.full(days, np.inf), here[: DAYS - days]])
        cost, before = np.minimum.accumulate(ended), product
    return _traced(desk, ends, middles, choices, days)


def _traced(desk: Desk, ends: Ends, middles: Sequence[Pick], choices: Sequence[Floats], days: int) -> list[int] | None:
    """The cheapest choice, read backwards from the last feed."""
    found: list[int] = []
    for number in range(len(middles) - 1, -1, -1):
        product = middles[number][0]
        if found:
            last = found[0] - desk.gap_after(product, middles[number + 1][0]) - days
        else:
            last = _latest(desk, ends, product) - days + 1
        here = choices[number][: max(0, last + 1)]
        if not here.size or not np.isfinite(here).any():
            return None
        found.insert(0, int(np.argmin(here)))
    return found


def _wanted(desk: Desk, ends: Ends, middles: Sequence[Pick]) -> list[int]:
    """The days on which growth has used up what was given before each middle feed."""
    doses = [nutrients(product).n for product, _ in middles]
    given = ends.opening.total.n if ends.opening else 0.0
    total = _n(ends.stages()) + sum(doses)
    before = [given + sum(doses[:number]) for number in range(len(doses))]
    return [used_up(desk.year, share / total) for share in before]


def _latest(desk: Desk, ends: Ends, product: Product) -> int:
    """Last day on which a middle feed's window may end."""
    if ends.closing is not None:
        return desk.year.day(ends.closing.first) - desk.gap_after(product, ends.closing.product) - 1
    return (desk.year.last or 0) - int(advice(desk.year.grass)["closing_days"].number)


def used_up(year: Year, share: float) -> int:
    """The day by which a share of the season's growth has been grown."""
    grown = np.cumsum(np.where(year.open, year.growth, 0.0))
    return int(np.searchsorted(grown, share * grown[-1]))
