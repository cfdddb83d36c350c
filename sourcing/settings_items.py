"""Settings of a category and of a flag: what one item costs beside its channel, and what it must bring."""

from __future__ import annotations

from decimal import Decimal

from sourcing.labour import LEARNING, Flag
from sourcing.language import gettext_noop
from sourcing.rules import OBJECTIVES, Rules
from sourcing.setting import Setting
from sourcing.terms import EXEMPTIONS, PAYERS, PriceCutPlan, Terms

_MOST = Decimal("0.95")
_ONE = Decimal(1)
_DAY = Decimal(1440)  # minutes

ITEMS: tuple[Setting, ...] = (
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
)
"""In the order of the settings file."""
