"""From the weather and the ledger to the message of one person: the core's functions, wired."""

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from typing import Any

from config.models import Estate, Person
from scheduler.messages.brief import message_for
from scheduler.morning import Desk, brief_for
from scheduler.values import Brief, CellWeather, Entry, Message

# (person, delayed, date of the brief before it if that reached nobody) -> lines to be kept as JSON, and the message
Composed = Callable[[Person, bool, date | None], tuple[str, Message]]


def compose_for(
    estate: Estate,
    now: datetime,
    weather: Mapping[str, CellWeather],
    entries: Sequence[Entry],
    *,
    trial: bool,
) -> Composed:
    """A function that writes the brief of one person; the tables it needs are made once for all of them."""
    desk = Desk(estate, now, weather)
    by_lawn: dict[str, list[Entry]] = {}
    for entry in entries:
        by_lawn.setdefault(entry.lawn, []).append(entry)

    def compose(person: Person, delayed: bool, missed: date | None) -> tuple[str, Message]:
        rows = [entry for lawn in estate.lawns_of(person) for entry in by_lawn.get(lawn.id, ())]
        told = brief_for(estate, person, now, weather, rows, desk)
        return lines_json(told), message_for(told, estate, person, trial=trial, delayed=delayed, missed=missed)

    return compose


def lines_json(told: Brief) -> str:
    """What was decided, as it is kept on record: every line with its limits, values and sources."""
    return json.dumps([_plain(line) for line in told.lines], ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _plain(value: Any) -> Any:
    """Values as JSON knows them: instants in UTC ending in Z, what is not a number as null."""
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value
