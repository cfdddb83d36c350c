"""One's own listings among the comps: open ones as unsold so far, ended ones as they ended, each once, marked as own.

They are one load, “your own listings”, made anew whenever the comps are learnt from and something has changed or a day
has passed: the new load comes first and the one before it is taken out, so that a listing is told as it stands and not
twice. A file that tells of the same listing is matched to it as any two files are (`sourcing.comps.listings`); for that
the rows carry no number of ours. Undoing the load on the Comps page takes them out for good, until they are asked for.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date

from sourcing.comps.columns import NAMES
from sourcing.outcomes.mark import OWN
from sourcing.settings import load_settings
from sourcing.stock.item import day_number, money, to_date
from sourcing.storage import Store

NAME = "your own listings"
_ROWS = """SELECT i.id, i.gtin, i.style_code, i.brand, i.category, i.title, i.what, i.size, i.condition, i.flags,
    l.channel, json_extract(l.asked, '$[0][0]'), json_extract(l.asked, '$[#-1][1]'), l.ended_on, l.how
    FROM stock_listing l JOIN stock_item i ON i.id = l.item_id ORDER BY l.id"""
_SOLD = "SELECT item_id, sold_on, paid FROM stock_sale ORDER BY id"


@dataclass(frozen=True)
class Fed:
    """What is told of one's own listings now."""

    batch_id: int
    open: int
    ended: int
    sold: int


def feed(store: Store, today: date | None = None, *, asked: bool = False) -> Fed | None:
    """Bring one's own listings among the comps up to date; None where nothing changed or none is to be told.

    Parameters
    ----------
    asked : the user asks for it, so that a load that was undone comes back.
    """
    from sourcing.comps.load import load_file
    from sourcing.comps.undo import undo_batch

    on = today or date.today()
    before = store.read("SELECT id, undone_at, as_of FROM batch WHERE file_name = ? ORDER BY id DESC", (NAME,))
    if before and before[0][1] is not None and not asked:
        return None  # the user took them out
    text, counts = _table(store, on)
    live = [number for number, undone, _ in before if undone is None]
    if not sum(counts):
        for number in live:
            undo_batch(store, number)
            _forget(store, number)
        return None
    report = load_file(store, io.BytesIO(text.encode()), name=NAME, as_of=on, keep_good=True)
    if report.batch_id is None:
        return None
    for number in live:
        undo_batch(store, number)
        _forget(store, number)
    return Fed(report.batch_id, *counts)


def last_fed(store: Store) -> date | None:
    """Return the day of which one's own listings are told among the comps; None: they are not."""
    rows = store.read("SELECT as_of FROM batch WHERE file_name = ? AND undone_at IS NULL ORDER BY id DESC", (NAME,))
    return to_date(rows[0][0]) if rows else None


def _forget(store: Store, number: int) -> None:
    """Take a load that a newer one replaced off the list: it is none of the user's."""
    with store.write_rows() as raw:
        for table in ("problem", "reject", "also_in"):
            raw.execute(f"DELETE FROM {table} WHERE batch_id = ?", (number,))  # noqa: S608
        raw.execute("DELETE FROM batch WHERE id = ?", (number,))


def _table(store: Store, today: date) -> tuple[str, tuple[int, int, int]]:
    """Write every listing as a row of the comps format; with how many are open, ended unsold and sold."""
    sales: dict[tuple[int, int], int] = {(item, day): paid for item, day, paid in store.read(_SOLD)}
    told = _told_as_sold(store)
    flags = load_settings(store).flags
    text, counts = io.StringIO(newline=""), [0, 0, 0]
    writer = csv.DictWriter(text, NAMES)
    writer.writeheader()
    for row in store.read(_ROWS):
        item, gtin, style, brand, category, title, what, size, condition, marked, channel, began, asking, end, how = row
        sold = how == "sold"
        paid = sales.get((item, end)) if sold and end is not None else None
        if (sold and (paid is None or not paid or item in told)) or began > day_number(today) or not asking:
            continue
        words = [flag.words[0] for name, flag in flags.items() if f'"{name}"' in marked and flag.words]
        listed, ended, price = to_date(began), to_date(end), money(asking)
        writer.writerow(dict.fromkeys(NAMES, "") | {
            "gtin": gtin, "style_code": style, "brand": brand, "category": category, "title": title or what,
            "size": size, "condition": condition, "channel": channel,
            "status": "sold" if sold else "open" if end is None else "ended unsold",
            "asking_price": str(price), "sold_price": str(money(paid)) if paid else "",
            "listed_on": listed.isoformat() if listed else "", "ended_on": ended.isoformat() if ended else "",
            "note": "; ".join([f"{OWN}{item}", *words]),
        })  # fmt: skip
        counts[2 if sold else 0 if end is None else 1] += 1
    return text.getvalue(), (counts[0], counts[1], counts[2])


def _told_as_sold(store: Store) -> set[int]:
    """Return the pieces whose sale is among the comps by another load."""
    rows = store.read(
        "SELECT c.note FROM comp c JOIN batch b ON b.id = c.batch_id WHERE b.file_name <> ? AND c.status = 1 "
        "AND c.note LIKE ?",
        (NAME, f"{OWN}%"),
    )
    numbers = (note.removeprefix(OWN).split(";")[0].strip() for (note,) in rows)
    return {int(number) for number in numbers if number.isdigit()}
