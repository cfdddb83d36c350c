"""Pieces inside an action: found, and held to what can be done with them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from sourcing.errors import BadInput, NotFound, Refused
from sourcing.stock.item import (
    ITEM_COLUMNS,
    LISTING_COLUMNS,
    SALE_COLUMNS,
    Listing,
    Sale,
    StockItem,
    day_number,
    item_of,
    listing_of,
    sale_of,
)  # fmt: skip
from sourcing.stock.ledger import Entry

_ITEM = f"SELECT {', '.join(ITEM_COLUMNS)} FROM stock_item WHERE id = ?"  # noqa: S608
_LISTING = f"SELECT {', '.join(LISTING_COLUMNS)} FROM stock_listing WHERE item_id = ? ORDER BY id DESC LIMIT 1"  # noqa: S608
_SALE = f"SELECT {', '.join(SALE_COLUMNS)} FROM stock_sale WHERE item_id = ? ORDER BY id DESC LIMIT 1"  # noqa: S608


def each(entry: Entry, items: Sequence[int]) -> list[StockItem]:
    if not items:
        raise BadInput("No piece was chosen.", "One piece or more.", "Tick them first.", field="items")
    return [one(entry, number) for number in dict.fromkeys(items)]


def one(entry: Entry, number: int) -> StockItem:
    rows = entry.rows(_ITEM, (number,))
    if not rows:
        raise NotFound(f"There is no piece number {number}.", next_step="Reload the stock page.")
    listings = entry.rows(_LISTING, (number,))
    return item_of(rows[0], listing_of(listings[0]) if listings else None)


def standing(item: StockItem) -> Listing:
    assert item.listing is not None, "a listed piece has a listing"
    return item.listing


def end(entry: Entry, item: StockItem, on: date, how: str) -> None:
    """End the listing that stands.

    Raises
    ------
    BadInput
        The day is before its last change of price.
    """
    listing = standing(item)
    not_before(on, listing.asked[-1].on, item, how, "last priced" if len(listing.asked) > 1 else "listed")
    entry.change("listing", listing.id, {"ended_on": day_number(on), "how": how})


def last_sale(entry: Entry, item_id: int) -> Sale:
    rows = entry.rows(_SALE, (item_id,))
    if not rows:
        raise NotFound(f"Piece number {item_id} has no sale.", next_step="Record the sale first.")
    return sale_of(rows[0])


def never_listed(entry: Entry, item: StockItem) -> None:
    if item.listing is not None or entry.rows(_SALE, (item.id,)):
        raise Refused(f"{item.what} was listed or sold before as it is.", next_step="Leave it whole.")


def only(item: StockItem, states: Sequence[str], to: str) -> None:
    if item.state not in states:
        raise Refused(
            f"{item.what} is {item.state} and cannot {to}.",
            f"A piece that is {' or '.join(states)}.",
            "Undo the action that made it so, if that was a mistake.",
        )


def not_before(on: date, other: date, item: StockItem, done: str, before: str) -> None:
    if on < other:
        raise BadInput(
            f"{item.what} cannot be {done} on {on}: it was {before} on {other}.", f"{other} or later.",
            "Correct the day.", field="on",
        )  # fmt: skip


def positive(amount: Decimal, name: str) -> None:
    if not amount > 0:
        raise BadInput(f"The {name} is {amount}.", "An amount above 0.", field=name.replace(" ", "_"))
    amounts(**{name.replace(" ", "_"): amount})


def amounts(**amounts: Decimal | None) -> None:
    for name, amount in amounts.items():
        if amount is not None and not 0 <= amount < Decimal(10_000_000):
            raise BadInput(f"{amount} cannot be an amount.", "0 or more, below ten million.", field=name)
        if amount is not None and amount != amount.quantize(Decimal("0.01")):
            raise BadInput(f"{amount} has more than two decimals.", "Whole cents.", field=name)


def count(items: Sequence[int]) -> str:
    number = len(set(items))
    return "1 piece" if number == 1 else f"{number} pieces"
