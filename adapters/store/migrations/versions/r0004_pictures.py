"""Pictures that go with the mails of a brief."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "brief_picture",
        sa.Column("person", sa.String(64), nullable=False),
        sa.Column("local_date", sa.Date, nullable=False),
        sa.Column("cid", sa.String(120), nullable=False),
        sa.Column("png", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("person", "local_date", "cid", name=op.f("pk_brief_picture")),
        sa.ForeignKeyConstraint(
            ["person", "local_date"],
            ["brief_log.person", "brief_log.local_date"],
            name=op.f("fk_brief_picture_brief_log"),
        ),
    )
