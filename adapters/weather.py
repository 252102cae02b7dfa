"""What the store knows of the weather at `now`, cell by cell, and how far it can be trusted."""

import logging
import threading
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from adapters.feeds.alerts import ALERTS, Alert, read_alerts
from adapters.feeds.asking import ENSEMBLE
from adapters.feeds.ensemble import combine
from adapters.feeds.registry import feed_named
from adapters.store.forecasts import RunHead
from adapters.store.store import Store
from config.models import Estate
from config.resolve import oldest_forecast_h
from scheduler.ports import FeedUnusable
from scheduler.values import CellWeather, WeatherWarning
from scheduler.weather.cells import cell_of, centre
from scheduler.weather.forecast import Forecast
from scheduler.weather.trust import judge_age

log = logging.getLogger("ligule.weather")

WARNINGS_OLDEST = timedelta(hours=1)  # they are asked for every quarter of an hour
ENSEMBLE_OLDEST = timedelta(hours=12)  # ensembles run every 6 to 12 hours (open-meteo.com, ensemble API)


def cells_of(estate: Estate) -> list[str]:
    """The forecast cells of an estate's lawns, each once."""
    return sorted({cell_of(lawn.latitude, lawn.longitude) for lawn in estate.lawns})


class Shelf:
    """Stored answers as they were read, so that one that has not changed is not read twice. Safe between threads."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._read: dict[int, Forecast | None] = {}
        self._warned: dict[int, tuple[WeatherWarning, ...] | None] = {}
        self._newest: dict[tuple[str, str], int] = {}
        self._turn = threading.Lock()

    def forecast(self, head: RunHead) -> Forecast | None:
        """The forecast of a run; None if it is gone or this version of the code refuses it."""
        try:
            return self._read[head.id]
        except KeyError:
            read = self._read[head.id] = self._load(head.id)
            return read

    def warnings(self, head: RunHead) -> tuple[WeatherWarning, ...] | None:
        """The warnings of a stored answer, the most severe first; None if it is gone or cannot be read."""
        try:
            return self._warned[head.id]
        except KeyError:
            read = self._warned[head.id] = self._load_warnings(head.id)
            return read

    def _load_warnings(self, number: int) -> tuple[WeatherWarning, ...] | None:
        run = self.store.load_run(number)
        try:
            return None if run is None else tuple(_warning(alert) for alert in read_alerts(run.body, run.received_at))
        except FeedUnusable as error:
            log.warning("the stored warnings are no longer usable: %s", error)
            return None

    def put(self, number: int, cell: str, forecast: Forecast) -> None:
        """The forecast of a run that was just stored, in place of the one of its cell and feed before it."""
        with self._turn:
            before = self._newest.get((cell, forecast.provider))
            self._newest[(cell, forecast.provider)] = number
            self._read[number] = forecast
            if before is not None:
                self._read.pop(before, None)

    def keep_only(self, heads: Iterable[RunHead]) -> None:
        """Forget every run but these."""
        wanted = {head.id for head in heads}
        with self._turn:
            self._read = {number: forecast for number, forecast in self._read.items() if number in wanted}
            self._warned = {number: warned for number, warned in self._warned.items() if number in wanted}

    def _load(self, number: int) -> Forecast | None:
        run = self.store.load_run(number)
        if run is None:
            return None
        latitude, longitude = centre(run.cell)
        try:
            feed = feed_named(run.provider)
            return feed.parse(run.body, latitude=latitude, longitude=longitude, received=run.received_at)
        except FeedUnusable as error:
            log.warning("the stored %s answer for %s is no longer usable: %s", run.provider, run.cell, error)
            return None


def weather_now(store: Store, estate: Estate, now: datetime, shelf: Shelf | None = None) -> dict[str, CellWeather]:
    """For each cell the first feed, in the estate's order, that is fresh; else the newest last good one as stale.

    Without any the cell is down, with what the feeds said last.
    """
    shelf = shelf or Shelf(store)
    heads = store.newest_runs(now)
    shelf.keep_only(heads.values())
    errors: dict[str, Mapping[str, str]] = {provider: _errors(store, provider) for provider in estate.feed.order}
    learned = store.learned()
    found = {cell: _cell(cell, estate, now, heads, shelf, errors) for cell in cells_of(estate)}
    for cell in learned.keys() & found.keys():
        found[cell] = replace(found[cell], calibrations=learned[cell])
    if "nws" in estate.feed.order:
        found = {
            cell: replace(at, warnings=_warnings(heads.get((cell, ALERTS)), now, shelf)) for cell, at in found.items()
        }
    return found


def feeds_now(store: Store, estate: Estate, cell: str, now: datetime) -> dict[str, CellWeather]:
    """Provider -> what it alone says of a cell, in the estate's order: its newest stored answer, fresh or not."""
    shelf, heads, learned = Shelf(store), store.newest_runs(now), store.learned().get(cell, ())
    oldest_h = oldest_forecast_h(estate.feed).number
    found = {}
    for provider in estate.feed.order:
        head = heads.get((cell, provider))
        forecast = shelf.forecast(head) if head else None
        if forecast is None:
            why = _errors(store, provider).get(cell) or "no forecast is stored"
            found[provider] = CellWeather(cell, None, "down", why)
        else:
            found[provider] = replace(judge_age(cell, forecast, now, oldest_h), calibrations=learned)
    return found


def _warnings(head: RunHead | None, now: datetime, shelf: Shelf) -> tuple[WeatherWarning, ...] | None:
    """The warnings that have not ended, if they were asked for lately; None if nothing is known of them."""
    known = shelf.warnings(head) if head and now - head.issued_at <= WARNINGS_OLDEST else None
    return None if known is None else tuple(one for one in known if one.ends is None or one.ends > now)


def _warning(alert: Alert) -> WeatherWarning:
    return WeatherWarning(alert.event, alert.onset, alert.ends)


def _errors(store: Store, provider: str) -> dict[str, str]:
    return {cell: state.last_error for cell, state in store.feed_states(provider).items() if state.last_error}


def _with_members(
    forecast: Forecast, cell: str, now: datetime, heads: Mapping[tuple[str, str], RunHead], shelf: Shelf
) -> Forecast:
    """The forecast with the members of an ensemble of the same cell, where one is stored that is young enough."""
    head = heads.get((cell, ENSEMBLE))
    members = shelf.forecast(head) if head else None
    if members is None or now - members.issued > ENSEMBLE_OLDEST:
        return forecast
    return combine(forecast, members)


def _cell(
    cell: str,
    estate: Estate,
    now: datetime,
    heads: Mapping[tuple[str, str], RunHead],
    shelf: Shelf,
    errors: Mapping[str, Mapping[str, str]],
) -> CellWeather:
    known: list[CellWeather] = []
    oldest_h = oldest_forecast_h(estate.feed).number
    for provider in estate.feed.order:
        head = heads.get((cell, provider))
        forecast = shelf.forecast(head) if head else None
        if forecast is None:
            continue
        weather = judge_age(cell, _with_members(forecast, cell, now, heads, shelf), now, oldest_h)
        if weather.state == "fresh":
            return weather
        known.append(weather)
    said = "; ".join(f"{name}: {errors[name][cell]}" for name in estate.feed.order if cell in errors[name])
    if not known:
        return CellWeather(cell, None, "down", said or "no forecast has been received")
    newest = max(known, key=lambda weather: weather.forecast.issued if weather.forecast else now)
    return CellWeather(cell, newest.forecast, "stale", f"{newest.why}; {said}" if said else newest.why)
