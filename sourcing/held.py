"""What the open haul holds of an item already, by whichever check it was taken, and how many more are worth taking."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sourcing.depth import MOST_COPIES
from sourcing.haul import same_item
from sourcing.language import gettext, ngettext
from sourcing.storage import Store


@dataclass(frozen=True)
class Held:
    """The pieces of one item in the open haul."""

    pieces: int
    line: int | None  # the newest line of the very check that asks; None: all were taken by other checks
    count: int  # pieces of that line
    words: str  # "" where there are none


NONE = Held(0, None, 0, "")


def held(store: Store, check_id: int, answer: Mapping[str, Any]) -> Held:
    """Return what the open haul holds of the item of a kept check, whose verdict is ``answer`` (`Verdict.as_dict`)."""
    rows = store.read(
        "SELECT i.id, i.check_id, i.count, json_extract(c.answer, '$.item') FROM haul_item i "
        "JOIN haul h ON h.id = i.haul_id JOIN checked c ON c.id = i.check_id "
        "WHERE i.undone_at IS NULL AND h.closed_at IS NULL ORDER BY i.id DESC"
    )
    item = same_item(answer)
    mine = [
        (line, by, count)
        for line, by, count, text in rows
        if by == check_id or same_item({"item": json.loads(text)}) == item
    ]
    if not mine:
        return NONE
    pieces = sum(count for _line, _by, count in mine)
    line, count = next(((line, count) for line, by, count in mine if by == check_id), (None, 0))
    return Held(pieces, line, count, _words(answer, pieces))


def _words(answer: Mapping[str, Any], pieces: int) -> str:
    """Say how many there are, and of how many that are worth taking; verdicts of long ago do not say the latter."""
    told, worth = gettext("In the haul: {number}.", number=pieces), answer.get("worth_taking")
    if worth is None or answer["decision"] != "buy":
        return told
    if pieces < worth:
        more = worth - pieces
        return f"{told} " + ngettext("{count} more is worth taking.", "{count} more are worth taking.", more)
    if worth == MOST_COPIES:
        return f"{told} " + gettext("Whether more are worth taking was not looked at.")
    return f"{told} " + gettext("No more are worth taking: {number} are.", number=worth)
