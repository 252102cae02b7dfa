"""When a brief is due: local wall time turned into instants, and what the hour says about sending it still.

The rule at a change of the clocks: a wall time that does not exist is due at the first instant after the gap; one that
exists twice is due at its first occurrence. So every local date has exactly one due instant.
"""

from collections.abc import Container
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

from config.models import Estate, Person

WINDOW = timedelta(hours=5)  # a brief is worth sending that long after it was due; later the working day is half over
DELAYED = timedelta(minutes=15)  # later than this and the message says that it is late
DAY = timedelta(days=1)
SECOND = timedelta(seconds=1)


@dataclass(frozen=True)
class BriefDue:
    """One brief that is due and not yet recorded. Half-open [due_at, expires_at), UTC."""

    person: str
    local_date: date
    due_at: datetime
    expires_at: datetime
    action: Literal["send", "expire"]
    delayed: bool = False


@lru_cache(maxsize=16384)
def brief_due(local_date: date, brief_at: time, zone: str) -> datetime:
    """The instant (UTC) of wall time `brief_at` on `local_date` in an IANA zone; ZoneInfoNotFoundError if unknown."""
    tz = ZoneInfo(zone)
    wall = datetime.combine(local_date, brief_at.replace(tzinfo=None, fold=0))
    instant = wall.replace(tzinfo=tz).astimezone(UTC)
    if instant.astimezone(tz).replace(tzinfo=None) == wall:
        return instant
    return _end_of_gap(wall.replace(fold=1, tzinfo=tz).astimezone(UTC), instant, tz)


def _end_of_gap(before: datetime, after: datetime, tz: ZoneInfo) -> datetime:
    """First second at which the offset is that of `after`; `before` lies ahead of the change, `after` behind it."""
    new = after.astimezone(tz).utcoffset()
    low, high = 0, int((after - before) / SECOND)
    while high - low > 1:
        middle = (low + high) // 2
        if (before + middle * SECOND).astimezone(tz).utcoffset() == new:
            high = middle
        else:
            low = middle
    return before + high * SECOND


def zone_of(person: Person, estate: Estate) -> str:
    """The IANA zone in which a person's wall times are meant: their own, else the estate's."""
    return person.timezone or estate.timezone


def briefs_due(
    estate: Estate,
    now: datetime,
    recorded: Container[tuple[str, date]],
    *,
    not_before: datetime | None = None,
) -> list[BriefDue]:
    """Briefs that are due at `now` and have no record yet, in order of due time.

    `recorded` holds (person id, local date) of every brief already decided, sent or given up. Inside WINDOW a brief is
    to be sent, after it only today's is recorded as expired: after days down there is no burst of old mornings.
    A brief due before `not_before` (a database put back from a copy) may have gone out already and counts as expired.
    """
    found = []
    for person in estate.people:
        if person.brief_at is None or not person.reach:
            continue
        zone = zone_of(person, estate)
        today = now.astimezone(ZoneInfo(zone)).date()
        for day in (today - DAY, today):
            due_at = brief_due(day, person.brief_at, zone)
            if due_at > now or (person.id, day) in recorded:
                continue
            gone = now >= due_at + WINDOW or (not_before is not None and due_at < not_before)
            if gone and day != today:
                continue
            found.append(
                BriefDue(
                    person=person.id,
                    local_date=day,
                    due_at=due_at,
                    expires_at=due_at + WINDOW,
                    action="expire" if gone else "send",
                    delayed=now - due_at > DELAYED,
                )
            )
    return sorted(found, key=lambda brief: (brief.due_at, brief.person))
