"""What there is of an item already, by whichever check it was taken, and how many more of it are worth taking."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sourcing.alike import Thing, alike, thing
from sourcing.depth import MOST_COPIES
from sourcing.language import gettext, ngettext
from sourcing.stock.item import HELD
from sourcing.storage import Store


@dataclass(frozen=True)
class Held:
    """The pieces of one item in the open haul, and those in stock that are not sold."""

    pieces: int
    stock: int
    line: int | None  # the newest line of the very check that asks; None: all were taken by other checks
    count: int  # pieces of that line
    words: str  # "" where there are none


NONE = Held(0, 0, None, 0, "")


def held(store: Store, check_id: int, answer: Mapping[str, Any]) -> Held:
    """Return what there is of the item of a kept check, whose verdict is ``answer`` (`Verdict.as_dict`)."""
    rows = store.read(
        "SELECT i.id, i.check_id, i.count, json_extract(c.answer, '$.item') FROM haul_item i "
        "JOIN haul h ON h.id = i.haul_id JOIN checked c ON c.id = i.check_id "
        "WHERE i.undone_at IS NULL AND h.closed_at IS NULL ORDER BY i.id DESC"
    )
    item = thing(answer["item"])
    mine = [
        (line, by, count) for line, by, count, text in rows if by == check_id or alike(item, thing(json.loads(text)))
    ]
    pieces, stock = sum(count for _line, _by, count in mine), _in_stock(store, answer["item"], item)
    if not pieces and not stock:
        return NONE
    line, count = next(((line, count) for line, by, count in mine if by == check_id), (None, 0))
    return Held(pieces, stock, line, count, _words(answer, pieces, stock))


def _in_stock(store: Store, item: Mapping[str, Any], mine: Thing) -> int:
    """Count the pieces of an item in stock that are not sold, known by the codes they bear, else by their name.

    The plus keeps SQLite from going by the state, which most pieces share.
    """
    codes = {name: item[name] for name in ("style_code", "gtin") if item[name]} or {"what": item["label"]}
    rows = store.read(
        f"SELECT gtin, size, condition FROM stock_item WHERE +state IN ({', '.join('?' * len(HELD))}) "  # noqa: S608
        f"AND ({' OR '.join(f'{name} = ?' for name in codes)})",
        (*HELD, *codes.values()),
    )
    named = {"root": item["root"], "label": item["label"]}
    there = (thing({**named, "gtin": code, "size": size, "condition": worn}) for code, size, worn in rows)
    return sum(alike(mine, one) for one in there)


def _words(answer: Mapping[str, Any], pieces: int, stock: int) -> str:
    """Say how many there are, and of how many that are worth taking; verdicts of long ago do not say the latter."""
    told = [gettext("In the haul: {number}.", number=pieces)] if pieces else []
    told += [gettext("In stock, unsold: {number}.", number=stock)] if stock else []
    worth, there = answer.get("worth_taking"), pieces + stock
    if worth is None or answer["decision"] != "buy":
        return " ".join(told)
    if there < worth:
        more = worth - there
        told.append(ngettext("{count} more is worth taking.", "{count} more are worth taking.", more))
    elif worth == MOST_COPIES:
        told.append(gettext("Whether more are worth taking was not looked at."))
    else:
        told.append(gettext("No more are worth taking: {number} are.", number=worth))
    return " ".join(told)
