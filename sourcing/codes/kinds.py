"""What a number names, by its prefix, and what to tell the user about it.

Source: GS1 General Specifications, prefix table (sec. 1.4) and restricted circulation numbers (sec. 2.1.11-2.1.12).
A prefix says which organisation issued the number, not where the goods were made.
"""

from __future__ import annotations

from typing import Literal

from sourcing.language import gettext, gettext_noop

Kind = Literal["product", "store tag", "coupon", "refund", "demo", "not a product", "unknown", "style code"]

_NOTES: dict[str, str] = {
    "store tag": gettext_noop(
        "This is an in-store tag: it identifies nothing outside that store. Type the maker's style code."
    ),
    "coupon": gettext_noop("This is a coupon, not a product."),
    "refund": gettext_noop("This is a refund receipt, not a product."),
    "not a product": gettext_noop("This number is from a reserved range and names no product."),
    "demo": gettext_noop("This number is from the range kept for demonstrations (prefix 952): no real goods carry it."),
    "unknown": gettext_noop("This number's prefix is not assigned in the table we know: check the digits."),
}


def classify(gtin: str) -> Kind:
    """Return the class of a canonical GTIN-14 by its GS1 prefix.

    UPC-A is read as the GTIN-13 with a zero in front (2... is 02..., 4... is 04...), a GTIN-14 by the GTIN-13 within.
    The range 05 was for coupons in older lists and is reserved in the current one: no product either way.
    """
    if gtin.startswith("0000000"):
        return "store tag"  # numbers a company gives out for itself; as GTIN-8: prefixes 000-099
    if gtin.startswith("000000"):
        return "store tag" if gtin[6] == "2" else "product"
    number = int(gtin[1:4])
    if 20 <= number <= 29 or 40 <= number <= 49 or 200 <= number <= 299:
        return "store tag"
    if 50 <= number <= 59:
        return "not a product"
    if number == 952:
        return "demo"
    if number == 980:
        return "refund"
    if 981 <= number <= 983 or 990 <= number <= 999:
        return "coupon"
    if 140 <= number <= 199 or number in (953, 970) or 984 <= number <= 989:
        return "unknown"
    return "product"


def note_on(kind: Kind, gtin: str) -> str:
    """Say what the user should know about a number; "" when there is nothing to say."""
    note = gettext(_NOTES.get(kind, ""))
    if gtin[0] in "12345678" and kind in ("product", "demo", "unknown"):
        carton = gettext("It is a carton's number (its first digit is {digit}): scan a single item.", digit=gtin[0])
        note = f"{note} {carton}".strip()
    return note
