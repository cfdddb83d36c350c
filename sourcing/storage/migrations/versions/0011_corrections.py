"""Corrections of the forecasts that the user accepted."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("category", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("client_id", sa.Text()),
        sa.Column("undone_at", sa.Text()),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_id"),
        sqlite_autoincrement=True,
    )
