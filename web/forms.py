"""Read what the Check form sent: text fields to a query, a photo to the code on it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from flask import Request
from werkzeug.datastructures import MultiDict

from sourcing.answer import Query
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.purchase import Discounts, each_of, unit_price
from sourcing.tag import no_price
from web.state import settings

TEXTS = ("code", "brand", "category", "title", "size", "condition")
LONGEST = 200
DEAREST = Decimal(1_000_000)


class Asked(NamedTuple):
    """A query, and what to tell the user about the photo it came from."""

    query: Query
    note: str


class Unsure(BadInput):
    """The photo was read, but not clearly: ``offer`` goes into the code field, for the user to compare and send."""

    def __init__(self, wrong: str, offer: str) -> None:
        self.offer = offer
        super().__init__(
            wrong,
            next_step=gettext(
                "It stands in the code field: compare the digits, mend them if need be, and check again."
            ),
            field="code",
        )


def read_asked(request: Request) -> Asked:
    """Read the form; a photo fills in the code when none was typed.

    Raises
    ------
    BadInput
        A value cannot be used; ``field`` names it.
    """
    values = dict(request.form)
    photo = request.files.get("photo")
    note = ""
    if photo is not None and photo.filename and not values.get("code", "").strip():
        from sourcing.photo import read_photo

        reading = read_photo(photo.read())
        found = reading.chosen
        note = reading.note
        if reading.maybe is not None:
            raise Unsure(note, reading.maybe.typed)
        if found is None:
            raise BadInput(
                note or gettext("No code could be read in that photo."),
                next_step=gettext("Type the digits under the bars, or the style code on the tongue or box label."),
                field="code",
            )
        values["code"] = found.typed
    values["flags"] = ",".join(request.form.getlist("flags"))
    return Asked(read_query(values), note)


def read_query(values: Mapping[str, str]) -> Query:
    """Read a query from plain texts; something must identify the item.

    Raises
    ------
    BadInput
        A value cannot be used; ``field`` names it.
    """
    texts = {name: _text(values, name) for name in TEXTS}
    if not any(texts[name] for name in ("code", "title", "brand", "category")):
        raise BadInput(
            gettext("Nothing says which item this is."),
            gettext("A code (typed or photographed), or a title."),
            gettext("Type the digits under the bars, or the style code."),
            field="code",
        )
    return Query(shelf_price=read_price(values), discount=read_discount(values), flags=read_marked(values), **texts)


def read_marked(values: Mapping[str, str]) -> tuple[str, ...]:
    """Read the flags that are ticked, or named with commas between them.

    Raises
    ------
    BadInput
        There is no such flag.
    """
    several = values.getlist("flags") if isinstance(values, MultiDict) else [values.get("flags", "")]
    names = [name for text in several for name in text.split(",")]
    if not any(names):
        return ()
    from sourcing.flags.marked import read_flags

    return read_flags(settings(), names)


def read_price(values: Mapping[str, str], *, tag: bool = True) -> Decimal | None:
    """Read the shelf price, or without ``tag`` any other; none is fine, the answer then is the most worth paying alone.

    “3 for 20” is the price of one of three. Point and comma are both taken as the decimal mark whatever the locale, as
    keyboards of phones offer either.
    """
    text = _text(values, "price")
    if not text:
        return None
    kept = settings()
    currency = kept.currency
    price = _price(text, currency, kept.locale)
    if price is None:
        raise no_price(text, currency, tag=tag)
    return price


@lru_cache(maxsize=1_000)  # the same tags hang on many items
def _price(text: str, currency: str, locale: str) -> Decimal | None:
    """Read a price as typed; None where it is none."""
    from sourcing.money import minor_digits
    from sourcing.typed_number import bare_number

    pieces, bare = each_of(text)
    digits, price = minor_digits(currency), bare_number(bare, currency, locale)
    if price is None or not 0 <= price <= DEAREST or price != round(price, digits):
        return None
    return round(unit_price(price, pieces, digits), 2)


def read_discount(values: Mapping[str, str]) -> Discounts | None:
    """Read the store's discounts as typed: a percentage, or several in the till's order (“30% then 5.00”)."""
    text = _text(values, "discount")
    return Discounts.parse(text) if text else None


def _text(values: Mapping[str, str], name: str) -> str:
    if name not in values:  # most of a query's fields; `get` of what is sent raises and catches for each
        return ""
    text = " ".join((values[name] or "").split())
    if len(text) > LONGEST:
        raise BadInput(
            gettext("The {name} has {count} characters.", name=gettext(name), count=len(text)),
            gettext("Up to {longest}.", longest=LONGEST),
            gettext("Shorten it."),
            field=name,
        )
    return text
