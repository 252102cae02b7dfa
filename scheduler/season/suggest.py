"""A feeding programme drafted from the facts of a lawn: what, when, how much, and what better not.

The way: climate -> growing year -> the year's nitrogen -> doses of the owner's products, spread by growth -> checked
against every rule -> words (scheduler/messages/letter.py).
"""

from datetime import date

import numpy as np

from config.advice import advice
from config.models import Estate, Lawn
from scheduler.agronomy.growth import growth_potential, spread_year
from scheduler.season.suggest_against import against
from scheduler.season.suggest_book import Book, open_book
from scheduler.season.suggest_desk import Desk
from scheduler.season.suggest_granules import granules
from scheduler.season.suggest_products import kind_of
from scheduler.season.suggest_sprays import moss, spoon
from scheduler.season.suggest_values import Climate, Starter, Suggestion, Target, Wishes
from scheduler.season.suggest_year import Year, climate_of, growing_year, target_n


def suggest(estate: Estate, lawn: Lawn, wishes: Wishes, today: date, season: int | None = None) -> Suggestion:
    """Draft a programme for `lawn` for the season that begins in `season`, or for the one that lies ahead of `today`.

    The estate's own products are used first, the generic sheets for the forms it has none of. Every dose keeps every
    rule of the estate beside all others. Where no month is warm enough there are no stages, and `no_season` says so.
    """
    climate = climate_of(estate, lawn)
    year = growing_year(lawn, climate)
    target = target_n(lawn, wishes, estate.rules)
    begins = season if season is not None else season_ahead(year, today)
    book, strip = open_book(estate, lawn, year, begins)
    desk = Desk(book, wishes, target)
    no_season = _no_season(year)
    stages = []
    if not no_season:
        feeds = granules(desk)
        if wishes.effort == "weekly" or not feeds:
            feeds += spoon(desk, feeds)
        stages = sorted([*feeds, *moss(desk, feeds)], key=lambda stage: year.day(stage.first))
    used = {stage.product.id for stage in stages}
    return Suggestion(
        lawn=lawn,
        drafted_on=today,
        year=begins,
        southern=year.southern,
        wishes=wishes,
        climate=climate,
        growth=tuple(float(x) for x in growth_potential(climate.monthly_mean_c, lawn.grass)),
        n_by_growth_g_m2=_by_growth(target, climate, lawn),
        target=target,
        stages=tuple(stages),
        passed_over=tuple(past for past in desk.passed_over if past.product.id not in used),
        against=() if no_season else against(estate, book, wishes, stages),
        starter=_starter(book, today),
        no_season=no_season,
        keep_from_water_m=strip,
    )


def _starter(book: Book, today: date) -> Starter | None:
    """A starter for a lawn that is still to be sown: phosphate helps young roots (common practice)."""
    sown = book.lawn.sown_on
    if sown is None or sown < today:
        return None
    own = [p for p in book.estate.products if kind_of(p) == "starter"]
    product = min(own, key=lambda p: (p.id not in book.own_ids, p.id))
    return Starter(product, sown, next(iter(book.broken(product, sown)), None))


def season_ahead(year: Year, today: date) -> int:
    """The year in which the season begins that is still more than half ahead; else the next one."""
    running = today.year - 1 if year.southern and today.month < 7 else today.year
    grown = np.cumsum(np.where(year.open, year.growth, 0.0))
    if grown[-1] <= 0:
        return running
    half = int(np.searchsorted(grown, grown[-1] / 2))
    return running if year.on(half, running) > today else running + 1


def _no_season(year: Year) -> str:
    days = int(year.open.sum())
    least = int(advice("season")["least_days"].number)
    if days >= least:
        return ""
    kind = "warm-season" if year.grass == "warm" else "cool-season"
    if days == 0:
        return f"{kind} grass does not grow enough to be fed in any week of this climate"
    return f"{kind} grass grows for only {days} days in this climate, and a programme wants {least}"


def _by_growth(target: Target, climate: Climate, lawn: Lawn) -> tuple[float, ...]:
    """The year's N month by month as the grass grows; zeros where it never does."""
    try:
        spread = spread_year(target.wanted, climate.monthly_mean_c, lawn.grass)
    except ValueError:
        return (0.0,) * 12
    return tuple(float(x) for x in spread)
