"""The documented columns of a comps file: the one table that reader, page and docs are held to."""

from __future__ import annotations

from dataclasses import dataclass

from sourcing.language import gettext, gettext_noop


@dataclass(frozen=True)
class ColumnMeaning:
    """One column of a comps file, in English; its words are said by gettext where they are shown."""

    name: str
    meaning: str
    required: str  # "no", or when a row needs it
    unit: str
    absence: str  # what its absence costs the forecast


COLUMNS = (
    ColumnMeaning(
        "gtin",
        gettext_noop("The number under the maker's barcode (GTIN-8, 12, 13 or 14)."),
        gettext_noop("one of gtin, style_code and title"),
        gettext_noop("digits, check digit included"),
        gettext_noop("A scan finds the item only when other rows tie its barcode to the same style code."),
    ),
    ColumnMeaning(
        "style_code",
        gettext_noop("The maker's style or model number, as printed; case, spaces and dashes do not matter."),
        gettext_noop("one of gtin, style_code and title"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop("Sizes and colours with barcodes of their own are not pooled, so each rests on fewer sales."),
    ),
    ColumnMeaning(
        "brand",
        gettext_noop("The brand."),
        gettext_noop("no"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop("An item with few comps leans on its category instead of its brand, and its range is wider."),
    ),
    ColumnMeaning(
        "category",
        gettext_noop("The kind of goods; the same words as the categories of your settings."),
        gettext_noop("no"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop("The default terms and rules apply, and an item with few comps leans on the whole table."),
    ),
    ColumnMeaning(
        "title",
        gettext_noop("The listing's title, kept word for word."),
        gettext_noop("one of gtin, style_code and title"),
        gettext_noop("text, at most 10,000 characters"),
        gettext_noop("Lots, damage and missing parts cannot be seen, and an unknown item finds no kin by its words."),
    ),
    ColumnMeaning(
        "size",
        gettext_noop("The size or other variant."),
        gettext_noop("no"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop("Prices of all sizes are pooled, and the range is wider."),
    ),
    ColumnMeaning(
        "condition",
        gettext_noop("The condition, in the words you use for your own items."),
        gettext_noop("no"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop("New and worn are pooled, and the range is wider."),
    ),
    ColumnMeaning(
        "channel",
        gettext_noop("Where it was listed."),
        gettext_noop("no"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop("Differences between channels are taken for noise."),
    ),
    ColumnMeaning(
        "asking_price",
        gettext_noop("The price asked, without shipping."),
        gettext_noop("no"),
        gettext_noop("money"),
        gettext_noop("The row says nothing about how the price asked changes the time to sell."),
    ),
    ColumnMeaning(
        "sold_price",
        gettext_noop("The price the item sold for, without shipping."),
        gettext_noop("when status is sold; empty otherwise"),
        gettext_noop("money, above 0"),
        gettext_noop("A sale without its price is rejected."),
    ),
    ColumnMeaning(
        "shipping_charged",
        gettext_noop("What the buyer was charged for shipping."),
        gettext_noop("no"),
        gettext_noop("money, 0 for free"),
        gettext_noop("Taken as 0: the row's price reads too low when shipping was charged."),
    ),
    ColumnMeaning(
        "listed_on",
        gettext_noop("The day the listing began."),
        gettext_noop("no"),
        gettext_noop("date, YYYY-MM-DD"),
        gettext_noop("The row says nothing about the time to sell."),
    ),
    ColumnMeaning(
        "ended_on",
        gettext_noop("The day it sold or ended; empty while open."),
        gettext_noop("no"),
        gettext_noop("date, YYYY-MM-DD"),
        gettext_noop(
            "The row's age is unknown, so it counts as an old one, and it says nothing about the time to sell."
        ),
    ),
    ColumnMeaning(
        "status",
        gettext_noop("How the listing stands: sold, open, or ended unsold."),
        gettext_noop("unless sold_price is filled: then it counts as sold"),
        gettext_noop("one of the three"),
        gettext_noop("A row with neither status nor sold_price is rejected: it would be a guess."),
    ),
    ColumnMeaning(
        "listing",
        gettext_noop(
            "The number the source gives the listing; it stays the same when the listing sells or its price is cut."
        ),
        gettext_noop("no"),
        gettext_noop("text, at most 200 characters"),
        gettext_noop(
            "An open listing that is later seen sold is told by its day listed and asking price, or counts twice."
        ),
    ),
    ColumnMeaning(
        "currency",
        gettext_noop("The currency of the row's amounts."),
        gettext_noop("no"),
        gettext_noop("ISO 4217, like EUR"),
        gettext_noop("The amounts are taken to be in the currency of your settings."),
    ),
    ColumnMeaning(
        "note",
        gettext_noop("Anything you want to keep beside the row."),
        gettext_noop("no"),
        gettext_noop("text, at most 10,000 characters"),
        gettext_noop("Nothing."),
    ),
)

NAMES = tuple(column.name for column in COLUMNS)
_LABELS = {
    "gtin": gettext_noop("gtin"),
    "style_code": gettext_noop("style code"),
    "brand": gettext_noop("brand"),
    "category": gettext_noop("category"),
    "title": gettext_noop("title"),
    "size": gettext_noop("size"),
    "condition": gettext_noop("condition"),
    "channel": gettext_noop("channel"),
    "asking_price": gettext_noop("asking price"),
    "sold_price": gettext_noop("sold price"),
    "shipping_charged": gettext_noop("shipping charged"),
    "listed_on": gettext_noop("listed on"),
    "ended_on": gettext_noop("ended on"),
    "status": gettext_noop("status"),
    "listing": gettext_noop("listing"),
    "currency": gettext_noop("currency"),
    "note": gettext_noop("note"),
}
IDENTIFYING = ("gtin", "style_code", "title")
STATUSES = (gettext_noop("open"), gettext_noop("sold"), gettext_noop("ended unsold"))
"""Words of the status column; the index is the number kept in storage."""

OUT = (
    "",
    gettext_noop("another row says more of the same listing"),
    gettext_noop("set aside by you"),
    gettext_noop("in another currency"),
)
"""Why a row does not count; the index is the number kept in storage."""


def label(name: str) -> str:
    """Say what a column is called: its name with blanks."""
    return gettext(_LABELS.get(name, name.replace("_", " ")))
