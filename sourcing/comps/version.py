"""What the comps table stands at: equal as long as no load, edit or undo has changed it."""

from __future__ import annotations

from sourcing.storage import Store

Version = tuple[int, int, int, int]

COUNTS = """(SELECT coalesce(max(id), 0) FROM batch), (SELECT count(*) FROM batch WHERE undone_at IS NOT NULL),
 (SELECT coalesce(max(id), 0) FROM edit), (SELECT count(*) FROM edit WHERE undone_at IS NOT NULL)"""
"""As columns of a statement: the loads so far and how many were undone, the edits so far and how many were undone."""


def data_version(store: Store) -> Version:
    """Return the version; what is derived from the table may be kept while it stays the same."""
    loads, loads_undone, edits, edits_undone = store.read(f"SELECT {COUNTS}")[0]
    return loads, loads_undone, edits, edits_undone
