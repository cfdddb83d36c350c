"""The limits of a whole haul, checked before anything is planned."""

from __future__ import annotations

from decimal import Decimal

from sourcing.errors import BadInput
from sourcing.rules import HaulLimits

MOST_MONEY = Decimal(1_000_000)
MOST_HOURS = Decimal(10_000)
MOST_PIECES = 999


def checked(limits: HaulLimits) -> HaulLimits:
    """Return the limits as they are when something can be planned within them.

    Raises
    ------
    BadInput
        A limit is not a number, not above 0, or beyond all reason; ``field`` names it.
    """
    _above_nothing("cash", "Cash", limits.cash, MOST_MONEY, "money", "Say what you want to spend")
    _above_nothing(
        "prep_hours", "Prep time", limits.prep_hours, MOST_HOURS, "hours", "Say how long you want to work on it"
    )
    _above_nothing(
        "most_in_category", "Cash in one category", limits.most_in_category, MOST_MONEY, "money", "Say how much"
    )
    most = limits.most_of_style
    if most is not None and not 1 <= most <= MOST_PIECES:
        raise BadInput(
            f"At most {most} of one style cannot be planned with.",
            f"A whole number from 1 to {MOST_PIECES}.",
            "Raise it, or leave the field empty for no limit.",
            field="most_of_style",
        )
    return limits


def _above_nothing(field: str, name: str, value: Decimal | None, most: Decimal, unit: str, do: str) -> None:
    if value is None:
        return
    if not value.is_finite():
        raise BadInput(f"{name} of “{value}” is not a number.", f"A number of {unit} above 0.", f"{do}.", field=field)
    if value <= 0:
        raise BadInput(
            f"With {name.lower()} of {value} nothing can be taken.",
            f"A number of {unit} above 0.",
            f"{do}, or leave the field empty for no limit.",
            field=field,
        )
    if value > most:
        raise BadInput(
            f"{name} of {value} is more than can be planned with.",
            f"Up to {most:,}.",
            "Lower it, or leave the field empty for no limit.",
            field=field,
        )
