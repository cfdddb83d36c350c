"""Any export: listings known by the source's number, currencies, rows set aside, edits, remembered layouts."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the columns and tables; what is there already counts as before."""
    op.add_column("batch", sa.Column("layout", sa.Text(), nullable=False, server_default=""))
    op.add_column("comp", sa.Column("listing", sa.Text(), nullable=False, server_default=""))
    op.add_column("comp", sa.Column("currency", sa.Text(), nullable=False, server_default=""))
    op.add_column("comp", sa.Column("row", sa.Integer()))
    op.add_column("comp", sa.Column("out", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("comp", sa.Column("aside", sa.Text(), nullable=False, server_default=""))
    op.add_column("also_in", sa.Column("row", sa.Integer()))
    op.create_table(
        "layout",
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=False),
        sa.Column("saved_at", sa.Text(), nullable=False),
        sa.Column("used_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("fingerprint"),
    )
    op.create_table(
        "edit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("edit_by_undone", "edit", ["undone_at"])
    op.create_table(
        "alias",
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("theirs", sa.Text(), nullable=False),
        sa.Column("ours", sa.Text(), nullable=False),
        sa.Column("edit_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["edit_id"], ["edit.id"]),
        sa.PrimaryKeyConstraint("kind", "theirs"),
    )
    op.create_table(
        "moved",
        sa.Column("product_key", sa.Text(), nullable=False),
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("edit_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["edit_id"], ["edit.id"]),
        sa.PrimaryKeyConstraint("product_key", "key"),
        sqlite_with_rowid=False,
    )
