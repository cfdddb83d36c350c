"""Stock: pieces, listings, sales, and the ledger of what was done with them."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "stock_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("haul_item_id", sa.Integer()),
        sa.Column("check_id", sa.Integer()),
        sa.Column("part_of", sa.Integer()),
        sa.Column("label", sa.Text()),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("gtin", sa.Text(), nullable=False),
        sa.Column("style_code", sa.Text(), nullable=False),
        sa.Column("brand", sa.Text(), nullable=False),
        sa.Column("category", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("size", sa.Text(), nullable=False),
        sa.Column("condition", sa.Text(), nullable=False),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.Column("store", sa.Text(), nullable=False),
        sa.Column("bought_on", sa.Integer(), nullable=False),
        sa.Column("shelf", sa.Integer()),
        sa.Column("landed", sa.Integer(), nullable=False),
        sa.Column("forecast", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("bin", sa.Text(), nullable=False),
        sa.Column("ended_on", sa.Integer()),
        sa.Column("got", sa.Integer()),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["check_id"], ["checked.id"]),
        sa.ForeignKeyConstraint(["haul_item_id"], ["haul_item.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("label"),
        sqlite_autoincrement=True,
    )
    op.create_index("stock_item_by_haul_item", "stock_item", ["haul_item_id"])
    op.create_index("stock_item_by_state", "stock_item", ["state", "id"])
    op.create_table(
        "stock_listing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("ended_on", sa.Integer()),
        sa.Column("how", sa.Text(), nullable=False, server_default=""),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("stock_listing_by_item", "stock_listing", ["item_id"])
    op.create_table(
        "stock_sale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("sold_on", sa.Integer(), nullable=False),
        sa.Column("paid", sa.Integer(), nullable=False),
        sa.Column("fees", sa.Integer()),
        sa.Column("postage", sa.Integer()),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("returned_on", sa.Integer()),
        sa.Column("refunded", sa.Integer()),
        sa.Column("return_cost", sa.Integer()),
        sa.Column("note", sa.Text(), nullable=False, server_default=""),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("stock_sale_by_day", "stock_sale", ["sold_on"])
    op.create_index("stock_sale_by_item", "stock_sale", ["item_id"])
    op.create_table(
        "stock_action",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("client_id", sa.Text()),
        sa.Column("undoes", sa.Integer()),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("stock_action_by_undoes", "stock_action", ["undoes"])
    op.create_table(
        "stock_change",
        sa.Column("action_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("kept", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("before", sa.Text()),
        sa.Column("after", sa.Text()),
        sa.ForeignKeyConstraint(["action_id"], ["stock_action.id"]),
        sa.PrimaryKeyConstraint("action_id", "place"),
        sqlite_with_rowid=False,
    )
    op.create_index("stock_change_by_row", "stock_change", ["kept", "number"])
