"""The liquids of a draft: a little nitrogen every week or two as the grass grows, and iron against moss."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from config.advice import advice
from config.models import Product
from scheduler.agronomy.nutrients import nutrients
from scheduler.season.suggest_desk import OVER_FIXED, Desk
from scheduler.season.suggest_values import Stage
from scheduler.season.suggest_year import DAYS, Bools

LATER_SHARE = 0.5  # how much later than the earliest day a repeat may be: judgement


@dataclass(frozen=True)
class Block:
    """A stretch of the year with one rhythm: first and last day, and days between two sprays."""

    first: int
    last: int
    every: int


def spoon(desk: Desk, granules: Sequence[Stage]) -> list[Stage]:
    """Liquids for what the granules leave of the year's nitrogen, more often the faster the grass grows."""
    wanted = desk.target.wanted - sum(stage.total.n for stage in granules)
    for product, own in desk.options("spoon"):
        dose = nutrients(product).n
        count = _sprays(desk, wanted, dose, product.most_per_year)
        days = _days_between(desk, product, granules)
        while count > 0:
            stages = _stages(desk, product, own, days, count)
            if stages and desk.book.fits([*granules, *stages]):
                return stages
            count -= max(1, count // 10)
        desk.pass_over(product, own, "spoon", "much" if wanted < dose else "time")
    return []


def _sprays(desk: Desk, wanted: float, dose: float, most: int | None) -> int:
    """The number of doses that comes nearest, without passing a fixed figure by more than a twentieth or a cap."""
    bounds = [int(wanted / dose + 0.5)]
    if desk.target.fixed:
        bounds.append(int((wanted + (OVER_FIXED - 1) * desk.target.wanted) / dose))
    if desk.target.cap is not None:
        bounds.append(int(wanted / dose + 1e-9))
    return min([*bounds, most] if most is not None else bounds)


def _days_between(desk: Desk, product: Product, granules: Sequence[Stage]) -> Bools:
    """Days on which liquids may go: in season, clear of every granule's window."""
    days = desk.feed_days(product).copy()
    last = desk.year.last or 0
    days[max(0, last + 1 - int(advice("spoon")["last_days"].number)) :] = False
    for first, end, stage in desk.spans(granules):
        clear = desk.gap_after(product, stage.product)
        days[max(0, first - clear) : end + 1 + desk.gap_after(stage.product, product)] = False
    return days


def _stages(desk: Desk, product: Product, own: bool, days: Bools, count: int) -> list[Stage]:
    blocks = _merged(_blocks(desk, product, days, count))
    found, last = [], None
    for block in blocks:
        day = block.first if last is None else max(block.first, last + block.every)
        dates = list(range(day, block.last + 1, block.every))
        if dates:
            last = dates[-1]
            every = (block.every, block.every + max(3, int(block.every * LATER_SHARE)))
            say = desk.year.month_day
            stage = Stage("spoon", product, own, say(block.first), say(block.last), tuple(map(say, dates)), every)
            found.append(stage)
    return found


def _blocks(desk: Desk, product: Product, days: Bools, count: int) -> list[Block]:
    """A block for each month of open days, with sprays by its share of the growth."""
    spans = _months(desk, days)
    growth = np.array([float(desk.year.growth[a : b + 1].sum()) for a, b in spans])
    if not spans or growth.sum() <= 0:
        return []
    least = max(product.every_days[0] if product.every_days else 0, int(advice("apart_days")["liquid"].number))
    most = [(last - first) // least + 1 for first, last in spans]
    blocks = []
    for (first, last), sprays in zip(spans, _shared_out(count, growth, most), strict=True):
        if sprays:
            blocks.append(Block(first, last, max(least, -(-(last - first + 1) // sprays))))
    return blocks


def _shared_out(count: int, growth: "np.ndarray[tuple[int], np.dtype[np.float64]]", most: Sequence[int]) -> list[int]:
    """Sprays for each block by its share of growth; what a block has no room for goes to the others."""
    given = [0] * len(most)
    for _ in range(min(count, sum(most))):
        # The block whose next spray is the most overdue by growth (highest averages, after Webster).
        due = [
            float(share) / (2 * got + 1) if got < top else -1.0
            for share, got, top in zip(growth, given, most, strict=True)
        ]
        given[int(np.argmax(due))] += 1
    return given


def _months(desk: Desk, days: Bools) -> list[tuple[int, int]]:
    """Runs of open days, cut where a month begins."""
    spans: list[tuple[int, int]] = []
    begin, least = None, int(advice("window_days")["least"].number)
    for day in range(DAYS + 1):
        open_ = day < DAYS and bool(days[day])
        cut = open_ and desk.year.month_day(day).endswith("-01")
        if begin is not None and (not open_ or cut):
            spans += [(begin, day - 1)] if day - begin >= least else []
            begin = None
        if open_ and begin is None:
            begin = day
    return spans


def _merged(blocks: list[Block]) -> list[Block]:
    """Neighbouring months of one rhythm as one block."""
    found: list[Block] = []
    for block in blocks:
        if found and found[-1].last + 1 == block.first and found[-1].every == block.every:
            found[-1] = Block(found[-1].first, block.last, block.every)
        else:
            found.append(block)
    return found


# --- moss --------------------------------------------------------------------------------------------------------


def moss(desk: Desk, feeds: Sequence[Stage]) -> list[Stage]:
    """Iron in the cool weeks before the season and after it. A combined granule in spring does the first part."""
    if not desk.wishes.moss:
        return []
    for product, own in desk.options("moss"):
        stages = [stage for stage in _iron(desk, product, own, feeds) if stage is not None]
        if stages and desk.book.fits([*feeds, *stages]):
            return stages
        desk.pass_over(product, own, "moss", "time")
    return []


def _iron(desk: Desk, product: Product, own: bool, feeds: Sequence[Stage]) -> list[Stage | None]:
    low, high = advice("moss")["mean_c"].value
    cool = (desk.year.mean_c >= low) & (desk.year.mean_c <= high) & desk.open_days(product)
    for first, last, _ in desk.spans(feeds):
        cool[max(0, first - 7) : last + 8] = False
    gap = max(int(advice("apart_days")["iron"].number), product.every_days[0] if product.every_days else 0)
    sprays = int(advice("moss")["sprays_few" if desk.wishes.effort == "few" else "sprays"].number)
    if product.most_per_year is not None:
        sprays = min(sprays, product.most_per_year // 2)
    days = (sprays - 1) * gap + min(desk.width(), gap - 1)  # a longer window would let one more in
    warmest = int(np.argmax(desk.year.mean_c))
    with_weeds = any(stage.role == "weeds" and desk.year.day(stage.first) < warmest for stage in feeds)
    spring = None if with_weeds else desk.window(cool, (desk.year.first or 90) - days - 7, 0, warmest, days)
    autumn = desk.window(cool, (desk.year.last or 300), warmest, DAYS - 1, days)
    return [_spray(desk, product, own, window, gap) for window in (spring, autumn)]


def _spray(desk: Desk, product: Product, own: bool, window: tuple[int, int] | None, gap: int) -> Stage | None:
    if window is None:
        return None
    first, last = window
    say = desk.year.month_day
    dates = tuple(say(day) for day in range(first, last + 1, gap))
    every = (gap, gap + 14) if product.every_days is None or product.every_days[0] < gap else None
    return Stage("moss", product, own, say(first), say(last), dates, every)
