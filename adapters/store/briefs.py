"""Brief log and outbox: the decision and its messages in one transaction, then claim, send, record.

A row is marked sent only after the receiver took the message. A kill in between repeats a message; none is ever lost.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, Row, Table, and_, case, delete, func, insert, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from adapters.store.tables import about, brief_log, brief_picture, outbox
from scheduler.clockwork.retry import RetryDecision
from scheduler.values import Message

NOTHING = Message(title="", text="", html="")
CHUNK = 200  # rows a statement; SQLite takes 32766 values
LEASE = timedelta(minutes=5)  # longer than any send may take; a row held beyond it belongs to nobody


@dataclass(frozen=True)
class OutboxRow:
    """One message for one channel, as stored."""

    id: int
    kind: str
    person: str
    local_date: date
    channel: str
    channel_index: int
    idempotency_key: str
    title: str
    text: str
    html: str
    state: Literal["due", "sending", "sent", "dead", "expired"]
    created_at: datetime
    due_at: datetime
    expires_at: datetime
    next_try_at: datetime
    attempts: int
    failures: int
    unknowns: int
    owner: str | None
    lease_until: datetime | None
    sent_at: datetime | None
    last_error: str


@dataclass(frozen=True)
class BriefRow:
    """What was decided for one person on one local date; `lines` as stored JSON."""

    person: str
    local_date: date
    state: Literal["queued", "expired", "dead"]
    lines: str
    note: str
    created_at: datetime


@dataclass(frozen=True)
class QueuedBrief:
    """A brief to be recorded: decided and to be sent (queued), too late (expired), or impossible (dead)."""

    person: str
    local_date: date
    reach: tuple[str, ...]
    due_at: datetime
    expires_at: datetime
    message: Message = NOTHING
    lines: str = "[]"
    state: Literal["queued", "expired", "dead"] = "queued"
    note: str = ""
    kind: str = "brief"


def channel_key(reach: str) -> str:
    """The name of a channel in the database: SHA-256 of the reach as written, with its ${NAME} unfilled."""
    return hashlib.sha256(reach.encode()).hexdigest()


def idempotency_key(store_id: str, kind: str, person: str, local_date: date, channel: str) -> str:
    """A receiver can drop a repeated message by it: the same for every try of one row, different in every database."""
    parts = json.dumps([store_id, kind, person, local_date.isoformat(), channel])
    return hashlib.sha256(parts.encode()).hexdigest()[:32]


def about_value(connection: Connection, name: str) -> str:
    """A fact about the database itself; KeyError if it is not known."""
    value = connection.execute(select(about.c.value).where(about.c.name == name)).scalar_one_or_none()
    if value is None:
        raise KeyError(name)
    return str(value)


def queue(connection: Connection, batch: Sequence[QueuedBrief], now: datetime) -> int:
    """Record decisions with their messages; how many were new. One that is on record already adds nothing."""
    store_id = about_value(connection, "id")
    new = 0
    for start in range(0, len(batch), CHUNK):
        chunk = {(brief.person, brief.local_date): brief for brief in batch[start : start + CHUNK]}
        rows = [_brief_row(brief, now) for brief in chunk.values()]
        logged = _insert_free(connection, brief_log, rows, brief_log.c.person, brief_log.c.local_date)
        kept = [chunk[(row.person, row.local_date)] for row in logged]
        _insert_free(
            connection, outbox, [row for brief in kept for row in _messages(store_id, brief, now)], outbox.c.id
        )
        shown = [row for brief in kept for row in _pictures(brief)]
        if shown:
            connection.execute(insert(brief_picture), shown)
        new += len(kept)
    return new


def _brief_row(brief: QueuedBrief, now: datetime) -> dict[str, Any]:
    return {
        "person": brief.person,
        "local_date": brief.local_date,
        "state": brief.state,
        "lines": brief.lines,
        "note": brief.note,
        "created_at": now,
    }


def _messages(store_id: str, brief: QueuedBrief, now: datetime) -> Iterator[dict[str, Any]]:
    """One outbox row for each channel. A brief that is given up has its rows too, in its own state and without text."""
    for index, template in enumerate(dict.fromkeys(brief.reach)):
        channel = channel_key(template)
        yield {
            "kind": brief.kind,
            "person": brief.person,
            "local_date": brief.local_date,
            "channel": channel,
            "channel_index": index,
            "idempotency_key": idempotency_key(store_id, brief.kind, brief.person, brief.local_date, channel),
            "title": brief.message.title,
            "text": brief.message.text,
            "html": brief.message.html,
            "state": "due" if brief.state == "queued" else brief.state,
            "created_at": now,
            "due_at": brief.due_at,
            "expires_at": brief.expires_at,
            "next_try_at": now,
        }


def _pictures(brief: QueuedBrief) -> Iterator[dict[str, Any]]:
    for cid, png in brief.message.pictures:
        yield {"person": brief.person, "local_date": brief.local_date, "cid": cid, "png": png}


def _insert_free(connection: Connection, table: Table, rows: list[dict[str, Any]], *back: Any) -> Sequence[Row[Any]]:
    """Insert the rows whose unique keys are free; the columns `back` of those that went in."""
    if not rows:
        return []
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    return connection.execute(dialect.insert(table).on_conflict_do_nothing().returning(*back), rows).all()


def claim(connection: Connection, now: datetime, owner: str, limit: int) -> list[OutboxRow]:
    """Take up to `limit` rows whose turn it is, oldest first, for LEASE."""
    ready = (
        select(outbox.c.id)
        .where(outbox.c.state == "due", outbox.c.next_try_at <= now, outbox.c.expires_at > now)
        .order_by(outbox.c.next_try_at, outbox.c.id)
        .limit(limit)
        .with_for_update(skip_locked=True)
    )
    taken = (
        update(outbox)
        .where(outbox.c.id.in_(ready), outbox.c.state == "due")
        .values(state="sending", owner=owner, lease_until=now + LEASE, attempts=outbox.c.attempts + 1)
        .returning(*outbox.c)
    )
    return sorted((OutboxRow(**row._mapping) for row in connection.execute(taken)), key=lambda row: row.id)


def _held(row_id: int, owner: str) -> ColumnElement[bool]:
    return and_(outbox.c.id == row_id, outbox.c.state == "sending", outbox.c.owner == owner)


def mark_sent(connection: Connection, row_id: int, owner: str, now: datetime) -> bool:
    """Record a delivery; False if the row is no longer held by this owner."""
    done = update(outbox).where(_held(row_id, owner))
    values = {"state": "sent", "sent_at": now, "owner": None, "lease_until": None, "last_error": ""}
    return connection.execute(done.values(values)).rowcount == 1


def mark_failed(
    connection: Connection, row_id: int, owner: str, decision: RetryDecision, *, why: str, unknown: bool
) -> bool:
    """Record a send that was not confirmed, and what becomes of the row; False if no longer held by this owner."""
    values: dict[str, Any] = {"state": decision.state, "last_error": why, "owner": None, "lease_until": None}
    values["unknowns" if unknown else "failures"] = (outbox.c.unknowns if unknown else outbox.c.failures) + 1
    if decision.next_try_at is not None:
        values["next_try_at"] = decision.next_try_at
    return connection.execute(update(outbox).where(_held(row_id, owner)).values(values)).rowcount == 1


def release(connection: Connection, now: datetime, *, all_but: str | None = None) -> int:
    """Give back rows whose lease has run out; with `all_but`, those of all other owners too (known to be dead)."""
    orphaned = outbox.c.lease_until <= now
    if all_but is not None:
        orphaned = or_(orphaned, outbox.c.owner != all_but)
    given_back = update(outbox).where(outbox.c.state == "sending", orphaned)
    return connection.execute(given_back.values(state="due", owner=None, lease_until=None, next_try_at=now)).rowcount


def close_overdue(connection: Connection, now: datetime, most_claims: int) -> int:
    """Set rows whose time has passed to expired, and those taken up too often without an outcome to dead."""
    waiting = outbox.c.state == "due"
    too_often = waiting & (outbox.c.attempts >= most_claims)
    dead = update(outbox).where(too_often).values(state="dead", last_error="taken up too often without an outcome")
    expired = update(outbox).where(waiting, outbox.c.expires_at <= now).values(state="expired")
    return connection.execute(dead).rowcount + connection.execute(expired).rowcount


def forget_wording(connection: Connection, before: date) -> int:
    """Empty the texts of messages from before a date that are no longer to be sent; how many. Pictures go as well."""
    connection.execute(delete(brief_picture).where(brief_picture.c.local_date < before))
    old = (outbox.c.local_date < before) & outbox.c.state.not_in(("due", "sending")) & (outbox.c.text != "")
    return connection.execute(update(outbox).where(old).values(title="", text="", html="")).rowcount


def rows(connection: Connection, person: str | None = None) -> list[OutboxRow]:
    """All outbox rows in order of their making."""
    query = select(outbox).order_by(outbox.c.id)
    if person is not None:
        query = query.where(outbox.c.person == person)
    return [OutboxRow(**row._mapping) for row in connection.execute(query)]


def pictures(connection: Connection, person: str, local_date: date) -> tuple[tuple[str, bytes], ...]:
    """(content id, PNG) of what the mails of a brief show."""
    mine = (brief_picture.c.person == person) & (brief_picture.c.local_date == local_date)
    query = select(brief_picture.c.cid, brief_picture.c.png).where(mine).order_by(brief_picture.c.cid)
    return tuple((row.cid, bytes(row.png)) for row in connection.execute(query))


def recorded(connection: Connection, since: date) -> set[tuple[str, date]]:
    """(person, local date) of every brief on record from `since` on."""
    query = select(brief_log.c.person, brief_log.c.local_date).where(brief_log.c.local_date >= since)
    return {(row.person, row.local_date) for row in connection.execute(query)}


def undelivered(connection: Connection, since: date) -> set[tuple[str, date]]:
    """(person, local date) of the briefs from `since` on that reached the person over no channel and never will."""
    open_or_sent = func.sum(case((outbox.c.state.in_(("sent", "due", "sending")), 1), else_=0))
    query = (
        select(outbox.c.person, outbox.c.local_date)
        .where(outbox.c.local_date >= since, outbox.c.kind == "brief")
        .group_by(outbox.c.person, outbox.c.local_date)
        .having(open_or_sent == 0)
    )
    return {(row.person, row.local_date) for row in connection.execute(query)}


def brief(connection: Connection, person: str, local_date: date) -> BriefRow | None:
    """The record of one person and date."""
    query = select(brief_log).where(brief_log.c.person == person, brief_log.c.local_date == local_date)
    row = connection.execute(query).one_or_none()
    return BriefRow(**row._mapping) if row else None


def newest(connection: Connection) -> datetime | None:
    """When the last brief was decided."""
    found: datetime | None = connection.execute(select(func.max(brief_log.c.created_at))).scalar_one()
    return found
