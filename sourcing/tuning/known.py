"""The comps as they were known on a day of the past: what had ended by then, and what was still open.

An export shows how a listing ended, and the asking price it had last. Rolled back to a day, a listing that ended later
is open and last seen that day, its sale unknown; one listed later is not there at all. What has no day cannot be placed
and is left out. The asking price on record stays: it is the last one asked, so that a cut made later is seen too early,
while no sale, no price paid and no end is.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from sourcing.comps.lookup import COLUMNS_READ

Row = tuple[Any, ...]
_OPEN = 0


class Places(NamedTuple):
    """Where a row holds what changes with the day."""

    status: int
    sold: int
    listed: int
    ended: int
    seen: int


EVIDENCE = Places(*(COLUMNS_READ.index(name) for name in Places._fields))
"""In rows of `lookup.COLUMNS_READ`."""
TABLE = Places(4, 6, 8, 9, 10)
"""In rows of `training.lay_out`."""


def known_on(rows: Iterable[Row], day: int, places: Places) -> list[Row]:
    """Return the rows as they were known at the end of a day (days since 1970-01-01)."""
    return [then for row in rows if (then := _then(row, day, places)) is not None]


def _then(row: Row, day: int, at: Places) -> Row | None:
    listed, ended, seen = row[at.listed], row[at.ended], row[at.seen]
    if listed is not None and listed > day:
        return None
    if row[at.status] != _OPEN:
        if ended is None:
            return None
        if ended <= day:
            return row if seen is None or seen <= day else _with(row, {at.seen: None})
        return None if listed is None else _with(row, _open_on(day, at))
    if listed is None and (seen is None or seen > day):
        return None
    late = {place: None if place == at.ended else day for place in (at.ended, at.seen) if (row[place] or 0) > day}
    return _with(row, late) if late else row


def _open_on(day: int, at: Places) -> dict[int, int | None]:
    return {at.status: _OPEN, at.sold: None, at.ended: None, at.seen: day}


def _with(row: Row, changed: dict[int, int | None]) -> Row:
    return tuple(changed.get(place, cell) for place, cell in enumerate(row))


def begun_between(rows: Iterable[Row], after: int, until: int) -> list[Row]:
    """Return evidence rows listed after one day and up to another; what has no listing day, by the day it sold."""
    at = EVIDENCE
    found = []
    for row in rows:
        day = row[at.listed] if row[at.listed] is not None else row[at.ended]
        if day is not None and after < day <= until:
            found.append(row)
    return found
