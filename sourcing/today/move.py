"""Move the asking prices of listed pieces, one or several at once, each to its own: one action of the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from sourcing.errors import BadInput
from sourcing.language import gettext as _
from sourcing.language import gettext_noop, ngettext
from sourcing.stock.item import LISTED, Asked, asked_text
from sourcing.stock.ledger import Entry, act
from sourcing.stock.pieces import each, not_before, only, positive, standing
from sourcing.storage import Store

MOST_AT_ONCE = 500


def move(store: Store, prices: Mapping[int, Decimal], on: date, client_id: str = "") -> int:
    """Record new asking prices by number of the piece; return the action's number, by which it is undone.

    Raises
    ------
    BadInput, NotFound, Refused
        No piece was chosen, or too many; a price is not above 0; the day is before a piece's last change; one is not
        listed.
    """
    if len(prices) > MOST_AT_ONCE:
        raise BadInput(
            _("{count} pieces at once.", count=len(prices)), _("Up to {most}.", most=MOST_AT_ONCE),
            _("Move them in parts."), field="items",
        )  # fmt: skip
    for price in prices.values():
        positive(price)

    def do(entry: Entry) -> str:
        for item in each(entry, list(prices)):
            only(item, (LISTED,), gettext_noop("{what} is {state} and cannot have its price cut."))
            listing, to = standing(item), prices[item.id]
            not_before(on, listing.asked[-1].on, item, gettext_noop("cut"), gettext_noop("last priced"))
            kept = listing.asked[:-1] if listing.asked[-1].on == on else listing.asked
            entry.change("listing", listing.id, {"asked": asked_text((*kept, Asked(on, to)))})
        if len(prices) == 1:
            return _("{what} now asked at {price}", what=item.what, price=to)
        return ngettext("{count} piece at a new asking price", "{count} pieces at new asking prices", len(prices))

    return act(store, "cut", do, client_id)
