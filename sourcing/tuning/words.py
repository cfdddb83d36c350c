"""The bench in words: what a rule means, what it rests on, what was found and how sure it is."""

from __future__ import annotations

from decimal import Decimal

from sourcing.tuning.aims import OBJECTIVES
from sourcing.tuning.buys import Thresholds
from sourcing.tuning.result import Band, Gain

UNITS = {
    "least_profit": "money",
    "least_return": "share",
    "wanted_chance": "share",
    "most_loss_chance": "share",
    "least_comps": "count",
}
MEANINGS = {
    "least_profit": "Buy only what is expected to leave at least this much.",
    "least_return": "Buy only what is expected to leave at least this share of its landed cost.",
    "wanted_chance": "Buy only what sells in time with at least this chance.",
    "most_loss_chance": "Buy only what loses money with at most this chance.",
    "least_comps": "Buy only what is known as well as by so many sales of its own.",
}
NOTES = (
    "What an item you did not sell would have brought is told by later listings of the same item: when they would have "
    "sold at your asking price and under your price cuts. That is an estimate, and its error is in the bands.",
    "Gains are those of choosing by the earlier days and other items: no day and no item is scored that had a part in "
    "the choice. One suggestion in twenty may still be luck; look at several rules and one may look good by chance.",
    "Every piece is taken as bought once. That many bought at once press on each other's prices is not in it.",
)
NOTHING_NOTE = (
    "Too few to tell: no occasion could be replayed. Needed are comps that name the days they were listed and ended, "
    "over some months, and listings of the same items after the day of each occasion."
)
DRAWN_NOTE = (
    "Occasions were drawn, not yours: shelf prices come from how your settings describe your stores (rack_prices), "
    "items from what was on the market. Totals are of the occasions drawn and foretell no turnover."
)
SOLD_ONLY_NOTE = (
    "The comps hold sales only, no listing that stayed unsold. What never sold is missing, so that outcomes look too "
    "rosy."
)


def source(drawn: bool, occasions: int, styles: int) -> str:
    """Say where the occasions come from."""
    if drawn:
        return (
            f"{occasions} occasions drawn for {styles} items of your comps, at shelf prices as your settings describe "
            "your stores: your own checks are too few, or too recent, to replay."
        )
    return f"{occasions} of your own checks and buys, of {styles} items."


def threshold(rule: str, value: Decimal | None, currency: str = "") -> str:
    """Write one threshold of a rule."""
    if value is None:
        return "off"
    if UNITS[rule] == "share":
        return f"{value * 100:f}".rstrip("0").rstrip(".") + " %" if "." in f"{value * 100:f}" else f"{value * 100:f} %"
    if UNITS[rule] == "money":
        return f"{value:.2f} {currency}".strip()
    return f"{value:f}"


def amount(objective: str, value: float, currency: str) -> str:
    """Write an amount in the unit of an objective."""
    if objective == "profit":
        return f"{value:,.0f} {currency}"
    if objective == "per hour":
        return f"{value:,.2f} {currency} an hour"
    if objective == "per cash":
        return f"{value:,.2f} a year per unit of cash"
    return f"{value:.3f} points"


def band(objective: str, values: Band, currency: str) -> str:
    """Write a band as “from … to …”."""
    return f"from {amount(objective, values.low, currency)} to {amount(objective, values.high, currency)}"


def verdict(
    rule: str,
    objective: str,
    tried: Thresholds,
    today: int,
    best: int | None,
    gain: Gain,
    currency: str,
) -> str:
    """Say what was found, in a few sentences."""
    now = threshold(rule, tried[today], currency)
    if best is None or gain.amount is None:
        return f"Too few to tell: {gain.why}. Today's setting, {now}, stays as good a guess as any."
    there = threshold(rule, tried[best], currency)
    flattering = ""
    if gain.in_sample is not None:
        flattering = f" Chosen on those days themselves it would look like {_say(objective, gain.in_sample, currency)}."
    scored = (
        f"choosing by the earlier days brought {_say(objective, gain.amount.mid, currency)} over today's on later ones "
        f"({band(objective, gain.amount, currency)})"
    )
    if gain.enough and best != today:
        return f"{there} instead of today's {now}: {scored}.{flattering}"
    if best == today:
        return f"Today's setting, {now}, is the best for {OBJECTIVES[objective]}."
    return f"Too few to tell: {there} looks best for {OBJECTIVES[objective]}, but {scored}, which holds 0.{flattering}"


def why(category: str, rule: str, value: Decimal | None, objective: str, gain: Gain, currency: str) -> str:
    """Say why a setting is changed, for the list of kept settings."""
    assert gain.amount is not None
    return (
        f"Tuned {rule} of {category or 'default'} to {threshold(rule, value, currency)} for {OBJECTIVES[objective]}: "
        f"out of sample {_say(objective, gain.amount.mid, currency)} ({band(objective, gain.amount, currency)})"
    )


def _say(objective: str, value: float, currency: str) -> str:
    return f"{'+' if value >= 0 else ''}{amount(objective, value, currency)}"
