"""Which settings each Rules page shows: one place for every setting."""

from __future__ import annotations

from typing import NamedTuple

from sourcing.language import gettext, gettext_noop
from sourcing.settings_edit import Table
from sourcing.settings_table import Setting, of_place

RULES, BUYING, POSTAGE, WORK, SELLING = "rules", "buying", "postage", "work", "selling"
_PART = {
    **dict.fromkeys(
        (
            "least_profit",
            "least_return",
            "wanted_chance",
            "target_days",
            "most_loss_chance",
            "least_comps",
            "objective",
        ),
        RULES,
    ),
    **dict.fromkeys(("store_discount", "purchase_tax", "resale_exemption", "capital_rate", "rack_prices"), BUYING),
    **dict.fromkeys(("packed_weight", "packed_size", "postage"), POSTAGE),
    **dict.fromkeys(("hourly_value", "supplies"), WORK),
}
TITLES = {
    RULES: gettext_noop("Rules for a buy"),
    BUYING: gettext_noop("Buying"),
    POSTAGE: gettext_noop("Postage"),
    WORK: gettext_noop("Work and supplies"),
    SELLING: gettext_noop("Selling and returns"),
}


class Piece(NamedTuple):
    """Some settings of one table, under one heading."""

    title: str
    table: Table
    name: str
    settings: tuple[Setting, ...]
    open: bool = True


class Sheet(NamedTuple):
    """One Rules page."""

    heading: str
    intro: str
    pieces: tuple[Piece, ...]
    named: tuple[Table, str] | None = None  # the channel, category or flag that it holds, which can be taken away


PARTS = {
    BUYING: gettext_noop("What a purchase costs, in every category that does not say otherwise."),
    POSTAGE: gettext_noop("What posting a parcel costs: by its weight, or one amount for all."),
    WORK: gettext_noop("What an item asks of your time and your shelf, in every category that does not say otherwise."),
    SELLING: gettext_noop("Where and how it is sold, in every category that does not say otherwise."),
    RULES: gettext_noop("What you ask of a buy, in every category that does not say otherwise."),
    "haul": gettext_noop("Rules for one whole store run."),
    "labels": gettext_noop("What labels of stock are made of, and the paper they are printed on."),
    "business": gettext_noop("When a year of the books begins, and what driving to a store costs."),
    "general": gettext_noop("The language, and how amounts and dates are written."),
}
_NAMES = {
    RULES: gettext_noop("Every category"),
    "haul": gettext_noop("The whole haul"),
    "labels": gettext_noop("Labels of stock"),
    "business": gettext_noop("Books and mileage"),
    "general": gettext_noop("Language and currency"),
} | {part: TITLES[part] for part in (BUYING, POSTAGE, WORK, SELLING)}


def part_of(setting: Setting) -> str:
    """Return on which page the default of a category's setting stands."""
    if setting.name.endswith("_minutes"):
        return WORK
    if setting.name.startswith(("zone", "postage")):
        return POSTAGE
    if setting.name.startswith(("purchase", "discount", "tax", "resale")):
        return BUYING
    return _PART.get(setting.name, SELLING)


def part_name(part: str) -> str:
    """Return the heading of a page of defaults."""
    return gettext(_NAMES[part])


def part_sheet(part: str) -> Sheet:
    """Return one page of what holds everywhere; ``part`` is a key of `PARTS`."""
    heading, intro = gettext(_NAMES[part]), gettext(PARTS[part])
    if part in ("haul", "labels", "business", "general"):
        return Sheet(heading, intro, (Piece("", part, "", tuple(of_place(part).values())),))  # type: ignore[arg-type]
    mine = _of_part(part)
    pieces = [Piece("", "default", "", mine)]
    if part == POSTAGE:
        pieces = [
            Piece(gettext("One item packed"), "default", "", mine),
            Piece(gettext("The carrier's price list"), "parcel", "", tuple(of_place("parcel").values())),
        ]
    return Sheet(heading, intro, tuple(pieces))


def _of_part(part: str) -> tuple[Setting, ...]:
    """Return the settings of one part: those named here first, in this order, then any other."""
    order = list(_PART)
    mine = [one for one in of_place("category").values() if part_of(one) == part]
    return tuple(sorted(mine, key=lambda one: order.index(one.name) if one.name in _PART else len(order)))


def category_sheet(name: str) -> Sheet:
    """Return one category's page: its rules first, then its own terms."""
    pieces = [
        Piece(gettext(TITLES[part]), "category", name, _of_part(part), part == RULES)
        for part in (RULES, POSTAGE, WORK, BUYING, SELLING)
    ]
    intro = gettext("An empty field is as elsewhere: as in every category.")
    return Sheet(name, intro, tuple(pieces), ("category", name))


def flag_sheet(name: str) -> Sheet:
    """Return one condition flag's page."""
    intro = gettext("What a condition of one piece asks for, and the words in comps that mean it.")
    return Sheet(name.replace("_", " "), intro, (Piece("", "flag", name, tuple(of_place("flag").values())),),
                 ("flag", name))  # fmt: skip
