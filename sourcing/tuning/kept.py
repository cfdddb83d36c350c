"""What was worked out of the history, kept in the database until what it stands on changes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any, Literal

from sourcing.storage import Store

Kind = Literal["fit", "occasions"]
Stand = dict[str, Any]


def find(store: Store, kind: Kind, stands_on: Stand) -> tuple[datetime, bytes] | None:
    """Return what is kept of one kind that stands on just this, and when it was made."""
    rows = store.read(
        "SELECT made_at, payload FROM replay WHERE kind = ? AND stands_on = ?", (kind, _key(kind, stands_on))
    )
    return (datetime.fromisoformat(rows[0][0]), bytes(rows[0][1])) if rows else None


def holds(store: Store, kind: Kind, stands_on: Stand) -> bool:
    """Tell whether `find` would find something, without reading it."""
    return bool(store.read("SELECT 1 FROM replay WHERE kind = ? AND stands_on = ?", (kind, _key(kind, stands_on))))


def keep(store: Store, kind: Kind, stands_on: Stand, payload: bytes) -> datetime:
    """Keep one result in place of any other that stands on the same; return when that was."""
    now = datetime.now(UTC)
    with store.write() as connection:
        key = _key(kind, stands_on)
        connection.exec_driver_sql("DELETE FROM replay WHERE kind = ? AND stands_on = ?", (kind, key))
        connection.exec_driver_sql(
            "INSERT INTO replay (made_at, kind, stands_on, payload) VALUES (?, ?, ?, ?)",
            (now.isoformat(timespec="seconds"), kind, key, payload),
        )
    return now


def drop_others(store: Store, kind: Kind, keep_these: list[Stand]) -> None:
    """Let go of everything of one kind that stands on something else."""
    wanted = [_key(kind, one) for one in keep_these]
    marks = ", ".join("?" * len(wanted))
    with store.write() as connection:
        connection.exec_driver_sql(
            f"DELETE FROM replay WHERE kind = ? AND stands_on NOT IN ({marks})",  # noqa: S608 - marks alone
            (kind, *wanted),
        )


def _key(kind: Kind, stands_on: Stand) -> str:
    return json.dumps({"kind": kind, **stands_on}, sort_keys=True)
