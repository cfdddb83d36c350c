"""What is done with pieces one at a time or by the boxful: made ready, listed, cut, taken down, given up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from sourcing.stock.item import (
    GIVEN_UP,
    HELD,
    LISTED,
    READY,
    RETURNED,
    TO_PREP,
    Asked,
    StockItem,
    asked_text,
    day_number,
    minor,
)  # fmt: skip
from sourcing.stock.ledger import Entry, act
from sourcing.stock.pieces import amounts, count, each, end, not_before, only, positive, standing
from sourcing.storage import Store


def prepare(store: Store, items: Sequence[int], *, ready: bool = True, client_id: str = "") -> int:
    """Mark pieces as ready to list, or with ``ready`` false as to prep again; return the action's number.

    Raises
    ------
    BadInput, NotFound, Refused
        No piece was named; there is no such piece; it is listed, sold or given up.
    """
    to = READY if ready else TO_PREP

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            only(item, (TO_PREP, READY, RETURNED), _READY if ready else _NOT_READY)
            entry.change("item", item.id, {"state": to})
        return f"{count(items)} {gettext(to)}"

    return act(store, to, do, client_id)


_READY = gettext_noop("{what} is {state} and cannot be marked as ready.")
_NOT_READY = gettext_noop("{what} is {state} and cannot be marked as to prep.")


def put_in(store: Store, items: Sequence[int], bin_name: str, client_id: str = "") -> int:
    """Say where pieces lie; return the action's number."""

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            entry.change("item", item.id, {"bin": bin_name})
        if not bin_name:
            return gettext("{pieces} put in no bin", pieces=count(items))
        return gettext("{pieces} put in {bin}", pieces=count(items), bin=bin_name)

    return act(store, "bin", do, client_id)


def list_(
    store: Store, items: Sequence[int], asking: Decimal | None, on: date, channel: str = "", client_id: str = ""
) -> int:
    """List pieces at an asking price, each by itself; return the action's number.

    Parameters
    ----------
    asking : of each piece; None lists every piece at the asking price that its forecast named.

    Raises
    ------
    BadInput, NotFound, Refused
        The price is not above 0, or the forecast named none; the day is before the purchase; the piece is listed
        already, sold or given up.
    """
    if asking is not None:
        positive(asking)

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            only(item, (TO_PREP, READY, RETURNED), gettext_noop("{what} is {state} and cannot be listed."))
            not_before(on, item.bought_on, item, gettext_noop("listed"), gettext_noop("bought"))
            asked = asked_text((Asked(on, planned(item) if asking is None else asking),))
            entry.create("listing", {"item_id": item.id, "channel": channel, "asked": asked})
            entry.change("item", item.id, {"state": LISTED})
        if asking is None:
            return gettext("{pieces} listed at the planned price", pieces=count(items))
        return gettext("{pieces} listed at {price}", pieces=count(items), price=asking)

    return act(store, "listed", do, client_id)


def ask(store: Store, items: Sequence[int], asking: Decimal, on: date, client_id: str = "") -> int:
    """Change the asking price of listed pieces, mostly to cut it; return the action's number.

    Raises
    ------
    BadInput, NotFound, Refused
        The price is not above 0; the day is before the last change; the piece is not listed.
    """
    positive(asking)

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            only(item, (LISTED,), gettext_noop("{what} is {state} and cannot have its price cut."))
            _ask(entry, item, asking, on)
        return gettext("{pieces} now asked at {price}", pieces=count(items), price=asking)

    return act(store, "cut", do, client_id)


def cut(store: Store, items: Sequence[int], off: Decimal, on: date, client_id: str = "") -> int:
    """Cut the asking price of each of some listed pieces by a share of what it is now; return the action's number.

    Raises
    ------
    BadInput, NotFound, Refused
        The share is not between 0 and 1, or leaves less than a cent; the rest as for `ask`.
    """
    if not 0 < off < 1:
        raise BadInput(
            gettext("A cut of {percent} % is none.", percent=f"{off * 100:f}"), gettext("Above 0 % and below 100 %."),
            field="off",
        )  # fmt: skip

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            only(item, (LISTED,), gettext_noop("{what} is {state} and cannot have its price cut."))
            asking = (standing(item).asking_price * (1 - off)).quantize(Decimal("0.01"), ROUND_HALF_UP)
            positive(asking)
            _ask(entry, item, asking, on)
        return gettext("{pieces} cut by {percent} %", pieces=count(items), percent=f"{(off * 100).normalize():f}")

    return act(store, "cut", do, client_id)


def planned(item: StockItem) -> Decimal:
    """Return the asking price that the forecast of a piece named when it was bought.

    Raises
    ------
    BadInput
        It named none.
    """
    found = item.forecast.get("asking_price")
    if found is None:
        raise BadInput(
            gettext("No asking price was forecast for {what}.", what=item.what),
            gettext("An asking price of your own."), gettext("Type it, or list this piece by itself."), field="asking",
        )  # fmt: skip
    return Decimal(str(found))


def take_down(store: Store, items: Sequence[int], on: date, client_id: str = "") -> int:
    """Take listings down, the pieces being ready again; the days they stood unsold stay known."""

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            only(item, (LISTED,), gettext_noop("{what} is {state} and cannot be taken down."))
            end(entry, item, on, gettext_noop("taken down"))
            entry.change("item", item.id, {"state": READY})
        return gettext("{pieces} taken down", pieces=count(items))

    return act(store, "taken down", do, client_id)


def give_up(store: Store, items: Sequence[int], on: date, got: Decimal = Decimal(0), client_id: str = "") -> int:
    """Give pieces up, each for ``got`` (0 where it was thrown or given away); return the action's number.

    Raises
    ------
    BadInput, NotFound, Refused
        The amount is below 0; the day is before the purchase; the piece is sold or given up already.
    """
    amounts(got=got)

    def do(entry: Entry) -> str:
        for item in each(entry, items):
            only(item, HELD, gettext_noop("{what} is {state} and cannot be given up."))
            not_before(on, item.bought_on, item, gettext_noop("given up"), gettext_noop("bought"))
            if item.state == LISTED:
                end(entry, item, on, gettext_noop("given up"))
            entry.change("item", item.id, {"state": GIVEN_UP, "ended_on": day_number(on), "got": minor(got)})
        return gettext("{pieces} given up", pieces=count(items))

    return act(store, "given up", do, client_id)


def _ask(entry: Entry, item: StockItem, asking: Decimal, on: date) -> None:
    listing = standing(item)
    last = listing.asked[-1].on
    not_before(on, last, item, gettext_noop("cut"), gettext_noop("last priced"))
    # Two prices on one day: only the later one stood long enough to be seen.
    kept = listing.asked[:-1] if last == on else listing.asked
    entry.change("listing", listing.id, {"asked": asked_text((*kept, Asked(on, asking)))})
