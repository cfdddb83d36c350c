"""From a forecast to limits: the highest shelf price at which each rule still holds; the lowest one binds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from sourcing.answer import Decision, Limit
from sourcing.language import gettext, separated
from sourcing.money import cents
from sourcing.purchase import Discounts
from sourcing.rules import Rules
from sourcing.terms import Terms

_NEVER = -1.0  # a landed cost that no price has, an amount off it or not


@dataclass(frozen=True)
class Outlook:
    """What the rules look at; money as floats before it is rounded at the edge."""

    mean_net: float  # expected net proceeds, before labour and purchase
    tied_days: float  # expected days the cash is tied up
    chance_by_target: float | None  # None: the time to sell is not known
    loss_net: float  # the quantile of net proceeds at the largest acceptable chance of loss
    evidence: float  # worth how many sales of this very item


def limits(
    rules: Rules,
    terms: Terms,
    outlook: Outlook,
    shelf: Decimal | None,
    discount: Discounts | None = None,
    write: Callable[[Decimal], str] = str,
) -> tuple[Limit, ...]:
    """Return one limit for every rule that is on; ``write`` shows an amount of money.

    Every rule is monotone in the shelf price: it holds up to its limit and at no price above it. With expected
    net proceeds N, labour w and cash held at rate r for d days, profit at landed cost L is N - w - L(1 + r d/365).
    """
    hold = 1.0 + float(terms.capital_rate) * outlook.tied_days / 365.0
    by_profit, by_return = _profit_bounds(rules, terms, outlook.mean_net, hold)
    found: list[tuple[str, str, float]] = []
    if rules.least_profit is not None:
        meaning = gettext("Expected profit of at least {amount}", amount=write(cents(rules.least_profit)))
        found.append(("least_profit", meaning, by_profit))
    if rules.least_return is not None:
        meaning = gettext(
            "Expected profit of at least {share} of the landed cost", share=separated(f"{rules.least_return:.0%}")
        )
        found.append(("least_return", meaning, by_return))
    if rules.wanted_chance is not None and outlook.chance_by_target is not None:
        fails = outlook.chance_by_target < float(rules.wanted_chance)
        found.append(
            (
                "wanted_chance",
                gettext(
                    "Sold within {days} days with a chance of {wanted}: it is {chance}",
                    days=rules.target_days,
                    wanted=separated(f"{rules.wanted_chance:.0%}"),
                    chance=separated(f"{outlook.chance_by_target:.0%}"),
                ),
                _NEVER if fails else math.inf,
            )
        )
    if rules.most_loss_chance is not None:
        found.append(
            (
                "most_loss_chance",
                gettext("A chance of loss of at most {chance}", chance=separated(f"{rules.most_loss_chance:.0%}")),
                (outlook.loss_net - float(terms.labour())) / hold,
            )
        )
    return at_price(tuple(_limit(rule, meaning, landed, terms, discount) for rule, meaning, landed in found), shelf)


def at_price(found: tuple[Limit, ...], shelf: Decimal | None) -> tuple[Limit, ...]:
    """Say of each limit whether its rule holds at the shelf price; nothing else of a limit depends on it."""
    if shelf is None:
        return found
    return tuple(
        limit
        if limit.most is None or (limit.most > 0 and shelf <= limit.most)
        else Limit(limit.rule, limit.meaning, limit.most, False)
        for limit in found
    )


def most_for_profit(
    rules: Rules, terms: Terms, mean_net: float, tied_days: float, discount: Discounts | None = None
) -> Decimal | None:
    """Return the highest shelf price at which least profit and least return both hold; None where both are off."""
    hold = 1.0 + float(terms.capital_rate) * tied_days / 365.0
    landed = min(_profit_bounds(rules, terms, mean_net, hold))
    return None if math.isinf(landed) else _shelf(landed, terms, discount)


def _profit_bounds(rules: Rules, terms: Terms, mean_net: float, hold: float) -> tuple[float, float]:
    """Highest landed costs by least profit and by least return; infinite where that rule is off."""
    left = mean_net - float(terms.labour())
    by_profit = math.inf if rules.least_profit is None else (left - float(rules.least_profit)) / hold
    by_return = math.inf if rules.least_return is None else left / (hold + float(rules.least_return))
    return by_profit, by_return


def _shelf(landed: float, terms: Terms, discount: Discounts | None) -> Decimal:
    # To a millionth, so that binary rounding does not turn a limit of 30 into 29.99.
    bound = Decimal(f"{landed:.6f}")
    return terms.shelf_for_landed(bound, discount) if bound >= 0 else Decimal("0.00")


def _limit(rule: str, meaning: str, landed: float, terms: Terms, discount: Discounts | None) -> Limit:
    return Limit(rule, meaning, None if math.isinf(landed) else _shelf(landed, terms, discount), True)


def decide(found: tuple[Limit, ...], shelf: Decimal | None) -> tuple[Decision, str, Decimal | None]:
    """Compare the shelf price with the lowest limit: (decision, binding rule, most worth paying)."""
    bound = [limit for limit in found if limit.most is not None]
    if not bound:
        return "buy", "", None
    lowest = min(bound, key=lambda limit: limit.most or Decimal(0))
    assert lowest.most is not None
    buy = lowest.most > 0 and (shelf is None or shelf <= lowest.most)
    return ("buy" if buy else "pass"), lowest.rule, lowest.most
