"""The one table of settings: it drives the settings file, the Rules page and the documentation."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sourcing.business import DISTANCES, Business
from sourcing.labour import LEARNING, Flag
from sourcing.language import gettext_noop
from sourcing.rules import OBJECTIVES, HaulLimits, Rules
from sourcing.setting import OFF, Place, Setting
from sourcing.settings_costs import COSTS
from sourcing.stock.paper import CODES, PAGES, LabelSettings
from sourcing.terms import EXEMPTIONS, PAYERS, PriceCutPlan, Terms

_MOST = Decimal("0.95")
_ONE = Decimal(1)
_DAY = Decimal(1440)  # minutes
__all__ = ["OFF", "SETTINGS", "Place", "Setting", "defaults", "of_place"]

SETTINGS: tuple[Setting, ...] = (
    *COSTS,
    Setting(
        "channel",
        "category",
        "text",
        "main",
        gettext_noop("where it is sold: the name of a channel table, or several with commas between"),
    ),
    Setting(
        "packed_weight",
        "category",
        "grams",
        Decimal(1000),
        gettext_noop("weight of one item packed to post"),
        lowest=_ONE,
    ),
    Setting("packed_size", "category", "sides", None, gettext_noop("packed length, width and height in cm"), True),
    Setting(
        "postage",
        "category",
        "money",
        None,
        gettext_noop("postage of one item; off takes it from the postage table"),
        True,
    ),
    Setting("supplies", "category", "money", Terms.supplies, gettext_noop("box, filling, label")),
    Setting(
        "purchase_tax",
        "category",
        "share",
        Terms.purchase_tax,
        gettext_noop("tax added at the till"),
        highest=_MOST,
    ),
    Setting(
        "resale_exemption",
        "category",
        "choice",
        Terms.resale_exemption,
        gettext_noop("yes: the till charges you no purchase tax"),
        choices=EXEMPTIONS,
    ),
    Setting(
        "store_discount",
        "category",
        "discounts",
        Terms.store_discount,
        gettext_noop("discounts the store gives at the till, in its order: 20% or 30% then 5.00"),
    ),
    *(
        Setting(
            f"{step}_minutes",
            "category",
            "minutes",
            getattr(Terms, f"{step}_minutes"),
            what,
            highest=_DAY,
        )
        for step, what in (
            ("clean", gettext_noop("to clean, mend and test one item")),
            ("photograph", gettext_noop("to photograph one item")),
            ("list", gettext_noop("to list one item")),
            ("pack", gettext_noop("to pack one item")),
        )
    ),
    Setting(
        "learn_minutes",
        "category",
        "choice",
        LEARNING[0],
        gettext_noop("yes: minutes learnt from your own timed batches take the place of these where there are enough"),
        choices=LEARNING,
    ),
    Setting(
        "hourly_value", "category", "money", Terms.hourly_value, gettext_noop("what an hour of your prep time is worth")
    ),
    Setting(
        "return_rate",
        "category",
        "share",
        Terms.return_rate,
        gettext_noop("share of sales that come back"),
        highest=_MOST,
    ),
    Setting(
        "return_value_lost",
        "category",
        "share",
        Terms.return_value_lost,
        gettext_noop("share of the price lost on a return"),
        highest=_ONE,
    ),
    Setting(
        "return_way_back",
        "category",
        "choice",
        Terms.return_way_back,
        gettext_noop("who pays the postage of a return"),
        choices=PAYERS,
    ),
    Setting(
        "return_outward_lost",
        "category",
        "share",
        Terms.return_outward_lost,
        gettext_noop("share of the outward postage lost on a return"),
        highest=_ONE,
    ),
    Setting(
        "capital_rate",
        "category",
        "share",
        Terms.capital_rate,
        gettext_noop("cost of cash tied up, per year"),
        highest=Decimal(5),
    ),
    Setting(
        "assumed_days",
        "category",
        "days",
        Terms.assumed_days,
        gettext_noop("days to sell assumed when the comps carry no listing dates"),
    ),
    Setting(
        "cuts",
        "category",
        "cuts",
        PriceCutPlan.cuts,
        gettext_noop("price cuts as [day, share off the first asking price]"),
    ),
    Setting(
        "give_up_day",
        "category",
        "days",
        PriceCutPlan.give_up_day,
        gettext_noop("day on which an unsold item is given up"),
    ),
    Setting(
        "salvage",
        "category",
        "share",
        PriceCutPlan.salvage,
        gettext_noop("share of the usual sale price still got when given up"),
        lowest=Decimal("0.01"),
        highest=_ONE,
    ),
    Setting(
        "objective",
        "category",
        "choice",
        Rules.objective,
        gettext_noop("what the asking price is chosen for: most profit, most profit a day or dearest in time"),
        choices=OBJECTIVES,
    ),
    Setting(
        "least_profit",
        "category",
        "money",
        Rules.least_profit,
        gettext_noop("rule: expected profit after everything at least this"),
        True,
    ),
    Setting(
        "least_return",
        "category",
        "share",
        Rules.least_return,
        gettext_noop("rule: expected profit at least this share of the landed cost"),
        True,
        highest=Decimal(20),
    ),
    Setting(
        "target_days", "category", "days", Rules.target_days, gettext_noop("rule: the days within which it should sell")
    ),
    Setting(
        "wanted_chance",
        "category",
        "share",
        Rules.wanted_chance,
        gettext_noop("rule: chance wanted of selling within the target days"),
        True,
        highest=_ONE,
    ),
    Setting(
        "most_loss_chance",
        "category",
        "share",
        Rules.most_loss_chance,
        gettext_noop("rule: largest acceptable chance of a loss"),
        True,
        Decimal("0.01"),
        _MOST,
    ),
    Setting(
        "least_comps",
        "category",
        "count",
        Rules.least_comps,
        gettext_noop("rule: what is known beyond the category must be worth this many sales of the item"),
        True,
        highest=Decimal(1000),
    ),
    Setting(
        "rack_prices",
        "category",
        "shares",
        (Decimal("0.15"), Decimal("0.30"), Decimal("0.50")),
        gettext_noop("what stores ask as shares of the usual sale price: low, typical, high"),
    ),
    Setting(
        "label",
        "flag",
        "text",
        Flag.label,
        gettext_noop("what the flag is called on the pages; off takes its name"),
        True,
    ),
    *(
        Setting(
            f"{step}_minutes",
            "flag",
            "minutes",
            getattr(Flag, f"{step}_minutes"),
            why,
            highest=_DAY,
        )
        for step, why in (
            ("clean", gettext_noop("minutes it adds to cleaning, mending and testing")),
            ("photograph", gettext_noop("minutes it adds to photographing")),
            ("list", gettext_noop("minutes it adds to listing")),
            ("pack", gettext_noop("minutes it adds to packing")),
        )
    ),
    Setting("supplies", "flag", "money", Flag.supplies, gettext_noop("supplies it adds")),
    Setting("words", "flag", "words", Flag.words, gettext_noop("words in the text of comps that mean it")),
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
    Setting(
        "label_width",
        "labels",
        "mm",
        LabelSettings.label_width,
        gettext_noop("width of a label"),
        lowest=_ONE * 15,
        highest=Decimal(210),
    ),
    Setting(
        "label_height",
        "labels",
        "mm",
        LabelSettings.label_height,
        gettext_noop("height of a label"),
        lowest=_ONE * 8,
        highest=Decimal(297),
    ),
    Setting(
        "columns",
        "labels",
        "whole",
        LabelSettings.columns,
        gettext_noop("labels side by side"),
        lowest=_ONE,
        highest=Decimal(20),
    ),
    Setting(
        "rows",
        "labels",
        "whole",
        LabelSettings.rows,
        gettext_noop("labels one below the other"),
        lowest=_ONE,
        highest=Decimal(40),
    ),
    Setting(
        "margin_left",
        "labels",
        "mm",
        LabelSettings.margin_left,
        gettext_noop("from the page's left edge to the first label"),
        highest=Decimal(100),
    ),
    Setting(
        "margin_top",
        "labels",
        "mm",
        LabelSettings.margin_top,
        gettext_noop("from the page's upper edge to the first label"),
        highest=Decimal(100),
    ),
    Setting(
        "step_across",
        "labels",
        "mm",
        LabelSettings.step_across,
        gettext_noop("from a label's left edge to the next one's"),
        lowest=_ONE,
        highest=Decimal(210),
    ),
    Setting(
        "step_down",
        "labels",
        "mm",
        LabelSettings.step_down,
        gettext_noop("from a label's upper edge to the next one's"),
        lowest=_ONE,
        highest=Decimal(297),
    ),
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


def of_place(place: Place) -> dict[str, Setting]:
    """Return the settings of one kind of table, by name."""
    return {setting.name: setting for setting in SETTINGS if setting.place == place}


def defaults(place: Place) -> dict[str, Any]:
    """Return the default values of one kind of table."""
    return {name: setting.default for name, setting in of_place(place).items()}
