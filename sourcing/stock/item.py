"""One piece of stock and one sale of it, as they stand now."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from sourcing.language import gettext_noop

TO_PREP, READY, LISTED, SOLD, RETURNED, GIVEN_UP = STATES = (
    gettext_noop("to prep"),
    gettext_noop("ready"),
    gettext_noop("listed"),
    gettext_noop("sold"),
    gettext_noop("returned"),
    gettext_noop("given up"),
)  # kept and compared as they are; said by gettext where they are shown
HELD = (TO_PREP, READY, LISTED, RETURNED)  # in these its cost is tied up
_EPOCH = date(1970, 1, 1)


class Asked(NamedTuple):
    """An asking price and the day from which it stood."""

    on: date
    price: Decimal


@dataclass(frozen=True)
class Listing:
    """One spell on the market; `ended_on` is None while it stands, and ``how`` says what ended it."""

    id: int
    item_id: int
    channel: str
    asked: tuple[Asked, ...]  # in order; the first of the day it was listed
    ended_on: date | None
    how: str  # "sold", "taken down", "given up"; "" while it stands

    @property
    def listed_on(self) -> date:
        """Day it began."""
        return self.asked[0].on

    @property
    def asking_price(self) -> Decimal:
        """Asking price in force, or last in force."""
        return self.asked[-1].price


@dataclass(frozen=True)
class Sale:
    """One sale; ``fees`` and ``postage`` are what was really paid, None where not known yet."""

    id: int
    item_id: int
    sold_on: date
    paid: Decimal  # by the buyer in all, shipping charged included
    fees: Decimal | None
    postage: Decimal | None
    channel: str
    returned_on: date | None
    refunded: Decimal | None
    return_cost: Decimal | None  # postage of the way back and fees that were kept
    note: str

    @property
    def stands(self) -> bool:
        """Whether the piece stayed sold."""
        return self.returned_on is None

    @property
    def left(self) -> Decimal:
        """What is left of it before the piece's own cost, by what is known so far; below 0 the loss of a return."""
        gone = (self.fees, self.postage, self.refunded, self.return_cost)
        return self.paid - sum((one for one in gone if one is not None), Decimal(0))


@dataclass(frozen=True)
class StockItem:
    """One piece; money is for it alone.

    Attributes
    ----------
    forecast : what the verdict said when it was taken, never touched again; empty where nothing was said.
    listing : the one that stands, or stood last; None where it was never listed.
    part_of : number of the piece it was split from, or of the first of those it was joined from.
    """

    id: int
    haul_item_id: int | None
    check_id: int | None
    part_of: int | None
    label: str
    what: str
    code: str
    gtin: str
    style_code: str
    brand: str
    category: str
    title: str
    size: str
    condition: str
    flags: tuple[str, ...]
    store: str
    bought_on: date
    shelf_price: Decimal | None
    landed_cost: Decimal
    forecast: Mapping[str, Any]
    state: str
    bin: str
    ended_on: date | None  # day of the sale or of giving up
    got: Decimal | None  # what giving up brought
    note: str
    listing: Listing | None = None


ITEM_COLUMNS = (
    "id", "haul_item_id", "check_id", "part_of", "label", "what", "code", "gtin", "style_code", "brand", "category",
    "title", "size", "condition", "flags", "store", "bought_on", "shelf", "landed", "forecast", "state", "bin",
    "ended_on", "got", "note",
)  # fmt: skip
LISTING_COLUMNS = ("id", "item_id", "channel", "asked", "ended_on", "how")
SALE_COLUMNS = (
    "id", "item_id", "sold_on", "paid", "fees", "postage", "channel", "returned_on", "refunded", "return_cost", "note",
)  # fmt: skip


def day_number(day: date) -> int:
    """Return days since 1970-01-01, as storage has them."""
    return (day - _EPOCH).days


def to_date(number: int | None) -> date | None:
    """Turn a stored day into a date."""
    return None if number is None else _EPOCH + timedelta(days=number)


def minor(amount: Decimal | None) -> int | None:
    """Return an amount to the cent as whole cents.

    Raises
    ------
    ValueError
        It has more than two decimals: rounding is the caller's.
    """
    if amount is None:
        return None
    cents = amount.scaleb(2)
    if cents != cents.to_integral_value():
        raise ValueError(f"not to the cent: {amount}")
    return int(cents)


def money(number: int | None) -> Decimal | None:
    """Turn stored cents into an amount."""
    return None if number is None else Decimal(number).scaleb(-2)


def item_of(row: tuple[Any, ...], listing: Listing | None = None) -> StockItem:
    """Read a row of `ITEM_COLUMNS`."""
    v = dict(zip(ITEM_COLUMNS, row, strict=True))
    bought, landed = to_date(v["bought_on"]), money(v["landed"])
    assert bought is not None
    assert landed is not None
    return StockItem(
        v["id"], v["haul_item_id"], v["check_id"], v["part_of"], v["label"] or "", v["what"], v["code"], v["gtin"],
        v["style_code"], v["brand"], v["category"], v["title"], v["size"], v["condition"],
        tuple(json.loads(v["flags"])), v["store"], bought, money(v["shelf"]), landed, json.loads(v["forecast"]),
        v["state"], v["bin"], to_date(v["ended_on"]), money(v["got"]), v["note"], listing,
    )  # fmt: skip


def listing_of(row: tuple[Any, ...]) -> Listing:
    """Read a row of `LISTING_COLUMNS`."""
    number, item_id, channel, asked, ended, how = row
    return Listing(number, item_id, channel, asked_of(asked), to_date(ended), how)


def sale_of(row: tuple[Any, ...]) -> Sale:
    """Read a row of `SALE_COLUMNS`."""
    v = dict(zip(SALE_COLUMNS, row, strict=True))
    sold, paid = to_date(v["sold_on"]), money(v["paid"])
    assert sold is not None
    assert paid is not None
    return Sale(
        v["id"], v["item_id"], sold, paid, money(v["fees"]), money(v["postage"]), v["channel"],
        to_date(v["returned_on"]), money(v["refunded"]), money(v["return_cost"]), v["note"],
    )  # fmt: skip


def asked_of(text: str) -> tuple[Asked, ...]:
    """Read stored asking prices."""
    return tuple(Asked(_EPOCH + timedelta(days=day), Decimal(price).scaleb(-2)) for day, price in json.loads(text))


def asked_text(asked: tuple[Asked, ...]) -> str:
    """Write asking prices as they are stored."""
    return json.dumps([[day_number(one.on), minor(one.price)] for one in asked])
