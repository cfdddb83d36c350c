"""What pieces that were split or joined are made of: which purchase, on which day, each cent of their cost came from.

The ledger keeps the pieces that a split or a joining took out. A cost is a stretch of cents: the pieces that went in
lie in it end to end, in the order of their numbers, and so do the parts that came out, so that what a part has of a
purchase is where the two overlap, and nothing is lost to rounding.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

Rows = Callable[..., list[tuple[Any, ...]]]


class Share(NamedTuple):
    """Some cents of a piece's cost, and the purchase they came from."""

    cents: int
    bought_on: int  # days since 1970-01-01
    haul_item_id: int | None
    store: str


class _Made(NamedTuple):
    """One split or joining: the pieces it took out and those it put in, each as (number, row)."""

    gone: tuple[tuple[int, Mapping[str, Any]], ...]
    come: tuple[tuple[int, int], ...]  # number, landed


def origins(rows: Rows) -> dict[int, tuple[Share, ...]]:
    """Return, by number, the shares of every piece in stock that came out of a split or a joining."""
    changes: dict[int, tuple[list[Any], list[Any]]] = {}
    for action, number, before, after in rows(
        "SELECT c.action_id, c.number, c.before, c.after FROM stock_change c JOIN stock_action a ON a.id = c.action_id "
        "WHERE a.kind IN ('split', 'joined') AND c.kept = 'item' AND (c.before IS NULL OR c.after IS NULL) "
        "ORDER BY c.action_id, c.place"
    ):
        gone, come = changes.setdefault(action, ([], []))
        if after is None:
            gone.append((number, json.loads(before)))
        else:
            come.append((number, json.loads(after)["landed"]))
    made_by = {
        number: _Made(tuple(sorted(gone, key=lambda one: one[0])), tuple(sorted(come)))
        for gone, come in changes.values()
        for number, _ in come
    }
    found: dict[int, tuple[Share, ...]] = {}
    for number in sorted(made_by):  # a piece is made of pieces with smaller numbers
        found[number] = _shares(number, made_by[number], found)
    here = {row[0] for row in rows("SELECT id FROM stock_item WHERE part_of IS NOT NULL")}
    return {number: shares for number, shares in found.items() if number in here}


def _shares(number: int, made: _Made, known: Mapping[int, tuple[Share, ...]]) -> tuple[Share, ...]:
    stretch: list[Share] = []
    for gone, row in made.gone:
        whole = Share(row["landed"], row["bought_on"], row["haul_item_id"], row["store"])
        stretch += known.get(gone, (whole,))
    start = sum(landed for other, landed in made.come if other < number)
    end = start + dict(made.come)[number]
    found, at = [], 0
    for share in stretch:
        overlap = min(end, at + share.cents) - max(start, at)
        if overlap > 0:
            found.append(share._replace(cents=overlap))
        at += share.cents
    return tuple(found) or (stretch[0]._replace(cents=0),)
