"""The tables of what phones sent: each thing once, with what became of it; and what these data are known by."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, Table, Text

from sourcing.storage.schema import metadata

sent = Table(  # one row a thing a phone sent and that was stored, or undone before it came
    "sent",
    metadata,
    Column("client_id", Text, primary_key=True),  # made by the phone, a random part of its own in it
    Column("kind", Text, nullable=False),  # "check", "take", "comp"; "undo" for what was undone before it came
    Column("state", Text, nullable=False),  # "stored" or "undone"
    Column("target", Integer),  # the check, the haul's line, the load
    Column("said", Text, nullable=False),  # JSON: as the phone sent it, with the verdict it had shown
    Column("at", Text, nullable=False),  # when it happened, by the server's clock
    Column("phone_at", Text, nullable=False),  # the same by the phone's
    Column("received_at", Text, nullable=False),
    sqlite_with_rowid=False,
)
Index("sent_by_target", sent.c.kind, sent.c.target)

about = Table(
    "about",
    metadata,
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),  # of "server": what phones tell these data from others by
)
