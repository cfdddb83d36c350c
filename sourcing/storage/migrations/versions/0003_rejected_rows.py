"""Rejected rows are kept as the file had them, so that they can be mended in place."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the table, and to batches the names of the file's columns and what they correct."""
    op.add_column("batch", sa.Column("header", sa.Text(), nullable=False, server_default=""))
    op.add_column("batch", sa.Column("corrects", sa.Integer()))
    op.create_table(
        "reject",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("cells", sa.Text(), nullable=False),
        sa.Column("mended_by", sa.Integer()),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"]),
        sa.PrimaryKeyConstraint("batch_id", "row"),
        sqlite_with_rowid=False,
    )
