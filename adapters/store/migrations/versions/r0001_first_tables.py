"""The first tables: ledger, forecasts, feed states, briefs, outbox."""

import sqlalchemy as sa
from alembic import op

from adapters.store.types import Instant

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# The record stands up to an audit only if the database itself refuses to rewrite it.
KEEP_ROWS = """
CREATE TRIGGER ledger_keeps_rows BEFORE DELETE ON ledger
BEGIN SELECT RAISE(ABORT, 'a row of the ledger is never changed or removed'); END
"""
KEEP_VALUES = """
CREATE TRIGGER ledger_keeps_values BEFORE UPDATE ON ledger
WHEN OLD.undone_at IS NOT NULL OR NEW.undone_at IS NULL OR (
  NEW.id, NEW.lawn, NEW.product, NEW.kind, NEW.at, NEW.local_date, NEW.amount, NEW."by", NEW.note, NEW.recorded_at
) IS NOT (
  OLD.id, OLD.lawn, OLD.product, OLD.kind, OLD.at, OLD.local_date, OLD.amount, OLD."by", OLD.note, OLD.recorded_at
)
BEGIN SELECT RAISE(ABORT, 'a row of the ledger is never changed or removed'); END
"""


def upgrade() -> None:
    """Create everything."""
    op.create_table(
        "about",
        sa.Column("name", sa.String(40), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    _what_was_done()
    _forecasts()
    _briefs_and_outbox()


def _what_was_done() -> None:
    op.create_table(
        "ledger",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("lawn", sa.String(64), nullable=False),
        sa.Column("product", sa.String(64), nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("at", Instant, nullable=False),
        sa.Column("local_date", sa.Date, nullable=False),
        sa.Column("amount", sa.Float),
        sa.Column("by", sa.String(80), nullable=False, server_default=sa.text("''")),
        sa.Column("note", sa.Text, nullable=False, server_default=sa.text("''")),
        sa.Column("recorded_at", Instant, nullable=False),
        sa.Column("undone_at", Instant),
        sa.CheckConstraint("kind IN ('done', 'skipped')", name=op.f("ck_ledger_kind")),
    )
    op.create_index("ix_ledger_lawn_product_at", "ledger", ["lawn", "product", "at"])
    if op.get_bind().dialect.name == "sqlite":
        op.execute(KEEP_ROWS)
        op.execute(KEEP_VALUES)


def _forecasts() -> None:
    op.create_table(
        "forecast_run",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("cell", sa.String(40), nullable=False),
        sa.Column("provider", sa.String(40), nullable=False),
        sa.Column("issued_at", Instant, nullable=False),
        sa.Column("received_at", Instant, nullable=False),
        sa.Column("body_gz", sa.LargeBinary, nullable=False),
    )
    op.create_index("ix_forecast_run_cell_provider_received_at", "forecast_run", ["cell", "provider", "received_at"])
    op.create_table(
        "feed_state",
        sa.Column("provider", sa.String(40), nullable=False),
        sa.Column("cell", sa.String(40), nullable=False),
        sa.Column("last_modified", sa.Text),
        sa.Column("etag", sa.Text),
        sa.Column("expires_at", Instant),
        sa.Column("next_try_at", Instant),
        sa.Column("failures", sa.Integer, nullable=False, server_default="0"),
        sa.Column("last_error", sa.Text, nullable=False, server_default=sa.text("''")),
        sa.Column("last_attempt_at", Instant),
        sa.Column("extra", sa.Text, nullable=False, server_default=sa.text("'{}'")),
        sa.PrimaryKeyConstraint("provider", "cell", name=op.f("pk_feed_state")),
    )


def _briefs_and_outbox() -> None:
    op.create_table(
        "brief_log",
        sa.Column("person", sa.String(64), nullable=False),
        sa.Column("local_date", sa.Date, nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("lines", sa.Text, nullable=False, server_default="[]"),
        sa.Column("note", sa.Text, nullable=False, server_default=sa.text("''")),
        sa.Column("created_at", Instant, nullable=False),
        sa.PrimaryKeyConstraint("person", "local_date", name=op.f("pk_brief_log")),
        sa.CheckConstraint("state IN ('queued', 'expired', 'dead')", name=op.f("ck_brief_log_state")),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("person", sa.String(64), nullable=False),
        sa.Column("local_date", sa.Date, nullable=False),
        sa.Column("channel", sa.String(64), nullable=False),
        sa.Column("channel_index", sa.Integer, nullable=False),
        sa.Column("idempotency_key", sa.String(64), nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("html", sa.Text, nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("created_at", Instant, nullable=False),
        sa.Column("due_at", Instant, nullable=False),
        sa.Column("expires_at", Instant, nullable=False),
        sa.Column("next_try_at", Instant, nullable=False),
        sa.Column("attempts", sa.Integer, nullable=False, server_default="0"),
        sa.Column("failures", sa.Integer, nullable=False, server_default="0"),
        sa.Column("unknowns", sa.Integer, nullable=False, server_default="0"),
        sa.Column("owner", sa.String(80)),
        sa.Column("lease_until", Instant),
        sa.Column("sent_at", Instant),
        sa.Column("last_error", sa.Text, nullable=False, server_default=sa.text("''")),
        sa.UniqueConstraint(
            "kind", "person", "local_date", "channel", name=op.f("uq_outbox_kind_person_local_date_channel")
        ),
        sa.ForeignKeyConstraint(
            ["person", "local_date"], ["brief_log.person", "brief_log.local_date"], name=op.f("fk_outbox_brief_log")
        ),
        sa.CheckConstraint("state IN ('due', 'sending', 'sent', 'dead', 'expired')", name=op.f("ck_outbox_state")),
    )
    op.create_index("ix_outbox_state_next_try_at", "outbox", ["state", "next_try_at"])
