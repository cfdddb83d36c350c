"""From the haul to stock: every piece taken becomes one item, with its cost and the forecast as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sourcing.alike import Thing, alike, thing
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.haul import MOST_NAME
from sourcing.language import gettext, ngettext
from sourcing.stock.item import TO_PREP, day_number, minor
from sourcing.stock.ledger import Entry, act, undone
from sourcing.storage import Store

_LINES = """SELECT i.id, i.check_id, i.count, i.taken_at, c.label, c.code, c.query, c.answer
    FROM haul_item i JOIN checked c ON c.id = i.check_id
    WHERE i.haul_id = ? AND i.undone_at IS NULL
      AND NOT EXISTS (SELECT 1 FROM stock_item s WHERE s.haul_item_id = i.id) ORDER BY i.id"""
_WAITING = """SELECT h.id, h.store, h.started_at, i.id, i.count FROM haul h
    JOIN haul_item i ON i.haul_id = h.id AND i.undone_at IS NULL
    WHERE NOT EXISTS (SELECT 1 FROM stock_item s WHERE s.haul_item_id = i.id) ORDER BY h.id DESC"""
_JOINED = """SELECT DISTINCT a.id FROM stock_action a JOIN stock_change c ON c.action_id = a.id
    WHERE a.kind = 'joined' AND c.kept = 'item' AND c.after IS NULL AND json_extract(c.before, '$.haul_item_id') = ?"""
_KEPT = (  # of a verdict, as it was when the piece was taken
    "decision", "most_worth_paying", "asking_price", "sale_price", "sale_price_wide", "days_50", "days_80",
    "sold_within", "expected_proceeds", "proceeds", "profit_before_labour", "profit_after_labour", "profit",
    "chance_of_loss", "comps_sold", "comps_unsold", "match", "fit_made_at",
)  # fmt: skip


def bring(store: Store, haul_id: int, client_id: str = "", place: str = "") -> int:
    """Take every piece of a haul into stock and close the haul; return the action's number.

    A line whose landed cost is not known, for no shelf price was given, is refused with its name. ``place`` is the
    store's name, for a haul that was started without one.

    Raises
    ------
    BadInput, NotFound, Refused
        The store's name is too long; there is no such haul; everything in it is in stock already; a piece has no shelf
        price.
    """
    place = " ".join(place.split())
    if len(place) > MOST_NAME:
        raise BadInput(
            gettext("The store's name has {count} characters.", count=len(place)),
            gettext("Up to {most}.", most=MOST_NAME), gettext("Shorten it."), field="store",
        )  # fmt: skip

    def do(entry: Entry) -> str:
        found = entry.rows("SELECT store FROM haul WHERE id = ?", (haul_id,))
        if not found:
            raise NotFound(
                gettext("There is no haul number {haul_id}.", haul_id=haul_id),
                next_step=gettext("Open it from the Haul page."),
            )
        lines = [line for line in entry.rows(_LINES, (haul_id,)) if not _in_a_lot(entry.rows, line[0])]
        if not lines:
            raise Refused(gettext("Nothing of this haul is left to bring in."), next_step=gettext("Look under Stock."))
        where, pieces = found[0][0] or place, 0
        taken: list[tuple[Thing, int]] = []
        for line in lines:  # in the order of taking
            answer = json.loads(line[7])
            mine = thing(answer["item"])
            start = sum(number for other, number in taken if alike(mine, other))
            for copy in range(start, start + line[2]):
                entry.create("item", _values(where, line, answer, copy))
                pieces += 1
            taken.append((mine, line[2]))
        # Not part of what an undo takes back: a haul that is closed and has a name is brought in again as well.
        entry.raw.execute(
            "UPDATE haul SET closed_at = coalesce(closed_at, ?), store = ? WHERE id = ?",
            (datetime.now(UTC).isoformat(timespec="seconds"), where, haul_id),
        )
        return ngettext(
            "{count} piece brought in from {where}",
            "{count} pieces brought in from {where}",
            pieces,
            where=where or gettext("a haul"),
        )

    return act(store, "brought in", do, client_id)


def _values(place: str, line: tuple[Any, ...], answer: dict[str, Any], copy: int) -> dict[str, Any]:
    """Return one piece of a line; the second copy of an item brings what was forecast of a second one."""
    number, check_id, _, taken, label, code, query, _ = line
    item = answer["item"]
    if answer["landed_cost"] is None:
        raise Refused(
            gettext("What was paid for {label} is not known: it was checked without a shelf price.", label=label),
            gettext("A check with the price paid."),
            gettext("Check it again with its price, take that into the haul and undo this line."),
        )
    return {
        "haul_item_id": number,
        "check_id": check_id,
        "what": label,
        "code": code,
        **{key: item[key] for key in ("gtin", "style_code", "brand", "category", "title", "size", "condition")},
        "flags": json.dumps(json.loads(query).get("flags") or []),
        "store": place,
        "bought_on": day_number(datetime.fromisoformat(taken).astimezone().date()),
        "shelf": _cents(answer["shelf_price"]),
        "landed": _cents(answer["landed_cost"]),
        "forecast": json.dumps(_forecast(answer, copy), separators=(",", ":")),
        "state": TO_PREP,
        "bin": "",
        "note": "",
    }


def _forecast(answer: dict[str, Any], copy: int) -> dict[str, Any]:
    kept = {key: answer[key] for key in _KEPT if key in answer}
    depth = answer.get("depth") or []
    if copy and kept.get("expected_proceeds") is not None and depth:
        kept["expected_proceeds"] = depth[min(copy, len(depth) - 1)]["expected_proceeds"]
        kept["copy"] = copy + 1
    return kept


def _cents(text: str) -> int:
    found = minor(Decimal(text))
    assert found is not None
    return found


@dataclass(frozen=True)
class Waiting:
    """A haul of which something is not in stock yet."""

    haul_id: int
    store: str
    started_at: str
    pieces: int


def waiting(store: Store) -> list[Waiting]:
    """Return the hauls of which something is not in stock yet, newest first."""
    found: dict[int, Waiting] = {}
    for number, place, started, line, count in store.read(_WAITING):
        if not _in_a_lot(store.read, line):
            before = found[number].pieces if number in found else 0
            found[number] = Waiting(number, place, started, before + count)
    return list(found.values())


def _in_a_lot(rows: Callable[..., list[tuple[Any, ...]]], line: int) -> bool:
    """Whether the pieces of a haul's line went into a lot, which bears the number of another line."""
    return any(not undone(rows, action) for (action,) in rows(_JOINED, (line,)))
