"""The user's rules for a buy; each is monotone in the shelf price, and None is off."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from sourcing.language import gettext_noop

PROFIT, A_DAY, DEAREST = OBJECTIVES = (
    gettext_noop("most profit"),
    gettext_noop("most profit a day"),
    gettext_noop("dearest in time"),
)


@dataclass(frozen=True)
class Rules:
    """Rules of one category; shares are 0 to 1. The figures are starting points, not advice.

    ``objective`` is no rule for a buy: it says which asking price to list at, one of `OBJECTIVES`.
    """

    least_profit: Decimal | None = Decimal("8.00")
    least_return: Decimal | None = Decimal("0.25")
    target_days: int = 60
    wanted_chance: Decimal | None = Decimal("0.50")
    most_loss_chance: Decimal | None = Decimal("0.35")
    least_comps: Decimal | None = Decimal("0.15")
    objective: str = PROFIT


@dataclass(frozen=True)
class HaulLimits:
    """Rules of the whole haul; None is off."""

    cash: Decimal | None = None
    prep_hours: Decimal | None = None
    most_of_style: int | None = None
    most_in_category: Decimal | None = None  # cash
