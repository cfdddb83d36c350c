"""Beside a limit that rests on a dearer asking price than others get: the limit at the price that they get.

How demand goes on above what sellers ask is an estimate. `sourcing.whatif` gives the whole verdict there; this is what
of it stands beside an answer, quick enough for each of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from models.proceeds import net_quantiles, outcomes_at
from sourcing import verdict
from sourcing.answer import Decision, Verdict
from sourcing.forecast import Forecasts, shares_wanted
from sourcing.language import gettext
from sourcing.limits import Outlook
from sourcing.rules import Rules

TOO_FAR = 20.0  # times what such items bring: a price beyond that is a typing error


@dataclass(frozen=True)
class AtOthers:
    """What an answer would be at the price others get."""

    asking_price: Decimal  # what others get
    decision: Decision
    binding_rule: str
    most_worth_paying: Decimal | None  # None: no rule limits it

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping, as `Verdict.as_dict` writes the same fields."""
        return {name: str(value) if isinstance(value, Decimal) else value for name, value in vars(self).items()}

    def words(self, decision: Decision, write: Callable[[Decimal], str]) -> str:
        """Say it as the page of a check does, beside an answer with this decision."""
        price, most = write(self.asking_price), self.most_worth_paying
        said = (
            gettext("Asked at {price}, what others get, no rule limits it.", price=price)
            if most is None
            else gettext(
                "Asked at {price}, what others get, it is worth at most {most}.", price=price, most=write(most)
            )
        )
        if self.decision == decision:
            return said
        return f"{said} {gettext('Then the word is: {word}.', word=gettext(self.decision))}"


def price_of_others(answer: Verdict) -> Decimal | None:
    """Return what others get, where a dearer asking price is advised; None where nothing is to stand beside it."""
    if answer.asking_price is None or answer.sale_price is None or answer.asking_price <= answer.sale_price.high:
        return None
    return answer.sale_price.mid


def outlook_at(was: Forecasts, at: int, price: Decimal, evidence: float, rules: Rules) -> Outlook | None:
    """Return what the rules look at when an item is listed at this price; None where that is absurdly far off."""
    usual, ask = float(np.exp(was.mean[at])), float(price)
    if not usual / TOO_FAR <= ask <= usual * TOO_FAR:
        return None
    outcome = outcomes_at(
        was.prospects.some(np.array([at])), np.array([[ask]]), was.base, was.plan, was.costs, was.haggle,
        rules.target_days,
    )  # fmt: skip
    loss = net_quantiles(np.array([0]), outcome, was.plan, was.costs, was.haggle, shares_wanted(rules)[-1:])
    return Outlook(
        float(verdict.kept(outcome.mean_net[:, 0], verdict.MONEY)[0]),
        float(verdict.kept(outcome.mean_days[:, 0], verdict.TIED)[0]),
        float(verdict.kept(outcome.by_target[:, 0], verdict.CHANCE)[0]) if was.speed_basis else None,
        float(verdict.kept(loss[:, 0], verdict.MONEY)[0]),
        evidence,
    )
