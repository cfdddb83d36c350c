"""The documented columns of a comps file: the one table that reader, page and docs are held to."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ColumnMeaning:
    """One column of a comps file."""

    name: str
    meaning: str
    required: str  # "no", or when a row needs it
    unit: str
    absence: str  # what its absence costs the forecast


COLUMNS = (
    ColumnMeaning(
        "gtin",
        "The number under the maker's barcode (GTIN-8, 12, 13 or 14).",
        "one of gtin, style_code and title",
        "digits, check digit included",
        "A scan finds the item only when other rows tie its barcode to the same style code.",
    ),
    ColumnMeaning(
        "style_code",
        "The maker's style or model number, as printed; case, spaces and dashes do not matter.",
        "one of gtin, style_code and title",
        "text, at most 200 characters",
        "Sizes and colours with barcodes of their own are not pooled, so each rests on fewer sales.",
    ),
    ColumnMeaning(
        "brand",
        "The brand.",
        "no",
        "text, at most 200 characters",
        "An item with few comps leans on its category instead of its brand, and its range is wider.",
    ),
    ColumnMeaning(
        "category",
        "The kind of goods; the same words as the categories of your settings.",
        "no",
        "text, at most 200 characters",
        "The default terms and rules apply, and an item with few comps leans on the whole table.",
    ),
    ColumnMeaning(
        "title",
        "The listing's title, kept word for word.",
        "one of gtin, style_code and title",
        "text, at most 10,000 characters",
        "Lots, damage and missing parts cannot be seen, and an unknown item finds no kin by its words.",
    ),
    ColumnMeaning(
        "size",
        "The size or other variant.",
        "no",
        "text, at most 200 characters",
        "Prices of all sizes are pooled, and the range is wider.",
    ),
    ColumnMeaning(
        "condition",
        "The condition, in the words you use for your own items.",
        "no",
        "text, at most 200 characters",
        "New and worn are pooled, and the range is wider.",
    ),
    ColumnMeaning(
        "channel",
        "Where it was listed.",
        "no",
        "text, at most 200 characters",
        "Differences between channels are taken for noise.",
    ),
    ColumnMeaning(
        "asking_price",
        "The price asked, without shipping.",
        "no",
        "money",
        "The row says nothing about how the price asked changes the time to sell.",
    ),
    ColumnMeaning(
        "sold_price",
        "The price the item sold for, without shipping.",
        "when status is sold; empty otherwise",
        "money, above 0",
        "A sale without its price is rejected.",
    ),
    ColumnMeaning(
        "shipping_charged",
        "What the buyer was charged for shipping.",
        "no",
        "money, 0 for free",
        "Taken as 0: the row's price reads too low when shipping was charged.",
    ),
    ColumnMeaning(
        "listed_on",
        "The day the listing began.",
        "no",
        "date, YYYY-MM-DD",
        "The row says nothing about the time to sell.",
    ),
    ColumnMeaning(
        "ended_on",
        "The day it sold or ended; empty while open.",
        "no",
        "date, YYYY-MM-DD",
        "The row's age is unknown, so it counts as an old one, and it says nothing about the time to sell.",
    ),
    ColumnMeaning(
        "status",
        "How the listing stands: sold, open, or ended unsold.",
        "unless sold_price is filled: then it counts as sold",
        "one of the three",
        "A row with neither status nor sold_price is rejected: it would be a guess.",
    ),
    ColumnMeaning(
        "listing",
        "The number the source gives the listing; it stays the same when the listing sells or its price is cut.",
        "no",
        "text, at most 200 characters",
        "An open listing that is later seen sold is told by its day listed and asking price, or counts twice.",
    ),
    ColumnMeaning(
        "currency",
        "The currency of the row's amounts.",
        "no",
        "ISO 4217, like EUR",
        "The amounts are taken to be in the currency of your settings.",
    ),
    ColumnMeaning(
        "note",
        "Anything you want to keep beside the row.",
        "no",
        "text, at most 10,000 characters",
        "Nothing.",
    ),
)

NAMES = tuple(column.name for column in COLUMNS)
IDENTIFYING = ("gtin", "style_code", "title")
STATUSES = ("open", "sold", "ended unsold")
"""Words of the status column; the index is the number kept in storage."""

OUT = ("", "another row says more of the same listing", "set aside by you", "in another currency")
"""Why a row does not count; the index is the number kept in storage."""
