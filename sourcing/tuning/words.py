"""The bench in words: what a rule means, what it rests on, what was found and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from sourcing.language import gettext, gettext_noop, separated
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
    "least_profit": gettext_noop("Buy only what is expected to leave at least this much."),
    "least_return": gettext_noop("Buy only what is expected to leave at least this share of its landed cost."),
    "wanted_chance": gettext_noop("Buy only what sells in time with at least this chance."),
    "most_loss_chance": gettext_noop("Buy only what loses money with at most this chance."),
    "least_comps": gettext_noop("Buy only what is known as well as by so many sales of its own."),
}
NOTES = (
    gettext_noop(
        "What an item you did not sell would have brought is told by later listings of the same item: when they would "
        "have sold at your asking price and under your price cuts. That is an estimate, and its error is in the bands."
    ),
    gettext_noop(
        "Gains are those of choosing by the earlier days and other items: no day and no item is scored that had a part "
        "in the choice. One suggestion in twenty may still be luck; look at several rules and one may look good by "
        "chance."
    ),
    gettext_noop(
        "Every piece is taken as bought once. That many bought at once press on each other's prices is not in it."
    ),
)
NOTHING_NOTE = gettext_noop(
    "Too few to tell: no occasion could be replayed. Needed are comps that name the days they were listed and ended, "
    "over some months, and listings of the same items after the day of each occasion."
)
DRAWN_NOTE = gettext_noop(
    "Occasions were drawn, not yours: shelf prices come from how your settings describe your stores (rack_prices), "
    "items from what was on the market. Totals are of the occasions drawn and foretell no turnover."
)
SOLD_ONLY_NOTE = gettext_noop(
    "The comps hold sales only, no listing that stayed unsold. What never sold is missing, so that outcomes look too "
    "rosy."
)


def source(drawn: bool, occasions: int, styles: int) -> str:
    """Say where the occasions come from."""
    if drawn:
        return gettext(
            "{occasions} occasions drawn for {items} items of your comps, at shelf prices as your settings describe "
            "your stores: your own checks are too few, or too recent, to replay.",
            occasions=occasions,
            items=styles,
        )
    return gettext("{occasions} of your own checks and buys, of {items} items.", occasions=occasions, items=styles)


def said_left_out(counts: Mapping[str, int]) -> tuple[tuple[str, int], ...]:
    """Say why occasions were left out, each reason with how many."""
    return tuple((gettext(why), count) for why, count in sorted(counts.items()))


def threshold(rule: str, value: Decimal | None, currency: str = "") -> str:
    """Write one threshold of a rule."""
    if value is None:
        return gettext("off")
    if UNITS[rule] == "share":
        part = f"{value * 100:f}"
        return separated((part.rstrip("0").rstrip(".") if "." in part else part) + "%")
    if UNITS[rule] == "money":
        return f"{separated(f'{value:.2f}')} {currency}".strip()
    return f"{value:f}"


def amount(objective: str, value: float, currency: str) -> str:
    """Write an amount in the unit of an objective."""
    if objective == "profit":
        return f"{separated(f'{value:,.0f}')} {currency}"
    if objective == "per hour":
        return gettext("{amount} {currency} an hour", amount=separated(f"{value:,.2f}"), currency=currency)
    if objective == "per cash":
        return gettext("{amount} a year per unit of cash", amount=separated(f"{value:,.2f}"))
    return gettext("{amount} points", amount=separated(f"{value:.3f}"))


def band(objective: str, values: Band, currency: str) -> str:
    """Write a band as “from … to …”."""
    low, high = (amount(objective, value, currency) for value in (values.low, values.high))
    return gettext("from {low} to {high}", low=low, high=high)


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
        return gettext(
            "Too few to tell: {why}. Today's setting, {now}, stays as good a guess as any.", why=gain.why, now=now
        )
    if best == today:
        return gettext("Today's setting, {now}, is the best for {aim}.", now=now, aim=gettext(OBJECTIVES[objective]))
    said = {
        "there": threshold(rule, tried[best], currency),
        "gain": _say(objective, gain.amount.mid, currency),
        "band": band(objective, gain.amount, currency),
    }
    if gain.enough:
        told = gettext(
            "{there} instead of today's {now}: choosing by the earlier days brought {gain} over today's on later ones "
            "({band}).",
            now=now,
            **said,
        )
    else:
        told = gettext(
            "Too few to tell: {there} looks best for {aim}, but choosing by the earlier days brought {gain} over "
            "today's on later ones ({band}), which holds 0.",
            aim=gettext(OBJECTIVES[objective]),
            **said,
        )
    if gain.in_sample is None:
        return told
    flattering = gettext(
        "Chosen on those days themselves it would look like {gain}.", gain=_say(objective, gain.in_sample, currency)
    )
    return f"{told} {flattering}"


def why(category: str, rule: str, value: Decimal | None, objective: str, gain: Gain, currency: str) -> str:
    """Say why a setting is changed, for the list of kept settings."""
    assert gain.amount is not None
    return gettext(
        "Tuned {rule} of {category} to {value} for {aim}: out of sample {gain} ({band})",
        rule=rule,
        category=category or "default",
        value=threshold(rule, value, currency),
        aim=gettext(OBJECTIVES[objective]),
        gain=_say(objective, gain.amount.mid, currency),
        band=band(objective, gain.amount, currency),
    )


def _say(objective: str, value: float, currency: str) -> str:
    return f"{'+' if value >= 0 else ''}{amount(objective, value, currency)}"
