"""The season plan as iCalendar (RFC 5545), by the `icalendar` library."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from icalendar import Calendar, Event

from config.models import Estate, Lawn
from scheduler.season.plan import Planned


def write_calendar(path: Path, estate: Estate, plans: Sequence[tuple[Lawn, Sequence[Planned]]], now: datetime) -> None:
    """Write one all-day event for each application still to do, from its earliest to its latest day.

    The identity of an event is its lawn, product and earliest date, so that a newer file updates the older one.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Ligule//season plan//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", estate.name)
    for lawn, items in plans:
        for item in items:
            if item.due is not None:
                calendar.add_component(_event(lawn, item, now))
    path.write_bytes(calendar.to_ical())


def _event(lawn: Lawn, item: Planned, now: datetime) -> Event:
    due = item.due
    assert due is not None
    event = Event()
    event.add("uid", f"{lawn.id}.{item.product.id}.{due.earliest.isoformat()}@ligule")
    event.add("dtstamp", now)
    event.add("dtstart", due.earliest)
    event.add("dtend", due.latest + timedelta(days=1))  # RFC 5545: the end of an all-day event is exclusive
    event.add("summary", f"{item.product.name}: {lawn.name}")
    event.add("description", f"Best about {due.target.isoformat()}. The weather of the day decides; see the brief.")
    event.add("transp", "TRANSPARENT")
    return event
