# ruff: noqa: S608 - only names of columns are put into the statements
"""What is in stock: pieces found, narrowed down and counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext
from sourcing.stock.item import (
    ITEM_COLUMNS,
    LISTING_COLUMNS,
    SALE_COLUMNS,
    STATES,
    Listing,
    Sale,
    StockItem,
    item_of,
    listing_of,
    money,
    sale_of,
)  # fmt: skip
from sourcing.storage import Store

_ITEMS = ", ".join(f"i.{name}" for name in ITEM_COLUMNS)
_LISTINGS = ", ".join(f"l.{name}" for name in LISTING_COLUMNS)
_SALES = ", ".join(SALE_COLUMNS)
_WORDS = (
    "i.what || ' ' || i.title || ' ' || i.code || ' ' || i.style_code || ' ' || i.brand || ' ' || i.size || ' ' "
    "|| coalesce(i.label, '') || ' ' || i.bin || ' ' || i.store"
)
_JOINED = (
    f"SELECT {_ITEMS}, {_LISTINGS} FROM stock_item i LEFT JOIN stock_listing l "
    "ON l.id = (SELECT MAX(id) FROM stock_listing WHERE item_id = i.id)"
)


@dataclass(frozen=True)
class Held:
    """How many pieces are in one state and what they cost."""

    state: str
    pieces: int
    landed: Decimal


def get(store: Store, item_id: int) -> StockItem:
    """Return one piece.

    Raises
    ------
    NotFound
        There is none of that number.
    """
    rows = store.read(f"{_JOINED} WHERE i.id = ?", (item_id,))
    if not rows:
        raise NotFound(
            gettext("There is no piece number {item_id}.", item_id=item_id),
            next_step=gettext("Open it from the stock page."),
        )
    return _joined(rows[0])


def some(store: Store, items: Sequence[int]) -> list[StockItem]:
    """Return some pieces by their numbers, in the order of these.

    Raises
    ------
    BadInput, NotFound
        No piece was named; there is none of a number.
    """
    if not items:
        raise BadInput(
            gettext("No piece was chosen."), gettext("One piece or more."), gettext("Tick them first."), field="items"
        )
    return [get(store, number) for number in dict.fromkeys(items)]


def find(
    store: Store,
    *,
    state: str = "",
    words: str = "",
    label: str = "",
    code: str = "",
    bought_at: str = "",
    after: int = 0,
    limit: int = 50,
) -> list[StockItem]:
    """Return pieces, newest first; what is left empty does not narrow down.

    Parameters
    ----------
    words : all of them in the name, code, brand, size, label, bin or store.
    label : in capitals. code : a canonical GTIN-14 or style code. bought_at : the store, in whatever case.
    after : number of the last piece of the page before; 0 begins.
    """
    where, values = [], []
    if state:
        where.append("i.state = ?")
        values.append(state)
    if label:
        where.append("i.label = ?")
        values.append(label)
    if code:
        where.append("(i.gtin = ? OR i.style_code = ?)")
        values += [code, code]
    if bought_at:
        where.append("i.store = ? COLLATE NOCASE")
        values.append(bought_at)
    for word in sorted(words.split(), key=len, reverse=True):  # the one that fewest have, most likely, first
        where.append(f"{_WORDS} LIKE ? ESCAPE '\\'")
        values.append(f"%{word.replace(chr(92), chr(92) * 2).replace('%', chr(92) + '%').replace('_', chr(92) + '_')}%")
    if after:
        where.append("i.id < ?")
        values.append(str(after))
    said = f" WHERE {' AND '.join(where)}" if where else ""
    return [_joined(row) for row in store.read(f"{_JOINED}{said} ORDER BY i.id DESC LIMIT ?", (*values, limit))]


def held(store: Store) -> tuple[Held, ...]:
    """Return how many pieces are in each state, in the order of `STATES`, and their cost."""
    rows = {
        state: (count, landed)
        for state, count, landed in store.read("SELECT state, COUNT(*), SUM(landed) FROM stock_item GROUP BY state")
    }
    return tuple(Held(state, rows[state][0], money(rows[state][1]) or Decimal(0)) for state in STATES if state in rows)


def stores(store: Store) -> list[str]:
    """Return the names of the stores that hauls were taken at, each once, the last one first."""
    rows = store.read("SELECT store FROM haul WHERE store <> '' GROUP BY store COLLATE NOCASE ORDER BY MAX(id) DESC")
    return [row[0] for row in rows]


def sales_of(store: Store, items: Sequence[int]) -> dict[int, tuple[Sale, ...]]:
    """Return the sales of some pieces, oldest first; those without one are left out."""
    found: dict[int, list[Sale]] = {}
    marks = ", ".join("?" * len(items))
    for row in store.read(f"SELECT {_SALES} FROM stock_sale WHERE item_id IN ({marks}) ORDER BY id", tuple(items)):
        sale = sale_of(row)
        found.setdefault(sale.item_id, []).append(sale)
    return {number: tuple(sales) for number, sales in found.items()}


def listings_of(store: Store, item_id: int) -> tuple[Listing, ...]:
    """Return all listings of a piece, oldest first."""
    columns = ", ".join(LISTING_COLUMNS)
    rows = store.read(f"SELECT {columns} FROM stock_listing WHERE item_id = ? ORDER BY id", (item_id,))
    return tuple(listing_of(row) for row in rows)


def _joined(row: tuple[Any, ...]) -> StockItem:
    split = len(ITEM_COLUMNS)
    return item_of(row[:split], None if row[split] is None else listing_of(row[split:]))
