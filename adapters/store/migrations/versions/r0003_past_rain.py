"""Rain of past hours, the chances said of windows with what came of them, and the calibrations that follow."""

import sqlalchemy as sa
from alembic import op

from adapters.store.types import Instant

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the tables."""
    op.create_table(
        "observed_rain",
        sa.Column("cell", sa.String(40), nullable=False),
        sa.Column("hour", Instant, nullable=False),
        sa.Column("rain_mm", sa.Float, nullable=False),
        sa.Column("grade", sa.Integer, nullable=False),
        sa.Column("source", sa.String(40), nullable=False),
        sa.Column("kept_at", Instant, nullable=False),
        sa.PrimaryKeyConstraint("cell", "hour", name=op.f("pk_observed_rain")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "chance_log",
        *_about(),
        sa.Column("start", Instant, nullable=False),
        sa.Column("chance", sa.Float, nullable=False),
        sa.Column("lead_h", sa.Integer, nullable=False),
        sa.Column("said_at", Instant, nullable=False),
        sa.Column("outcome", sa.Integer),
        sa.PrimaryKeyConstraint(
            "cell", "provider", "method", "window_h", "wet_mm", "lead_day", "start", name=op.f("pk_chance_log")
        ),
        sa.CheckConstraint("outcome IN (0, 1)", name=op.f("ck_chance_log_outcome")),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_chance_log_start", "chance_log", ["start"])
    op.create_table(
        "calibration",
        *_about(),
        sa.Column("days", sa.Integer, nullable=False),
        sa.Column("wet_days", sa.Integer, nullable=False),
        sa.Column("knots", sa.Text, nullable=False),
        sa.Column("in_use", sa.Boolean, nullable=False),
        sa.Column("fitted_at", Instant, nullable=False),
        sa.PrimaryKeyConstraint(
            "cell", "provider", "method", "window_h", "wet_mm", "lead_day", name=op.f("pk_calibration")
        ),
    )


def _about() -> list[sa.Column[object]]:
    """What a chance is of, and who says it."""
    return [
        sa.Column("cell", sa.String(40), nullable=False),
        sa.Column("provider", sa.String(40), nullable=False),
        sa.Column("method", sa.String(40), nullable=False),
        sa.Column("window_h", sa.Integer, nullable=False),
        sa.Column("wet_mm", sa.Float, nullable=False),
        sa.Column("lead_day", sa.Integer, nullable=False),
    ]
