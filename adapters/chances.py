"""Keeping score of the feeds: what they say each morning, what came, and what the place teaches."""

import logging
import zlib
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from adapters.store.store import Store
from config.models import Estate
from scheduler.decide.said import chances_said, is_morning
from scheduler.values import CellWeather
from scheduler.verify.place import learn
from scheduler.weather.past import came_wet

log = logging.getLogger("ligule.chances")

LATE = timedelta(hours=6)  # observations and corrected hours come in that long after
GIVEN_UP = timedelta(days=5)  # feeds look back two days; what is not known by then never will be
KEPT = timedelta(days=400)  # every season once; models change over the years
WEEK = 7


def keep_score(store: Store, estate: Estate, weather: Mapping[str, CellWeather], now: datetime) -> None:
    """Note this morning's chances, settle what has come, and learn where it is the cell's day of the week."""
    say(store, estate, {cell: at for cell, at in weather.items() if is_morning(cell, now)}, now)
    settle(store, now)
    learn_due(store, weather, now)


def say(store: Store, estate: Estate, weather: Mapping[str, CellWeather], now: datetime) -> None:
    """Note the chances that the cells' forecasts say."""
    said = chances_said(estate, weather, now)
    if said:
        store.say_chances(said, now)


def settle(store: Store, now: datetime) -> int:
    """Record what came, where enough is known of it; how many chances that decided."""
    waiting = [
        one
        for one in store.undecided_chances(now - GIVEN_UP, now)
        if one.start + timedelta(hours=one.event.window_h) + LATE <= now
    ]
    if not waiting:
        return 0
    rain = store.observed_in({one.cell for one in waiting}, min(one.start for one in waiting), now)
    hours = {cell: {hour.hour: hour for hour in told} for cell, told in rain.items()}
    outcomes = [
        (one, int(wet))
        for one in waiting
        if (wet := came_wet(hours.get(one.cell, {}), one.start, one.event.window_h, one.event.wet_mm)) is not None
    ]
    if outcomes:
        store.settle_chances(outcomes)
    return len(outcomes)


def learn_due(store: Store, cells: Iterable[str], now: datetime) -> None:
    """Learn anew at the cells whose day of the week it is: a seventh of them a day, each once."""
    made = store.learned_at()
    for cell in cells:
        is_done = cell in made and made[cell].date() == now.date()
        if zlib.crc32(cell.encode()) % WEEK == now.toordinal() % WEEK and not is_done:
            pairs = store.chance_pairs(cell)
            learned = [learn(event, seen.day, seen.chance, seen.outcome) for event, seen in pairs.items()]
            kept = [one for one in learned if one is not None]
            if kept or cell in made:
                store.save_learned(cell, kept, now)
            in_use = [one.fit.days for one in kept if one.helps]
            if in_use:
                log.info("chances at %s are calibrated on up to %d mornings", cell, max(in_use))


def forget(store: Store, now: datetime) -> None:
    """Drop what is too old to teach anything."""
    store.forget_chances(now - KEPT, now - GIVEN_UP - timedelta(days=1))
