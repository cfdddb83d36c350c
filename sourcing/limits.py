"""From a forecast to limits: the highest shelf price at which each rule still holds; the lowest one binds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from sourcing.answer import Decision, Limit
from sourcing.money import cents
from sourcing.rules import Rules
from sourcing.terms import Terms


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
    discount: Decimal | None = None,
    write: Callable[[Decimal], str] = str,
) -> tuple[Limit, ...]:
    """Return one limit for every rule that is on; ``write`` shows an amount of money.

    Every rule is monotone in the shelf price: it holds up to its limit and at no price above it. With expected
    net proceeds N, labour w and cash held at rate r for d days, profit at landed cost L is N - w - L(1 + r d/365).
    """
    hold = 1.0 + float(terms.capital_rate) * outlook.tied_days / 365.0
    left = outlook.mean_net - float(terms.labour())
    found: list[tuple[str, str, float]] = []
    if rules.least_profit is not None:
        found.append(
            (
                "least_profit",
                f"Expected profit of at least {write(cents(rules.least_profit))}",
                (left - float(rules.least_profit)) / hold,
            )
        )
    if rules.least_return is not None:
        found.append(
            (
                "least_return",
                f"Expected profit of at least {rules.least_return:.0%} of the landed cost",
                left / (hold + float(rules.least_return)),
            )
        )
    if rules.wanted_chance is not None and outlook.chance_by_target is not None:
        fails = outlook.chance_by_target < float(rules.wanted_chance)
        found.append(
            (
                "wanted_chance",
                f"Sold within {rules.target_days} days with a chance of {rules.wanted_chance:.0%}: "
                f"it is {outlook.chance_by_target:.0%}",
                0.0 if fails else math.inf,
            )
        )
    if rules.most_loss_chance is not None:
        found.append(
            (
                "most_loss_chance",
                f"A chance of loss of at most {rules.most_loss_chance:.0%}",
                (outlook.loss_net - float(terms.labour())) / hold,
            )
        )
    return tuple(_limit(rule, meaning, landed, terms, shelf, discount) for rule, meaning, landed in found)


def _limit(
    rule: str, meaning: str, landed: float, terms: Terms, shelf: Decimal | None, discount: Decimal | None
) -> Limit:
    if math.isinf(landed):
        return Limit(rule, meaning, None, True)
    # To a millionth, so that binary rounding does not turn a limit of 30 into 29.99.
    bound = Decimal(f"{landed:.6f}")
    most = terms.shelf_for_landed(bound, discount) if bound >= 0 else Decimal("0.00")
    return Limit(rule, meaning, most, shelf is None or (most > 0 and shelf <= most))


def decide(found: tuple[Limit, ...], shelf: Decimal | None) -> tuple[Decision, str, Decimal | None]:
    """Compare the shelf price with the lowest limit: (decision, binding rule, most worth paying)."""
    bound = [limit for limit in found if limit.most is not None]
    if not bound:
        return "buy", "", None
    lowest = min(bound, key=lambda limit: limit.most or Decimal(0))
    assert lowest.most is not None
    buy = lowest.most > 0 and (shelf is None or shelf <= lowest.most)
    return ("buy" if buy else "pass"), lowest.rule, lowest.most
