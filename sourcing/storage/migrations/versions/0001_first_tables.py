"""First tables, frozen as they were: a later change of the schema is a later version."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Create every table as of this version."""
    op.create_table(
        "access",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("last_used_at", sa.Text(), nullable=True),
        sa.Column("revoked_at", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("hash"),
    )
    op.create_table(
        "also_in",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("batch_id", "product_id", "key"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("loaded_at", sa.Text(), nullable=False),
        sa.Column("as_of", sa.Integer(), nullable=True),
        sa.Column("read", sa.Integer(), nullable=False),
        sa.Column("new", sa.Integer(), nullable=False),
        sa.Column("known", sa.Integer(), nullable=False),
        sa.Column("rejected", sa.Integer(), nullable=False),
        sa.Column("undone_at", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "checked",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("shelf", sa.Integer(), nullable=True),
        sa.Column("decision", sa.Text(), nullable=False),
        sa.Column("most", sa.Integer(), nullable=True),
        sa.Column("query", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("checked_by_code", "checked", ["code", "id"], unique=False)
    op.create_table(
        "code",
        sa.Column("gtin", sa.Integer(), nullable=False),
        sa.Column("root", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("gtin"),
    )
    op.create_index("code_by_root", "code", ["root"], unique=False)
    op.create_table(
        "code_use",
        sa.Column("gtin", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("gtin", "product_id"),
        sqlite_with_rowid=False,
    )
    op.create_index("code_use_by_product", "code_use", ["product_id"], unique=False)
    op.create_table(
        "comp",
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("gtin", sa.Integer(), nullable=True),
        sa.Column("ask", sa.Integer(), nullable=True),
        sa.Column("sold", sa.Integer(), nullable=True),
        sa.Column("ship", sa.Integer(), nullable=True),
        sa.Column("listed", sa.Integer(), nullable=True),
        sa.Column("ended", sa.Integer(), nullable=True),
        sa.Column("seen", sa.Integer(), nullable=True),
        sa.Column("size", sa.Text(), nullable=False),
        sa.Column("condition", sa.Text(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("style_code", sa.Text(), nullable=False),
        sa.Column("brand", sa.Text(), nullable=False),
        sa.Column("category", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("product_id", "key"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "fit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("rests_on", sa.Text(), nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "haul",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("started_at", sa.Text(), nullable=False),
        sa.Column("closed_at", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "product",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("root", sa.Integer(), nullable=False),
        sa.Column("style_code", sa.Text(), nullable=False),
        sa.Column("brand", sa.Text(), nullable=False),
        sa.Column("category", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    op.create_index("product_by_root", "product", ["root"], unique=False)
    op.create_table(
        "settings_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("saved_at", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "haul_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("haul_id", sa.Integer(), nullable=False),
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Text(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["check_id"],
            ["checked.id"],
        ),
        sa.ForeignKeyConstraint(
            ["haul_id"],
            ["haul.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_id"),
    )
    op.create_index("haul_item_by_haul", "haul_item", ["haul_id"], unique=False)
    op.create_table(
        "problem",
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("row", sa.Integer(), nullable=False),
        sa.Column("column", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("fix", sa.Text(), nullable=False),
        sa.Column("rejected", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["batch_id"],
            ["batch.id"],
        ),
    )
    op.create_index("problem_by_batch", "problem", ["batch_id"], unique=False)
