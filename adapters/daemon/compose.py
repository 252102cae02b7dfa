"""From the weather and the ledger to the message of one person: the core's functions, wired."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime

import orjson

from adapters.daemon.pictures import Pictures
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
    pictures: Pictures | None = None,
) -> Composed:
    """A function that writes the brief of one person; the tables it needs are made once for all of them.

    With `pictures` the mails of people with few lawns show them.
    """
    desk = Desk(estate, now, weather)
    by_lawn: dict[str, list[Entry]] = {}
    for entry in entries:
        by_lawn.setdefault(entry.lawn, []).append(entry)
    drawn = pictures.of_round(desk, by_lawn, trial=trial) if pictures else None

    def compose(person: Person, delayed: bool, missed: date | None) -> tuple[str, Message]:
        rows = [entry for lawn in estate.lawns_of(person) for entry in by_lawn.get(lawn.id, ())]
        told = brief_for(estate, person, now, weather, rows, desk)
        shown = drawn(person, told) if drawn else None
        return lines_json(told), message_for(
            told, estate, person, trial=trial, delayed=delayed, missed=missed, pictures=shown
        )

    return compose


def lines_json(told: Brief) -> str:
    """What was decided, as it is kept on record: every line with its limits, values and sources.

    Instants are UTC ending in Z; what is not a number is null.
    """
    return orjson.dumps(told.lines, option=orjson.OPT_UTC_Z | orjson.OPT_SERIALIZE_NUMPY).decode()
