"""Undo a load: remove exactly the rows that no other live batch brought too."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sourcing.comps.batch import of_batch
from sourcing.comps.counted import count_again
from sourcing.comps.refresh import refresh
from sourcing.comps.rows import OPEN
from sourcing.errors import Refused
from sourcing.language import gettext
from sourcing.storage import Store

# The latest as-of day among the live batches that hold a row.
_SEEN = """
UPDATE comp SET seen = (
    SELECT max(b.as_of) FROM batch b
    WHERE b.id = comp.batch_id OR EXISTS (
        SELECT 1 FROM also_in a
        WHERE a.batch_id = b.id AND a.product_id = comp.product_id AND a.key = comp.key
    )
) WHERE product_id = ? AND key = ?
"""


def undo_batch(store: Store, batch_id: int) -> int:
    """Undo one load and return the number of comps removed.

    Raises
    ------
    NotFound
        There is no such batch.
    Refused
        It is undone already.
    """
    with store.write_rows() as raw:
        (undone,) = of_batch(store, batch_id, "undone_at")
        if undone is not None:
            raise Refused(
                gettext("Load number {batch_id} is undone already.", batch_id=batch_id),
                next_step=gettext("Load the file again to have it back."),
            )
        shared = raw.execute(
            "SELECT product_id, key FROM comp WHERE batch_id = ? AND status = ? UNION ALL "
            "SELECT a.product_id, a.key FROM also_in a JOIN comp c USING (product_id, key) "
            "WHERE a.batch_id = ? AND c.status = ?",
            (batch_id, OPEN, batch_id, OPEN),
        ).fetchall()
        products = _products(raw, "comp", batch_id)
        others = _products(raw, "also_in", batch_id)
        _hand_over(raw, batch_id)
        removed = raw.execute("DELETE FROM comp WHERE batch_id = ?", (batch_id,)).rowcount
        raw.execute("DELETE FROM also_in WHERE batch_id = ?", (batch_id,))
        raw.executemany(_SEEN, shared)
        raw.execute("UPDATE reject SET mended_by = NULL WHERE mended_by = ?", (batch_id,))
        now = datetime.now(UTC).isoformat(timespec="seconds")
        raw.execute("UPDATE batch SET undone_at = ? WHERE id = ?", (now, batch_id))
        count_again(raw, refresh(raw, products).union(products, others))
    return int(removed)


def _products(raw: Any, table: str, batch_id: int) -> set[int]:
    found = raw.execute(f"SELECT DISTINCT product_id FROM {table} WHERE batch_id = ?", (batch_id,))  # noqa: S608
    return {row[0] for row in found}


def _hand_over(raw: Any, batch_id: int) -> None:
    """Give the batch's rows to the next live batch that brought them too."""
    others = raw.execute("SELECT DISTINCT batch_id FROM also_in WHERE batch_id <> ? ORDER BY 1", (batch_id,)).fetchall()
    for (other,) in others:
        raw.execute(
            'UPDATE comp SET batch_id = a.batch_id, "row" = a."row" FROM also_in a '
            "WHERE comp.batch_id = ? AND a.batch_id = ? AND a.product_id = comp.product_id AND a.key = comp.key",
            (batch_id, other),
        )
        raw.execute(
            "DELETE FROM also_in WHERE batch_id = ? AND EXISTS (SELECT 1 FROM comp c "
            "WHERE c.product_id = also_in.product_id AND c.key = also_in.key AND c.batch_id = ?)",
            (other, other),
        )
