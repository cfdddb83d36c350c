"""How a comp is told to be the user's own."""

from __future__ import annotations

OWN = "own listing of yours, piece #"
"""What the note of such a comp begins with; the number of the piece follows."""


def is_own(note: str) -> bool:
    """Whether a comp with this note is the user's own listing."""
    return note.startswith(OWN)
