"""The tables. Money is integer minor units, days are integers since 1970-01-01, moments are ISO 8601 UTC.

Comps are clustered by product (``WITHOUT ROWID``, primary key product + row key), so that one check reads
one short stretch of the file. A product is a style code where the row has one, else a GTIN, else a title; its
``root`` points a GTIN-only product at the style most rows with that GTIN name, and is what a check looks up.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
)

metadata = MetaData()

batch = Table(
    "batch",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("file_name", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("loaded_at", Text, nullable=False),
    Column("as_of", Integer),  # latest day named in the file: until then an open listing was surely unsold
    Column("read", Integer, nullable=False),
    Column("new", Integer, nullable=False),
    Column("known", Integer, nullable=False),
    Column("rejected", Integer, nullable=False),
    Column("undone_at", Text),
    Column("layout", Text, nullable=False, server_default=""),  # JSON: how the file was read, "" for our own format
    Column("header", Text, nullable=False, server_default=""),  # JSON: the file's own column names
    Column("corrects", Integer),  # the batch whose rejected rows this one holds, mended
)

reject = Table(  # rows that were not loaded, as the file had them
    "reject",
    metadata,
    Column("batch_id", Integer, ForeignKey("batch.id"), nullable=False),
    Column("row", Integer, nullable=False),
    Column("cells", Text, nullable=False),  # JSON
    Column("mended_by", Integer),  # the batch that brought it once it was mended
    PrimaryKeyConstraint("batch_id", "row"),
    sqlite_with_rowid=False,
)

problem = Table(
    "problem",
    metadata,
    Column("batch_id", Integer, ForeignKey("batch.id"), nullable=False),
    Column("row", Integer, nullable=False),
    Column("column", Text, nullable=False),
    Column("value", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("fix", Text, nullable=False),
    Column("rejected", Integer, nullable=False),
)
Index("problem_by_batch", problem.c.batch_id)

product = Table(
    "product",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),  # "s:STYLECODE", "g:GTIN-14" or "t:folded title"
    Column("root", Integer, nullable=False),
    Column("style_code", Text, nullable=False),  # canonical; "" when the rows have none
    Column("brand", Text, nullable=False),
    Column("category", Text, nullable=False),
    Column("title", Text, nullable=False),
)
Index("product_by_root", product.c.root)

code = Table(  # GTIN-14 -> root product
    "code",
    metadata,
    Column("gtin", Integer, primary_key=True),
    Column("root", Integer, nullable=False),
)
Index("code_by_root", code.c.root)

code_use = Table(  # of a GTIN that several products use, how many rows of each carry it: what code.root is decided by
    "code_use",
    metadata,
    Column("gtin", Integer, nullable=False),
    Column("product_id", Integer, nullable=False),
    Column("rows", Integer, nullable=False),
    PrimaryKeyConstraint("gtin", "product_id"),
    sqlite_with_rowid=False,
)
Index("code_use_by_product", code_use.c.product_id)

comp = Table(
    "comp",
    metadata,
    Column("product_id", Integer, nullable=False),
    Column("key", Integer, nullable=False),  # 63 bits of blake2b over the row's canonical text + occurrence
    Column("batch_id", Integer, nullable=False),  # the first live batch that brought the row
    Column("status", Integer, nullable=False),  # 0 open, 1 sold, 2 ended unsold
    Column("gtin", Integer),
    Column("ask", Integer),
    Column("sold", Integer),
    Column("ship", Integer),
    Column("listed", Integer),
    Column("ended", Integer),
    Column("seen", Integer),  # latest as-of day of its live batches: an open listing is right-censored here
    Column("size", Text, nullable=False),
    Column("condition", Text, nullable=False),
    Column("channel", Text, nullable=False),
    Column("style_code", Text, nullable=False),  # as typed
    Column("brand", Text, nullable=False),
    Column("category", Text, nullable=False),
    Column("title", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("listing", Text, nullable=False, server_default=""),  # the source's own number of the listing
    Column("currency", Text, nullable=False, server_default=""),  # ISO 4217; "" where the file names none
    Column("row", Integer),  # of its file; the header is row 1
    Column("out", Integer, nullable=False, server_default="0"),  # 0 counts; why not: an index of comps.columns.OUT
    Column("aside", Text, nullable=False, server_default=""),  # why the user set it aside
    PrimaryKeyConstraint("product_id", "key"),
    sqlite_with_rowid=False,
)

also_in = Table(  # a row that a later live batch brought again: an undo of the first hands the row over
    "also_in",
    metadata,
    Column("batch_id", Integer, nullable=False),
    Column("product_id", Integer, nullable=False),
    Column("key", Integer, nullable=False),
    Column("row", Integer),
    PrimaryKeyConstraint("batch_id", "product_id", "key"),
    sqlite_with_rowid=False,
)

layout = Table(  # how files with this header are read; the user has confirmed it
    "layout",
    metadata,
    Column("fingerprint", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("layout", Text, nullable=False),  # JSON of comps.layout.Layout
    Column("saved_at", Text, nullable=False),
    Column("used_at", Text, nullable=False),
)

edit = Table(  # one row a change the user made to the table; each can be undone
    "edit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("words", Text, nullable=False),  # what was done, for the list of changes
    Column("before", Text, nullable=False),  # JSON: what an undo puts back
    Column("undone_at", Text),
)
Index("edit_by_undone", edit.c.undone_at)  # counted at every check, and what is before it may be megabytes

alias = Table(  # a word or style code that is read as another, in rows loaded later too
    "alias",
    metadata,
    Column("kind", Text, nullable=False),  # "style", "brand" or "category"
    Column("theirs", Text, nullable=False),  # folded
    Column("ours", Text, nullable=False),
    Column("edit_id", Integer, ForeignKey("edit.id"), nullable=False),
    PrimaryKeyConstraint("kind", "theirs"),
)

moved = Table(  # a row that an edit gave to another product: the same row of a later file is still known
    "moved",
    metadata,
    Column("product_key", Text, nullable=False),  # product.key the row came with
    Column("key", Integer, nullable=False),
    Column("product_id", Integer, nullable=False),  # where it is now
    Column("edit_id", Integer, ForeignKey("edit.id"), nullable=False),
    PrimaryKeyConstraint("product_key", "key"),
    sqlite_with_rowid=False,
)

fit = Table(  # one row a fit; the newest is in force
    "fit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("made_at", Text, nullable=False),
    Column("rests_on", Text, nullable=False),  # JSON: rows, sales, newest day, held-out coverage
    Column("payload", LargeBinary, nullable=False),
)

replay = Table(  # what was worked out of the history, until what it stands on changes
    "replay",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("made_at", Text, nullable=False),
    Column("kind", Text, nullable=False),  # "fit" (of a day of the past) or "occasions"
    Column("stands_on", Text, nullable=False, unique=True),  # JSON: kind, comps, settings, day; equal means still true
    Column("payload", LargeBinary, nullable=False),
)

settings_version = Table(  # one row a saved change; the newest not undone is in force
    "settings_version",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("saved_at", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("toml", Text, nullable=False),
    Column("undone_at", Text),
)

checked = Table(  # every check, passes too
    "checked",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("shelf", Integer),
    Column("decision", Text, nullable=False),
    Column("most", Integer),
    Column("query", Text, nullable=False),  # JSON, enough to ask again
    Column("answer", Text, nullable=False),  # JSON, what was said then
    Column("gtin", Text, nullable=False, server_default=""),  # of the item it was about; "" not known
    Column("style_size", Text, nullable=False, server_default=""),  # its style code or title and its size, folded
)
Index("checked_by_code", checked.c.code, checked.c.id)
Index("checked_by_gtin", checked.c.gtin, checked.c.id)
Index("checked_by_style_size", checked.c.style_size, checked.c.id)
Index("checked_by_at", checked.c.at)

haul = Table(
    "haul",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("store", Text, nullable=False),
    Column("started_at", Text, nullable=False),
    Column("closed_at", Text),
)

haul_item = Table(
    "haul_item",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("haul_id", Integer, ForeignKey("haul.id"), nullable=False),
    Column("check_id", Integer, ForeignKey("checked.id"), nullable=False),
    Column("client_id", Text, unique=True),  # a repeated send of the same tap adds nothing
    Column("count", Integer, nullable=False),
    Column("taken_at", Text, nullable=False),
    Column("undone_at", Text),
)
Index("haul_item_by_haul", haul_item.c.haul_id)

access = Table(  # network access keys: only a hash is kept; a revoked one opens nothing
    "access",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("hash", Text, nullable=False, unique=True),
    Column("made_at", Text, nullable=False),
    Column("last_used_at", Text),
    Column("revoked_at", Text),
)

caution = Table(  # one row a caution the user dismissed; bringing it back removes the row
    "caution",
    metadata,
    Column("name", Text, primary_key=True),
    Column("dismissed_at", Text, nullable=False),
)
