"""Pieces inside an action: found, and held to what can be done with them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from sourcing.errors import BadInput, NotFound, Refused
from sourcing.language import gettext, gettext_noop, ngettext
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
        raise BadInput(
            gettext("No piece was chosen."), gettext("One piece or more."), gettext("Tick them first."), field="items"
        )
    return [one(entry, number) for number in dict.fromkeys(items)]


def one(entry: Entry, number: int) -> StockItem:
    rows = entry.rows(_ITEM, (number,))
    if not rows:
        raise NotFound(
            gettext("There is no piece number {number}.", number=number), next_step=gettext("Reload the stock page.")
        )
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
    before = gettext_noop("last priced") if len(listing.asked) > 1 else gettext_noop("listed")
    not_before(on, listing.asked[-1].on, item, how, before)
    entry.change("listing", listing.id, {"ended_on": day_number(on), "how": how})


def last_sale(entry: Entry, item_id: int) -> Sale:
    rows = entry.rows(_SALE, (item_id,))
    if not rows:
        raise NotFound(
            gettext("Piece number {item_id} has no sale.", item_id=item_id), next_step=gettext("Record the sale first.")
        )
    return sale_of(rows[0])


def never_listed(entry: Entry, item: StockItem) -> None:
    if item.listing is not None or entry.rows(_SALE, (item.id,)):
        raise Refused(
            gettext("{what} was listed or sold before as it is.", what=item.what), next_step=gettext("Leave it whole.")
        )


def only(item: StockItem, states: Sequence[str], wrong: str) -> None:
    """Refuse what a piece in another state cannot do; ``wrong`` is said then, of ``{what}`` and its ``{state}``."""
    if item.state not in states:
        raise Refused(
            gettext(wrong, what=item.what, state=gettext(item.state)),
            gettext("A piece that is {states}.", states=gettext(" or ").join(map(gettext, states))),
            gettext("Undo the action that made it so, if that was a mistake."),
        )


def not_before(on: date, other: date, item: StockItem, done: str, before: str) -> None:
    if on < other:
        raise BadInput(
            gettext(
                "{what} cannot be {done} on {day}: it was {before} on {other}.",
                what=item.what,
                done=gettext(done),
                day=on,
                before=gettext(before),
                other=other,
            ),
            gettext("{day} or later.", day=other),
            gettext("Correct the day."),
            field="on",
        )


def positive(amount: Decimal) -> None:
    """Refuse an asking price of nothing or less, and one that is no amount."""
    if not amount > 0:
        raise BadInput(
            gettext("The asking price is {amount}.", amount=amount),
            gettext("An amount above 0."),
            field="asking_price",
        )
    amounts(asking_price=amount)


def amounts(**amounts: Decimal | None) -> None:
    for name, amount in amounts.items():
        if amount is not None and not 0 <= amount < Decimal(10_000_000):
            raise BadInput(
                gettext("{amount} cannot be an amount.", amount=amount),
                gettext("0 or more, below ten million."),
                field=name,
            )
        if amount is not None and amount != amount.quantize(Decimal("0.01")):
            raise BadInput(
                gettext("{amount} has more than two decimals.", amount=amount), gettext("Whole cents."), field=name
            )


def count(items: Sequence[int]) -> str:
    number = len(set(items))
    return ngettext("{count} piece", "{count} pieces", number)
