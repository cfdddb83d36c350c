"""The tables of prep time: batches that are timed, and every tap of their watches."""

from __future__ import annotations

from sqlalchemy import Column, Float, ForeignKey, Index, Integer, Table, Text

from sourcing.storage.schema import metadata

prep_batch = Table(
    "prep_batch",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("step", Text, nullable=False),  # one of sourcing.labour.STEPS
    Column("said", Text, nullable=False),  # JSON: category, flags, pieces of stock, note, as it was started
    sqlite_autoincrement=True,
)

prep_tap = Table(  # only ever appended to; what was undone says when
    "prep_tap",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("batch_id", Integer, ForeignKey("prep_batch.id"), nullable=False),
    Column("kind", Text, nullable=False),  # "start", "pause", "resume", "still", "finish", "correct", "leave out"
    Column("at", Text, nullable=False),  # ISO 8601 UTC, by the server's clock
    Column("steady", Float),  # seconds of a clock that is never set; NULL where there is none
    Column("boot", Text, nullable=False),  # which running of the machine that clock counts from; "" not known
    Column("client_id", Text, unique=True),  # a repeated send of the same tap acts once
    Column("said", Text, nullable=False),  # JSON: what was done, minutes that were typed in
    Column("undone_at", Text),
    sqlite_autoincrement=True,
)
Index("prep_tap_by_batch", prep_tap.c.batch_id, prep_tap.c.id)
Index("prep_tap_by_undone", prep_tap.c.undone_at)
