"""Settings of the business as a whole: limits of a haul, labels of stock, the year of the books and mileage."""

from __future__ import annotations

from decimal import Decimal

from sourcing.business import DISTANCES, Business
from sourcing.language import gettext_noop
from sourcing.rules import HaulLimits
from sourcing.setting import Setting
from sourcing.stock.paper import CODES, PAGES, LabelSettings

_ONE = Decimal(1)


def _paper(name: str, unit: str, help_: str, lowest: int, highest: int) -> Setting:
    """Return one measure of the paper that labels are printed on."""
    default = getattr(LabelSettings, name)
    return Setting(name, "labels", unit, default, help_, lowest=Decimal(lowest), highest=Decimal(highest))


BUSINESS: tuple[Setting, ...] = (
    Setting("cash", "haul", "money", HaulLimits.cash, gettext_noop("most cash one haul may take"), True),
    Setting(
        "prep_hours",
        "haul",
        "hours",
        HaulLimits.prep_hours,
        gettext_noop("most hours of prep one haul may ask for"),
        True,
        highest=Decimal(1000),
    ),
    Setting(
        "most_of_style",
        "haul",
        "pieces",
        HaulLimits.most_of_style,
        gettext_noop("most pieces of one style"),
        True,
        _ONE,
    ),
    Setting(
        "most_in_category",
        "haul",
        "money",
        HaulLimits.most_in_category,
        gettext_noop("most cash in one category"),
        True,
    ),
    Setting(
        "pattern",
        "labels",
        "text",
        LabelSettings.pattern,
        gettext_noop("what labels of stock are made of: text, fields in square brackets, one [count]"),
    ),
    Setting(
        "codes", "labels", "choice", LabelSettings.codes, gettext_noop("what is printed to be scanned"), choices=CODES
    ),
    Setting(
        "names",
        "labels",
        "choice",
        LabelSettings.names,
        gettext_noop("yes: the piece's name is printed too"),
        choices=("yes", "no"),
    ),
    Setting("page", "labels", "choice", LabelSettings.page, gettext_noop("what labels are printed on"), choices=PAGES),
    _paper("label_width", "mm", gettext_noop("width of a label"), 15, 210),
    _paper("label_height", "mm", gettext_noop("height of a label"), 8, 297),
    _paper("columns", "whole", gettext_noop("labels side by side"), 1, 20),
    _paper("rows", "whole", gettext_noop("labels one below the other"), 1, 40),
    _paper("margin_left", "mm", gettext_noop("from the page's left edge to the first label"), 0, 100),
    _paper("margin_top", "mm", gettext_noop("from the page's upper edge to the first label"), 0, 100),
    _paper("step_across", "mm", gettext_noop("from a label's left edge to the next one's"), 1, 210),
    _paper("step_down", "mm", gettext_noop("from a label's upper edge to the next one's"), 1, 297),
    Setting(
        "year_starts",
        "business",
        "text",
        Business.year_starts,
        gettext_noop("month and day on which a year of the books begins, such as 01-01 or 04-06"),
    ),
    Setting(
        "distance",
        "business",
        "choice",
        Business.distance,
        gettext_noop("the unit that the distance of a run is typed in"),
        choices=DISTANCES,
    ),
    Setting(
        "mileage",
        "business",
        "rates",
        Business.mileage,
        gettext_noop("what driving one unit of distance costs, as [from this day, amount]"),
        highest=Decimal(1000),
    ),
)
"""In the order of the settings file."""
