"""What a run took beside its purchases, and photos of pieces and of receipts."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "trip",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("haul_id", sa.Integer()),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("drive", sa.Integer()),
        sa.Column("shop", sa.Integer()),
        sa.Column("distance", sa.Integer()),
        sa.Column("saved_at", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text()),
        sa.ForeignKeyConstraint(["haul_id"], ["haul.id"]),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("trip_by_haul", "trip", ["haul_id", "id"])
    op.create_index("trip_by_store", "trip", ["store", "id"])
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("of", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("added_at", sa.Text(), nullable=False),
        sa.Column("removed_at", sa.Text()),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("photo_by_owner", "photo", ["of", "number", "id"])
