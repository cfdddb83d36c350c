"""One's own listings as comps: marked as own, there once, brought in line with stock and taken out again by an undo.

Pieces are kept in blocks by their number, each block one load of the comps table whose rows say all there is to say of
its pieces now. When a piece changes its block is loaded anew in place of the old load, so that nothing is ever doubled.
A load the user undoes stays out until they put it back.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from sourcing.comps.columns import NAMES
from sourcing.outcomes.mark import OWN
from sourcing.stock.item import LISTED, SOLD, asked_of, money, to_date
from sourcing.storage import Store

BLOCK = 500  # pieces of one load
NAME = "your own listings, part "
_STALE = 7  # days after which open listings are said to be unsold still
_ROWS = """SELECT l.id, l.asked, l.ended_on, l.how, l.channel, i.id, i.gtin, i.style_code, i.brand, i.category, i.title,
 i.what, i.size, i.condition, i.state,
 (SELECT paid FROM stock_sale s WHERE s.item_id = i.id AND s.sold_on = l.ended_on AND s.returned_on IS NULL
  ORDER BY s.id DESC LIMIT 1)
 FROM stock_listing l JOIN stock_item i ON i.id = l.item_id WHERE i.id > ? AND i.id <= ? ORDER BY l.id"""
_UNLISTED = """SELECT s.id, s.sold_on, s.paid, s.channel, i.id, i.gtin, i.style_code, i.brand, i.category, i.title,
 i.what, i.size, i.condition FROM stock_sale s JOIN stock_item i ON i.id = s.item_id
 WHERE i.id > ? AND i.id <= ? AND s.returned_on IS NULL AND NOT EXISTS
 (SELECT 1 FROM stock_listing l WHERE l.item_id = i.id AND l.how = 'sold' AND l.ended_on = s.sold_on) ORDER BY s.id"""


@dataclass(frozen=True)
class OwnComps:
    """How many of one's own listings are comps, and how many loads of them the user took out."""

    sold: int
    unsold: int
    taken_out: int


def own_comps(store: Store) -> OwnComps:
    """Say what is there."""
    loads = "SELECT id FROM batch WHERE undone_at IS NULL AND file_name LIKE ? || '%'"
    rows = store.read(
        f"SELECT coalesce(sum(status = 1), 0), coalesce(sum(status <> 1), 0) FROM comp WHERE batch_id IN ({loads})",  # noqa: S608
        (NAME,),
    )
    out = store.read("SELECT count(*) FROM batch WHERE undone_at IS NOT NULL AND file_name LIKE ? || '%'", (NAME,))
    return OwnComps(int(rows[0][0]), int(rows[0][1]), int(out[0][0]))


def bring_in_line(store: Store, today: date | None = None) -> int:
    """Let the comps say of every piece what stock says; return how many loads changed."""
    from sourcing.comps.load import load_file
    from sourcing.comps.undo import undo_batch

    day = today or date.today()
    live: dict[int, tuple[int, str, int | None]] = {}
    left_out: set[int] = set()
    for number, name, digest, as_of, undone in store.read(
        "SELECT id, file_name, sha256, as_of, undone_at FROM batch WHERE file_name LIKE ? || '%' ORDER BY id", (NAME,)
    ):
        block = int(name.removeprefix(NAME))
        if undone is None:
            live[block] = (number, digest, as_of)
        else:
            left_out.add(block)
    top = store.read("SELECT coalesce(max(id), 0) FROM stock_item")[0][0]
    changed = 0
    for block in sorted({*range((top + BLOCK - 1) // BLOCK), *live} - left_out):
        text, going = _text(store, block)
        known = live.get(block)
        if known is None and not text:
            continue
        if known is not None and text and known[1] == hashlib.sha256(text).hexdigest():
            seen = to_date(known[2])
            if not going or (seen is not None and (day - seen).days < _STALE):
                continue
        changed += 1
        if known is not None:
            undo_batch(store, known[0])
            with store.write_rows() as raw:  # it was replaced, not taken out
                raw.execute("UPDATE batch SET file_name = ? WHERE id = ?", (f"replaced: {NAME}{block}", known[0]))
        if text:
            load_file(store, io.BytesIO(text), name=f"{NAME}{block}", keep_good=True, as_of=day)
    return changed


def put_back(store: Store) -> int:
    """Let own listings that the user took out be comps again; return how many loads changed."""
    with store.write_rows() as raw:
        raw.execute(
            "UPDATE batch SET file_name = 'replaced: ' || file_name WHERE undone_at IS NOT NULL "
            "AND file_name LIKE ? || '%'",
            (NAME,),
        )
    return bring_in_line(store)


def _text(store: Store, block: int) -> tuple[bytes, bool]:
    """Return the file of one block, and whether a listing of it is still open; no byte where it holds nothing."""
    text, going, count = io.StringIO(newline=""), False, 0
    writer = csv.DictWriter(text, NAMES)
    writer.writeheader()
    for row in _comps(store, block * BLOCK, (block + 1) * BLOCK):
        going |= row["status"] == "open"
        count += 1
        writer.writerow(dict.fromkeys(NAMES, "") | row)
    return (text.getvalue().encode(), going) if count else (b"", False)


def _comps(store: Store, after: int, until: int) -> Iterator[dict[str, str]]:
    for row in store.read(_ROWS, (after, until)):
        _, asked, ended, how, channel, item, *said, state, paid = row
        prices = asked_of(asked)
        found = _said(item, said, channel) | {
            "asking_price": str(prices[-1].price), "listed_on": prices[0].on.isoformat(),
        }  # fmt: skip
        if ended is None:
            if state == LISTED:
                yield found | {"status": "open"}
        elif how == SOLD:
            if paid is not None:
                yield found | {"status": "sold", "sold_price": str(money(paid)), "ended_on": _day(ended)}
        else:
            yield found | {"status": "ended unsold", "ended_on": _day(ended)}
    for _, on, paid, channel, item, *said in store.read(_UNLISTED, (after, until)):
        yield _said(item, said, channel) | {"status": "sold", "sold_price": str(money(paid)), "ended_on": _day(on)}


def _said(item: int, said: list[str], channel: str) -> dict[str, str]:
    gtin, style, brand, category, title, what, size, condition = said
    return {
        "gtin": gtin, "style_code": style, "brand": brand, "category": category, "title": title or what, "size": size,
        "condition": condition, "channel": channel, "note": f"{OWN}{item}",
    }  # fmt: skip


def _day(number: int) -> str:
    found = to_date(number)
    assert found is not None
    return found.isoformat()
