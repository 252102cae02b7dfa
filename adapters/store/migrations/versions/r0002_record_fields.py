"""The ledger gains what record laws ask for: batch, licence, end, area, weather, forecast basis and more."""

import sqlalchemy as sa
from alembic import op

from adapters.store.types import Instant

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

INSTANTS = ("end", "forecast_issued")
NUMBERS = ("area_m2", "water_l", "temperature_c", "humidity_pct", "wind_m_s", "forecast_chance", "buffer_m")
TEXTS = (
    "batch", "licence", "equipment", "reason", "crop", "wind_from", "soil", "weather_by", "forecast_provider",
    "forecast_of",
)  # fmt: skip
DATES = ("calibrated_on",)
EITHER = ("signs_posted", "reentry_told")

FIRST = ("id", "lawn", "product", "kind", "at", "local_date", "amount", "by", "note", "recorded_at")


def upgrade() -> None:
    """Add the columns; the triggers that keep rows as they are learn of them."""
    added = [
        *(sa.Column(name, Instant) for name in INSTANTS),
        *(sa.Column(name, sa.Float) for name in NUMBERS),
        *(sa.Column(name, sa.Text, nullable=False, server_default=sa.text("''")) for name in TEXTS),
        *(sa.Column(name, sa.Date) for name in DATES),
        *(sa.Column(name, sa.Boolean) for name in EITHER),
    ]
    for column in added:
        op.add_column("ledger", column)
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TRIGGER ledger_keeps_values")
        op.execute(_keep_values((*FIRST, *(column.name for column in added))))


def _keep_values(names: tuple[str, ...]) -> str:
    """The one change a row may see is the mark that it was taken back."""
    new, old = (", ".join(f'{side}."{name}"' for name in names) for side in ("NEW", "OLD"))
    return (
        "CREATE TRIGGER ledger_keeps_values BEFORE UPDATE ON ledger "
        f"WHEN OLD.undone_at IS NOT NULL OR NEW.undone_at IS NULL OR ({new}) IS NOT ({old}) "
        "BEGIN SELECT RAISE(ABORT, 'a row of the ledger is never changed or removed'); END"
    )
