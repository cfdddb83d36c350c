"""Prep time: batches that are timed, and every tap of their watches."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "prep_batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "prep_tap",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("steady", sa.Float()),
        sa.Column("boot", sa.Text(), nullable=False),
        sa.Column("client_id", sa.Text()),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text()),
        sa.ForeignKeyConstraint(["batch_id"], ["prep_batch.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("prep_tap_by_batch", "prep_tap", ["batch_id", "id"])
    op.create_index("prep_tap_by_undone", "prep_tap", ["undone_at"])
