"""The limits of a whole haul, checked before anything is planned."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from sourcing.errors import BadInput
from sourcing.money import minor_digits
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


def read_limits(texts: Mapping[str, str], kept: HaulLimits, currency: str) -> HaulLimits:
    """Read limits as they were typed, by their names; one that is not named stays as ``kept`` has it.

    An empty text, or “off”, is no limit. Point and comma both do as the decimal mark.

    Raises
    ------
    BadInput
        A limit is not a number above 0; ``field`` names it.
    """
    digits = minor_digits(currency)
    money = f"an amount in {currency} above 0 with at most {digits} decimals, such as {'60.50' if digits else '6000'}"
    accepted = {
        "cash": (digits, money),
        "prep_hours": (2, "hours above 0 with at most 2 decimals, such as 2.5"),
        "most_of_style": (0, f"a whole number from 1 to {MOST_PIECES}"),
        "most_in_category": (digits, money),
    }
    found: dict[str, Decimal | int | None] = {}
    for name, (decimals, wanted) in accepted.items():
        if name not in texts:
            continue
        text = texts[name].strip()
        if text.casefold() in ("", "off"):
            found[name] = None
            continue
        pattern = rf"[0-9]{{1,9}}([.,][0-9]{{1,{decimals}}})?" if decimals else "[0-9]{1,9}"
        if not re.fullmatch(pattern, text):
            raise BadInput(
                f"“{text[:40]}” cannot be a limit.",
                f"{wanted[0].upper()}{wanted[1:]}.",
                "Type it again, or leave the field empty for no limit.",
                field=name,
            )
        found[name] = Decimal(text.replace(",", ".")) if decimals or name != "most_of_style" else int(text)
    return checked(replace(kept, **found))  # type: ignore[arg-type]


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
