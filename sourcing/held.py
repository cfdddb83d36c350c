"""What there is of an item already, by whichever check it was taken, and how many more of it are worth taking."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sourcing.alike import Thing, alike, thing
from sourcing.depth import MOST_COPIES
from sourcing.language import gettext, ngettext
from sourcing.stock.item import HELD, LISTED, StockItem
from sourcing.storage import Store


@dataclass(frozen=True)
class Held:
    """The pieces of one item in the open haul, and those in stock that are not sold."""

    pieces: int
    stock: int
    line: int | None  # the newest line of the very check that asks; None: all were taken by other checks
    count: int  # pieces of that line
    words: str  # "" where there are none
    enough: bool = False  # there are as many as the verdict takes to be worth taking
    no_more: bool = False  # and no further one is


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
    worth = answer.get("worth_taking") if answer["decision"] == "buy" else None
    enough = worth is not None and worth <= pieces + stock
    return Held(
        pieces, stock, line, count, _words(worth, pieces, stock), enough, no_more=enough and worth != MOST_COPIES
    )


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


def listed_too(store: Store, items: Sequence[StockItem]) -> dict[int, int]:
    """Return of each of some listed pieces how many others of the same item are listed, by number; 0 is left out."""
    codes = [(name, {getattr(item, name) for item in items} - {""}) for name in ("style_code", "gtin")]
    asked = [(f"{name} IN ({', '.join('?' * len(some))})", some) for name, some in codes if some]
    if not asked:
        return {}
    rows = store.read(
        "SELECT id, style_code, gtin, size, condition FROM stock_item WHERE +state = ? AND "  # noqa: S608
        f"({' OR '.join(words for words, _some in asked)})",
        (LISTED, *(code for _words, some in asked for code in some)),
    )
    there = [(number, _of_stock(*told)) for number, *told in rows]
    found = {}
    for item in items:
        mine = _of_stock(item.style_code, item.gtin, item.size, item.condition)
        found[item.id] = sum(alike(mine, other) for number, other in there if number != item.id)
    return {number: count for number, count in found.items() if count}


def _of_stock(style_code: str, gtin: str, size: str, condition: str) -> Thing:
    """Return what a piece of stock is, whose product is known by the code it bears."""
    return thing({"root": None, "label": style_code or gtin, "gtin": gtin, "size": size, "condition": condition})


def _words(worth: int | None, pieces: int, stock: int) -> str:
    """Say how many there are, and of how many that are worth taking; verdicts of long ago do not say the latter."""
    told = [gettext("In the haul: {number}.", number=pieces)] if pieces else []
    told += [gettext("In stock, unsold: {number}.", number=stock)] if stock else []
    there = pieces + stock
    if worth is None:
        return " ".join(told)
    if there < worth:
        more = worth - there
        told.append(ngettext("{count} more is worth taking.", "{count} more are worth taking.", more))
    elif worth == MOST_COPIES:
        told.append(gettext("Whether more are worth taking was not looked at."))
    else:
        told.append(gettext("No more are worth taking: {number} are.", number=worth))
    return " ".join(told)
