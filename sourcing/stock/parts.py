"""Several pieces of one, and one of several; costs add up to the cent."""

from __future__ import annotations

from collections.abc import Sequence

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from sourcing.stock.item import READY, RETURNED, TO_PREP
from sourcing.stock.ledger import Entry, act
from sourcing.stock.pieces import count, each, never_listed, one, only
from sourcing.storage import Store

MOST_PARTS = 50


def split(store: Store, item_id: int, parts: Sequence[str], client_id: str = "") -> int:
    """Make several pieces of one (a pair sold apart, a lot), its cost shared out evenly to the cent.

    Raises
    ------
    BadInput, NotFound, Refused
        Not 2 to 50 names; the piece is listed, sold or given up, or was sold before.
    """
    names = [" ".join(part.split()) for part in parts]
    if not 2 <= len(names) <= MOST_PARTS or not all(names):
        raise BadInput(
            gettext("{number} parts.", number=len(names)),
            gettext("2 to {most} parts, each with a name.", most=MOST_PARTS),
            field="parts",
        )

    def do(entry: Entry) -> str:
        item = one(entry, item_id)
        only(item, (TO_PREP, READY, RETURNED), gettext_noop("{what} is {state} and cannot be split."))
        never_listed(entry, item)
        row = entry.row("item", item_id)
        entry.remove("item", item_id)
        for at, name in enumerate(names):
            own = {"what": name, "label": None, "part_of": item_id, "forecast": "{}"}
            shares = {key: _share(row[key], len(names), at) for key in ("landed", "shelf")}
            entry.create("item", {**row, **own, **shares, "id": None})
        return gettext("{what} split into {number}", what=item.what, number=len(names))

    return act(store, "split", do, client_id)


def join(store: Store, items: Sequence[int], what: str, client_id: str = "") -> int:
    """Make one piece (a lot) of several, at the sum of their costs.

    Raises
    ------
    BadInput, NotFound, Refused
        Fewer than two pieces, no name; one is listed, sold or given up, or was sold before.
    """
    what = " ".join(what.split())
    if len(set(items)) < 2 or not what:
        raise BadInput(
            gettext("A lot is made of several pieces and has a name."),
            gettext("2 pieces or more, and a name."),
            field="what",
        )

    def do(entry: Entry) -> str:
        rows = []
        for item in each(entry, items):
            only(item, (TO_PREP, READY, RETURNED), gettext_noop("{what} is {state} and cannot be joined to a lot."))
            never_listed(entry, item)
            rows.append(entry.row("item", item.id))
            entry.remove("item", item.id)
        shelves = [row["shelf"] for row in rows]
        entry.create("item", {
            **rows[0], "id": None, "what": what, "label": None, "part_of": rows[0]["id"],
            "forecast": "{}", "code": "", "gtin": "", "style_code": "", "title": what,
            "landed": sum(row["landed"] for row in rows), "shelf": None if None in shelves else sum(shelves),
            "bought_on": max(row["bought_on"] for row in rows),
        })  # fmt: skip
        return gettext("{pieces} joined to {what}", pieces=count(items), what=what)

    return act(store, "joined", do, client_id)


def _share(cents: int | None, parts: int, at: int) -> int | None:
    """Share of one part; the first ones take the cents that are left over."""
    return None if cents is None else cents // parts + (at < cents % parts)
