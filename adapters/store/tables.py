"""The tables. Types are those that SQLite and PostgreSQL share; a change here needs a migration beside it."""

from typing import Any

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from adapters.store.types import Instant

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(referred_table_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)

# What was done. Rows are added; the one change ever made is to set undone_at.
ledger = Table(
    "ledger",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("lawn", String(64), nullable=False),
    Column("product", String(64), nullable=False),
    Column("kind", String(8), nullable=False),
    Column("at", Instant, nullable=False),
    Column("local_date", Date, nullable=False),
    Column("amount", Float),
    Column("by", String(80), nullable=False, server_default=text("''")),
    Column("note", Text, nullable=False, server_default=text("''")),
    Column("recorded_at", Instant, nullable=False),
    Column("undone_at", Instant),
    Column("end", Instant),
    Column("area_m2", Float),
    Column("water_l", Float),
    Column("batch", Text, nullable=False, server_default=text("''")),
    Column("licence", Text, nullable=False, server_default=text("''")),
    Column("equipment", Text, nullable=False, server_default=text("''")),
    Column("calibrated_on", Date),
    Column("reason", Text, nullable=False, server_default=text("''")),
    Column("crop", Text, nullable=False, server_default=text("''")),
    Column("temperature_c", Float),
    Column("humidity_pct", Float),
    Column("wind_m_s", Float),
    Column("wind_from", Text, nullable=False, server_default=text("''")),
    Column("soil", Text, nullable=False, server_default=text("''")),
    Column("weather_by", Text, nullable=False, server_default=text("''")),
    Column("forecast_provider", Text, nullable=False, server_default=text("''")),
    Column("forecast_issued", Instant),
    Column("forecast_chance", Float),
    Column("forecast_of", Text, nullable=False, server_default=text("''")),
    Column("buffer_m", Float),
    Column("signs_posted", Boolean),
    Column("reentry_told", Boolean),
    CheckConstraint("kind IN ('done', 'skipped')", name="kind"),
    Index(None, "lawn", "product", "at"),
)

# The last good answers of each feed, as received: they are read again with the feed's own parser.
forecast_run = Table(
    "forecast_run",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("cell", String(40), nullable=False),
    Column("provider", String(40), nullable=False),
    Column("issued_at", Instant, nullable=False),
    Column("received_at", Instant, nullable=False),
    Column("body_gz", LargeBinary, nullable=False),
    Index(None, "cell", "provider", "received_at"),
)

# How each feed and cell stands: validators for the next conditional request, when to try again, what failed last.
feed_state = Table(
    "feed_state",
    metadata,
    Column("provider", String(40), nullable=False),
    Column("cell", String(40), nullable=False),
    Column("last_modified", Text),
    Column("etag", Text),
    Column("expires_at", Instant),
    Column("next_try_at", Instant),
    Column("failures", Integer, nullable=False, server_default="0"),
    Column("last_error", Text, nullable=False, server_default=text("''")),
    Column("last_attempt_at", Instant),
    Column("extra", Text, nullable=False, server_default=text("'{}'")),
    PrimaryKeyConstraint("provider", "cell"),
)

# Rain of hours that are over; each hour holds the best figure there is (scheduler.weather.past).
observed_rain = Table(
    "observed_rain",
    metadata,
    Column("cell", String(40), nullable=False),
    Column("hour", Instant, nullable=False),
    Column("rain_mm", Float, nullable=False),
    Column("grade", Integer, nullable=False),
    Column("source", String(40), nullable=False),
    Column("kept_at", Instant, nullable=False),
    PrimaryKeyConstraint("cell", "hour"),
    sqlite_with_rowid=False,
)


def _event() -> list[Column[Any]]:
    """What a chance is of, and who says it."""
    return [
        Column("cell", String(40), nullable=False),
        Column("provider", String(40), nullable=False),
        Column("method", String(40), nullable=False),
        Column("window_h", Integer, nullable=False),
        Column("wet_mm", Float, nullable=False),
        Column("lead_day", Integer, nullable=False),
    ]


