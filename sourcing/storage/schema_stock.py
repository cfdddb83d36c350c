"""The tables of stock: pieces, listings and sales as they stand, and the ledger of how they came to that."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, PrimaryKeyConstraint, Table, Text

from sourcing.storage.schema import metadata

stock_item = Table(  # one row a piece, as it stands now; the ledger below holds how it came to that
    "stock_item",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),  # never given again: an undone undo needs its own
    Column("haul_item_id", Integer, ForeignKey("haul_item.id")),
    Column("check_id", Integer, ForeignKey("checked.id")),
    Column("part_of", Integer),
    Column("label", Text, unique=True),
    Column("what", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("gtin", Text, nullable=False),
    Column("style_code", Text, nullable=False),
    Column("brand", Text, nullable=False),
    Column("category", Text, nullable=False),
    Column("title", Text, nullable=False),
    Column("size", Text, nullable=False),
    Column("condition", Text, nullable=False),
    Column("flags", Text, nullable=False),  # JSON
    Column("store", Text, nullable=False),
    Column("bought_on", Integer, nullable=False),
    Column("shelf", Integer),
    Column("landed", Integer, nullable=False),
    Column("forecast", Text, nullable=False),  # JSON: what the verdict said then
    Column("state", Text, nullable=False),
    Column("bin", Text, nullable=False),
    Column("ended_on", Integer),  # day of the sale or of giving up
    Column("got", Integer),  # what giving up brought
    Column("note", Text, nullable=False),
    sqlite_autoincrement=True,
)
Index("stock_item_by_state", stock_item.c.state, stock_item.c.id)
Index("stock_item_by_haul_item", stock_item.c.haul_item_id)
Index("stock_item_by_style_code", stock_item.c.style_code)
Index("stock_item_by_gtin", stock_item.c.gtin)
Index("stock_item_costs", stock_item.c.state, stock_item.c.landed)

stock_listing = Table(  # one row a spell on the market
    "stock_listing",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("item_id", Integer, nullable=False),
    Column("channel", Text, nullable=False),
    Column("asked", Text, nullable=False),  # JSON: [day, asking price from then on], in order
    Column("ended_on", Integer),
    Column("how", Text, nullable=False, server_default=""),  # "sold", "taken down", "given up"
    sqlite_autoincrement=True,
)
Index("stock_listing_by_item", stock_listing.c.item_id)

stock_sale = Table(
    "stock_sale",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("item_id", Integer, nullable=False),
    Column("sold_on", Integer, nullable=False),
    Column("paid", Integer, nullable=False),  # by the buyer in all, shipping charged included
    Column("fees", Integer),
    Column("postage", Integer),
    Column("channel", Text, nullable=False),
    Column("returned_on", Integer),
    Column("refunded", Integer),
    Column("return_cost", Integer),
    Column("note", Text, nullable=False, server_default=""),
    sqlite_autoincrement=True,
)
Index("stock_sale_by_item", stock_sale.c.item_id)
Index("stock_sale_by_day", stock_sale.c.sold_on)

stock_action = Table(  # the ledger: only ever appended to
    "stock_action",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("words", Text, nullable=False),
    Column("client_id", Text, unique=True),  # a repeated send of the same tap acts once
    Column("undoes", Integer),
    sqlite_autoincrement=True,
)
Index("stock_action_by_undoes", stock_action.c.undoes)
Index("stock_action_by_kind", stock_action.c.kind)

stock_change = Table(  # what an action found and what it left, row by row
    "stock_change",
    metadata,
    Column("action_id", Integer, ForeignKey("stock_action.id"), nullable=False),
    Column("place", Integer, nullable=False),
    Column("kept", Text, nullable=False),  # "item", "listing" or "sale"
    Column("number", Integer, nullable=False),
    Column("before", Text),  # JSON of the columns changed; NULL: there was none
    Column("after", Text),  # likewise; NULL: it was taken out
    PrimaryKeyConstraint("action_id", "place"),
    sqlite_with_rowid=False,
)
Index("stock_change_by_row", stock_change.c.kept, stock_change.c.number)
