"""Weather for a command: recorded answers given by file, or the feeds, kept in the store."""

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import get_args

from adapters.cli.context import Context, Ended
from adapters.feeds.recorded import read_recorded
from adapters.refresh import refresh_all, refresh_estate
from adapters.store.store import Store
from adapters.warnings import refresh_warnings
from adapters.weather import cells_of, feeds_now, weather_now
from config.models import Estate, Provider
from config.resolve import oldest_forecast_h
from scheduler.ports import FeedUnusable
from scheduler.values import CellWeather
from scheduler.weather.cells import centre
from scheduler.weather.trust import judge_age


def recorded_weather(estate: Estate, specs: Sequence[str], now: datetime) -> dict[str, CellWeather]:
    """For each cell the first of the recorded answers (PROVIDER:FILE) that is usable and about its place.

    An answer that cannot be used counts as a feed that failed: its cells are down, with the reason. A mistyped
    provider or file ends the command instead, so that it is not taken for missing weather.
    """
    for spec in specs:
        provider, _, name = spec.partition(":")
        if provider not in get_args(Provider):
            raise Ended(f"--forecast: found {spec!r}, allowed: PROVIDER:FILE with {', '.join(get_args(Provider))}")
        if not os.access(name, os.R_OK) or not Path(name).is_file():
            raise Ended(f"--forecast: the file {name!r} cannot be read")
    oldest_h = oldest_forecast_h(estate.feed).number
    return {cell: _recorded(cell, specs, now, oldest_h) for cell in cells_of(estate)}


def _recorded(cell: str, specs: Sequence[str], now: datetime, oldest_h: float) -> CellWeather:
    latitude, longitude = centre(cell)
    said = []
    for spec in specs:
        try:
            forecast = read_recorded(spec, latitude=latitude, longitude=longitude, now=now)
            return judge_age(cell, forecast, now, oldest_h)
        except FeedUnusable as error:
            said.append(f"{spec.partition(':')[0]}: {error}")
    return CellWeather(cell, None, "down", "; ".join(dict.fromkeys(said)))


def _try_again(store: Store, estate: Estate) -> None:
    """Whoever asks by hand is not made to wait out a passing fault; what a feed itself forbade stands."""
    states = [state for provider in estate.feed.order for state in store.feed_states(provider).values()]
    passing = [replace(s, next_try_at=None) for s in states if s.failures and " answers 4" not in s.last_error]
    if passing:
        store.save_feed(passing, [])


def feeds_for(
    context: Context, specs: Sequence[str], cell: str, now: datetime, *, ask_all: bool
) -> dict[str, CellWeather]:
    """Provider -> what it alone says of a cell: the recorded answers where given, else what is stored.

    `ask_all`: feeds that stand behind a fresh one are asked as well, if they are due.
    """
    estate = context.estate
    if specs:
        if ask_all:
            raise Ended("--all-feeds asks the feeds; leave out --forecast")
        oldest_h = oldest_forecast_h(estate.feed).number
        given: dict[str, list[str]] = {}
        for spec in specs:
            given.setdefault(spec.partition(":")[0], []).append(spec)
        return {provider: _recorded(cell, own, now, oldest_h) for provider, own in given.items()}
    with context.store() as store:
        if ask_all:
            refresh_all(store, estate, [cell], now, context.environ, allow_local=context.allow_local)
        return feeds_now(store, estate, cell, now)


def weather_for(context: Context, specs: Sequence[str], now: datetime) -> dict[str, CellWeather]:
    """The weather of every cell at `now`: recorded where `specs` are given, else asked of the feeds and stored."""
    estate = context.estate
    if specs:
        return recorded_weather(estate, specs, now)
    with context.store() as store:
        _try_again(store, estate)
        refresh_estate(store, estate, now, context.environ, allow_local=context.allow_local)
        refresh_warnings(store, estate, now, context.environ, allow_local=context.allow_local)
        return weather_now(store, estate, now)
