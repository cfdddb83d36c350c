"""Sales of pieces: recorded, corrected once the statement has come, taken back."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from sourcing.stock.item import LISTED, READY, RETURNED, SOLD, TO_PREP, day_number, minor
from sourcing.stock.ledger import Entry, act
from sourcing.stock.pieces import amounts, end, last_sale, not_before, one, only, standing
from sourcing.storage import Store


def sell(
    store: Store,
    item_id: int,
    paid: Decimal,
    on: date,
    *,
    fees: Decimal | None = None,
    postage: Decimal | None = None,
    channel: str = "",
    note: str = "",
    client_id: str = "",
) -> int:
    """Record a sale: what the buyer paid in all; fees and postage as really paid where known.

    Raises
    ------
    BadInput, NotFound, Refused
        An amount is below 0; the day is before the purchase or the listing; the piece is sold already or given up.
    """
    amounts(paid=paid, fees=fees, postage=postage)

    def do(entry: Entry) -> str:
        item = one(entry, item_id)
        only(item, (TO_PREP, READY, LISTED, RETURNED), gettext_noop("{what} is {state} and cannot be sold."))
        not_before(on, item.bought_on, item, gettext_noop("sold"), gettext_noop("bought"))
        where = channel
        if item.state == LISTED:
            end(entry, item, on, gettext_noop("sold"))
            where = channel or standing(item).channel
        entry.create("sale", {
            "item_id": item_id, "sold_on": day_number(on), "paid": minor(paid), "fees": minor(fees),
            "postage": minor(postage), "channel": where, "note": note,
        })  # fmt: skip
        entry.change("item", item_id, {"state": SOLD, "ended_on": day_number(on)})
        return gettext("{what} sold for {amount}", what=item.what, amount=paid)

    return act(store, "sold", do, client_id)


def correct(
    store: Store, item_id: int, *, paid: Decimal | None = None, fees: Decimal | None = None,
    postage: Decimal | None = None, client_id: str = "",
) -> int:  # fmt: skip
    """Put in what a sale really brought or cost, once the statement has come; None leaves a figure as it is."""
    amounts(paid=paid, fees=fees, postage=postage)

    def do(entry: Entry) -> str:
        item, sale = one(entry, item_id), last_sale(entry, item_id)
        told = {"paid": paid, "fees": fees, "postage": postage}
        values = {name: minor(amount) for name, amount in told.items() if amount is not None}
        if paid is not None and sale.refunded is not None and sale.refunded > paid:
            raise BadInput(
                gettext("{refunded} was refunded, more than {paid}.", refunded=sale.refunded, paid=paid),
                gettext("At least that much."),
                field="paid",
            )
        entry.change("sale", sale.id, values)
        return gettext("{what}: sale corrected", what=item.what)

    return act(store, "sale corrected", do, client_id)


def take_back(
    store: Store, item_id: int, refunded: Decimal, on: date, cost: Decimal = Decimal(0), client_id: str = ""
) -> int:
    """Record that a buyer sent a piece back: it is in stock again at its cost, and the loss stands with the sale.

    Parameters
    ----------
    cost : what the way back cost you and fees that were kept.

    Raises
    ------
    BadInput, NotFound, Refused
        More is refunded than was paid; the day is before the sale; the piece is not sold.
    """
    amounts(refunded=refunded, cost=cost)

    def do(entry: Entry) -> str:
        item = one(entry, item_id)
        only(item, (SOLD,), gettext_noop("{what} is {state} and cannot come back."))
        sale = last_sale(entry, item_id)
        if refunded > sale.paid:
            raise BadInput(
                gettext(
                    "A refund of {refunded} is more than the {paid} that was paid.", refunded=refunded, paid=sale.paid
                ),
                gettext("At most {paid}.", paid=sale.paid),
                gettext("Put other costs of the return beside it."),
                field="refunded",
            )
        not_before(on, sale.sold_on, item, gettext_noop("sent back"), gettext_noop("sold"))
        values = {"returned_on": day_number(on), "refunded": minor(refunded), "return_cost": minor(cost)}
        entry.change("sale", sale.id, values)
        entry.change("item", item_id, {"state": RETURNED, "ended_on": None})
        return gettext("{what} came back, {amount} refunded", what=item.what, amount=refunded)

    return act(store, "returned", do, client_id)
