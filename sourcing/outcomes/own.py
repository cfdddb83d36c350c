"""One's own sales as comps: marked as own, there once, brought in line with stock and taken out again by an undo.

Pieces are kept in blocks by their number, each block one load of the comps table whose rows say all there is to say of
its sales now. When a sale changes its block is loaded anew in place of the old load, so that nothing is ever doubled.
A load the user undoes stays out until they put it back. A sale that came back stays: it is what the market paid.

Listings that did not sell are told by `sourcing.today.fed`, in one load; a sale that both tell is the same row to the
letter, which the table holds once.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sourcing.comps.columns import NAMES
from sourcing.outcomes.mark import OWN
from sourcing.settings import load_settings
from sourcing.stock.item import asked_of, money, to_date
from sourcing.storage import Store

BLOCK = 500  # pieces of one load
NAME = "your own sales, part "
_ROWS = """SELECT s.sold_on, s.paid, s.channel, i.id, i.gtin, i.style_code, i.brand, i.category, i.title, i.what,
 i.size, i.condition, i.flags,
 (SELECT asked FROM stock_listing l WHERE l.item_id = i.id AND l.how = 'sold' AND l.ended_on = s.sold_on
  ORDER BY l.id DESC LIMIT 1)
 FROM stock_sale s JOIN stock_item i ON i.id = s.item_id WHERE i.id > ? AND i.id <= ? AND s.paid > 0 ORDER BY s.id"""


@dataclass(frozen=True)
class OwnComps:
    """How many of one's own sales were brought among the comps, and how many loads of them the user took out."""

    sold: int
    taken_out: int


def own_comps(store: Store) -> OwnComps:
    """Say what is there."""
    rows = store.read(
        "SELECT coalesce(sum(CASE WHEN undone_at IS NULL THEN new + known END), 0), count(undone_at) FROM batch "
        "WHERE file_name LIKE ? || '%'",
        (NAME,),
    )
    return OwnComps(int(rows[0][0]), int(rows[0][1]))


def bring_in_line(store: Store, today: date | None = None, items: Sequence[int] | None = None) -> int:
    """Let the comps say of every sale what stock says; return how many loads changed.

    ``items`` are the pieces that changed, where that is known: then only their blocks are looked at.
    """
    from sourcing.comps.load import load_file
    from sourcing.comps.undo import undo_batch

    live: dict[int, tuple[int, str]] = {}
    left_out: set[int] = set()
    for number, name, digest, undone in store.read(
        "SELECT id, file_name, sha256, undone_at FROM batch WHERE file_name LIKE ? || '%' ORDER BY id", (NAME,)
    ):
        block = int(name.removeprefix(NAME))
        if undone is None:
            live[block] = (number, digest)
        else:
            left_out.add(block)
    top = store.read("SELECT coalesce(max(id), 0) FROM stock_item")[0][0]
    changed = 0
    wanted = {*range(top // BLOCK + 1), *live} if items is None else {(item - 1) // BLOCK for item in items}
    for block in sorted(wanted - left_out):
        text, known = _text(store, block), live.get(block)
        if (known is None and not text) or (known is not None and known[1] == hashlib.sha256(text).hexdigest()):
            continue
        changed += 1
        if known is not None:
            undo_batch(store, known[0])
            with store.write_rows() as raw:  # it was replaced, not taken out
                raw.execute("UPDATE batch SET file_name = ? WHERE id = ?", (f"replaced: {NAME}{block}", known[0]))
        if text:
            load_file(store, io.BytesIO(text), name=f"{NAME}{block}", keep_good=True, as_of=today or date.today())
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


def _text(store: Store, block: int) -> bytes:
    """Return the file of one block; no byte where it holds nothing."""
    rows = list(_comps(store, block * BLOCK, (block + 1) * BLOCK))
    if not rows:
        return b""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, NAMES)
    writer.writeheader()
    writer.writerows(dict.fromkeys(NAMES, "") | row for row in rows)
    return text.getvalue().encode()


def _comps(store: Store, after: int, until: int) -> Iterator[dict[str, str]]:
    words: Mapping[str, str] = {name: flag.words[0] for name, flag in load_settings(store).flags.items() if flag.words}
    for on, paid, channel, item, *said, flags, asked in store.read(_ROWS, (after, until)):
        gtin, style, brand, category, title, what, size, condition = said
        prices = asked_of(asked) if asked else ()
        ended = to_date(on)
        assert ended is not None
        marked = json.loads(flags)
        yield {
            "gtin": gtin, "style_code": style, "brand": brand, "category": category, "title": title or what,
            "size": size, "condition": condition, "channel": channel, "status": "sold",
            "asking_price": str(prices[-1].price) if prices else "", "sold_price": str(money(paid)),
            "listed_on": prices[0].on.isoformat() if prices else "", "ended_on": ended.isoformat(),
            "note": "; ".join([f"{OWN}{item}", *(word for name, word in words.items() if name in marked)]),
        }  # fmt: skip
