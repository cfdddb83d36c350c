"""How many of the same item to take: what each further copy brings, and where it stops being worth its price."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from models.depth import Copies, each_copy
from sourcing.answer import Copy, Verdict
from sourcing.forecast import Forecasts
from sourcing.language import gettext, gettext_noop
from sourcing.limits import most_for_profit
from sourcing.purchase import Discounts
from sourcing.rules import Rules
from sourcing.terms import Terms
from sourcing.verdict import MONEY, TIED, kept, to_cents

MOST_COPIES = 8
ASSUMES = gettext_noop(
    "It assumes that all are listed together at one asking price, that buyers come one after another and take one "
    "each, and that other sellers' stock does not change."
)
_PLACE = (
    gettext_noop("1st"),
    gettext_noop("2nd"),
    gettext_noop("3rd"),
    gettext_noop("4th"),
    gettext_noop("5th"),
    gettext_noop("6th"),
    gettext_noop("7th"),
    gettext_noop("8th"),
)  # one for each of the most copies


def further_copies(forecasts: Forecasts) -> Copies:
    """Forecast each copy of every item at its chosen asking price; as free of the shelf price as the forecast is."""
    ask = forecasts.of_choice(forecasts.outcome.ask)
    return each_copy(
        forecasts.prospects, ask, forecasts.base, forecasts.plan, forecasts.costs, forecasts.haggle, MOST_COPIES
    )


@dataclass(frozen=True)
class CopyBound:
    """What of one further copy no shelf price changes; money before rounding as floats."""

    net: float
    proceeds: Decimal
    days: int
    sold: float  # rounded as shown
    hold: float  # what a unit of landed cost comes to with the cash tied up
    most: Decimal | None  # highest shelf price at which it and all before it meet the rules; None: no limit


def copy_bounds(
    copies: Copies, at: int, terms: Terms, rules: Rules, discount: Discounts | None
) -> tuple[CopyBound, ...]:
    """Bound each copy of item ``at``: it is worth its price while it and all before it meet least profit and return.

    Every copy bears its own labour and its own cash, for as long as it is expected to take.
    """
    most: Decimal | None = None
    found = []
    nets, waits = kept(copies.mean_net[at], MONEY), kept(copies.mean_days[at], TIED)
    figures = (nets.tolist(), waits.tolist(), copies.sold[at].tolist())
    for net, days, sold in zip(*figures, strict=True):
        own = most_for_profit(rules, terms, net, days, discount)
        most = own if most is None else most if own is None else min(most, own)
        hold = 1.0 + float(terms.capital_rate) * days / 365.0
        found.append(CopyBound(net, to_cents(net), round(days), round(sold, 4), hold, most))
    return tuple(found)


def with_copies(
    verdict: Verdict, bounds: tuple[CopyBound, ...], terms: Terms, write: Callable[[Decimal], str] = str
) -> Verdict:
    """Add to a verdict what each copy brings and how many are worth taking; ``write`` shows an amount.

    The first must be a buy by every rule, which the most worth paying says already.
    """
    if verdict.decision == "too little to go on":
        return verdict
    shelf, landed, top = verdict.shelf_price, verdict.landed_cost, verdict.most_worth_paying
    labour, spent = float(terms.labour()), 0.0 if landed is None else float(landed)
    found = []
    for k, copy in enumerate(bounds):
        most = copy.most if top is None else top if copy.most is None else min(copy.most, top)
        profit = None if landed is None else to_cents(copy.net - (spent * copy.hold + labour))
        worth_it = most is None or (most > 0 and (shelf is None or shelf <= most))
        found.append(Copy(k + 1, copy.proceeds, copy.days, copy.sold, profit, most, worth_it))
    # Without a shelf price each copy has its highest price, and no number of them is the answer.
    count = None if shelf is None else sum(copy.worth_it for copy in found)
    words = "" if count is None else _words(found, count, write)
    return verdict.but(
        {"depth": tuple(found), "worth_taking": count, "depth_words": words, "depth_assumes": gettext(ASSUMES)}
    )


def _words(copies: list[Copy], count: int, write: Callable[[Decimal], str]) -> str:
    """Say in one or two sentences how many to take and what they bring."""

    def profit(copy: Copy) -> str:
        return write(copy.profit or Decimal(0))

    if count == 0:
        return gettext("Take none.")
    first = _taken(copies[:count], profit)
    if count == len(copies):
        more = gettext("More may be worth it too; this looks no further than {number}.", number=count)
    else:
        more = gettext(
            "The {place} would bring {profit}, too little for your rules.",
            place=gettext(_PLACE[count]),
            profit=profit(copies[count]),
        )
    return f"{first} {more}"


def _taken(taken: list[Copy], profit: Callable[[Copy], str]) -> str:
    """Say what each copy that is taken brings: the first two and the last where they are many."""
    count = len(taken)
    if count == 1:
        return gettext("Take 1: the 1st brings {profit}.", profit=profit(taken[0]))
    if count == 2:
        return gettext(
            "Take up to 2: the 1st brings {first}, the 2nd {second}.", first=profit(taken[0]), second=profit(taken[1])
        )
    amounts = {"first": profit(taken[0]), "second": profit(taken[1]), "last": profit(taken[-1])}
    if count == 3:
        return gettext("Take up to 3: the 1st brings {first}, the 2nd {second}, the 3rd {last}.", **amounts)
    return gettext(
        "Take up to {number}: the 1st brings {first}, the 2nd {second}, and so on to the {place} {last}.",
        number=count,
        place=gettext(_PLACE[count - 1]),
        **amounts,
    )
