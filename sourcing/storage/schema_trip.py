"""The tables of what a run took beside its purchases, and of photos of pieces and of receipts."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, Table, Text

from sourcing.storage.schema import metadata

trip = Table(  # only ever appended to; the newest row that is not undone is in force
    "trip",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("haul_id", Integer, ForeignKey("haul.id")),  # NULL: said of a store, for all its runs
    Column("store", Text, nullable=False),  # folded; "" where it is said of one run alone
    Column("drive", Integer),  # minutes, both ways; NULL not said
    Column("shop", Integer),  # minutes
    Column("distance", Integer),  # tenths of the unit, both ways
    Column("saved_at", Text, nullable=False),
    Column("undone_at", Text),
    sqlite_autoincrement=True,
)
Index("trip_by_haul", trip.c.haul_id, trip.c.id)
Index("trip_by_store", trip.c.store, trip.c.id)

photo = Table(  # the picture itself is a file of that name beside the data
    "photo",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("of", Text, nullable=False),  # "item" or "run"
    Column("number", Integer, nullable=False),  # of the piece or run
    Column("name", Text, nullable=False),  # SHA-256 of the file, in hexadecimal
    Column("width", Integer, nullable=False),  # pixels
    Column("height", Integer, nullable=False),
    Column("words", Text, nullable=False),  # what it shows, in the user's words; may be empty
    Column("added_at", Text, nullable=False),
    Column("removed_at", Text),
    sqlite_autoincrement=True,
)
Index("photo_by_owner", photo.c.of, photo.c.number, photo.c.id)