# The chance of a wet window from `start` on as it was said some morning, and whether it came wet (1) or not (0).
chance_log = Table(
    "chance_log",
    metadata,
    *_event(),
    Column("start", Instant, nullable=False),
    Column("chance", Float, nullable=False),
    Column("lead_h", Integer, nullable=False),
    Column("said_at", Instant, nullable=False),
    Column("outcome", Integer),
    PrimaryKeyConstraint("cell", "provider", "method", "window_h", "wet_mm", "lead_day", "start"),
    CheckConstraint("outcome IN (0, 1)", name="outcome"),
    Index(None, "start"),
    sqlite_with_rowid=False,
)

# What those pairs teach: knots as JSON [[x], [y]]; not in use where they do not stand the test.
calibration = Table(
    "calibration",
    metadata,
    *_event(),
    Column("days", Integer, nullable=False),
    Column("wet_days", Integer, nullable=False),
    Column("knots", Text, nullable=False),
    Column("in_use", Boolean, nullable=False),
    Column("fitted_at", Instant, nullable=False),
    PrimaryKeyConstraint("cell", "provider", "method", "window_h", "wet_mm", "lead_day"),
)

# One row per person and local date: the decision was taken (queued), came too late (expired) or failed (dead).
brief_log = Table(
    "brief_log",
    metadata,
    Column("person", String(64), nullable=False),
    Column("local_date", Date, nullable=False),
    Column("state", String(8), nullable=False),
    Column("lines", Text, nullable=False, server_default="[]"),
    Column("note", Text, nullable=False, server_default=text("''")),
    Column("created_at", Instant, nullable=False),
    PrimaryKeyConstraint("person", "local_date"),
    CheckConstraint("state IN ('queued', 'expired', 'dead')", name="state"),
)

# The pictures that the mails of a brief show.
brief_picture = Table(
    "brief_picture",
    metadata,
    Column("person", String(64), nullable=False),
    Column("local_date", Date, nullable=False),
    Column("cid", String(120), nullable=False),
    Column("png", LargeBinary, nullable=False),
    PrimaryKeyConstraint("person", "local_date", "cid"),
    ForeignKeyConstraint(["person", "local_date"], ["brief_log.person", "brief_log.local_date"]),
)

# The outbox: one row per message and channel, written in the same transaction as the decision.
outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("kind", String(16), nullable=False),
    Column("person", String(64), nullable=False),
    Column("local_date", Date, nullable=False),
    Column(
        "channel", String(64), nullable=False
    ),  # SHA-256 of the reach as written, ${NAME} unfilled: never the secret
    Column("channel_index", Integer, nullable=False),
    Column("idempotency_key", String(64), nullable=False),
    Column("title", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("html", Text, nullable=False),
    Column("state", String(8), nullable=False),
    Column("created_at", Instant, nullable=False),
    Column("due_at", Instant, nullable=False),
    Column("expires_at", Instant, nullable=False),
    Column("next_try_at", Instant, nullable=False),
    Column("attempts", Integer, nullable=False, server_default="0"),
    Column("failures", Integer, nullable=False, server_default="0"),
    Column("unknowns", Integer, nullable=False, server_default="0"),
    Column("owner", String(80)),
    Column("lease_until", Instant),
    Column("sent_at", Instant),
    Column("last_error", Text, nullable=False, server_default=text("''")),
    UniqueConstraint("kind", "person", "local_date", "channel"),
    ForeignKeyConstraint(["person", "local_date"], ["brief_log.person", "brief_log.local_date"]),
    CheckConstraint("state IN ('due', 'sending', 'sent', 'dead', 'expired')", name="state"),
    Index(None, "state", "next_try_at"),
)

# Facts about the database itself, such as when it was put back from a copy.
about = Table(
    "about",
    metadata,
    Column("name", String(40), primary_key=True),
    Column("value", Text, nullable=False),
)
