"""The table of the track record: corrections of the forecasts that the user accepted."""

from __future__ import annotations

from sqlalchemy import Column, Float, Integer, Table, Text

from sourcing.storage.schema import metadata

correction = Table(  # one that was undone says when, and can be put in force again
    "correction",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),  # "price" or "speed"
    Column("category", Text, nullable=False),  # folded; "" is all
    Column("value", Float, nullable=False),  # shift in log price, or log of a factor of the hazard
    Column("said", Text, nullable=False),  # JSON: the offer as it was accepted
    Column("client_id", Text, unique=True),  # a repeated send of the same tap acts once
    Column("undone_at", Text),
    sqlite_autoincrement=True,
)
