"""The limits of a whole haul, checked before anything is planned."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, separated
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
    _above_nothing("cash", limits.cash, MOST_MONEY)
    _above_nothing("prep_hours", limits.prep_hours, MOST_HOURS)
    _above_nothing("most_in_category", limits.most_in_category, MOST_MONEY)
    most = limits.most_of_style
    if most is not None and not 1 <= most <= MOST_PIECES:
        raise BadInput(
            gettext("At most {most} of one style cannot be planned with.", most=most),
            gettext("A whole number from 1 to {most}.", most=MOST_PIECES),
            gettext("Raise it, or leave the field empty for no limit."),
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
    money = gettext(
        "An amount in {currency} above 0 with at most {digits} decimals, such as {example}.",
        currency=currency,
        digits=digits,
        example="60.50" if digits else "6000",
    )
    accepted = {
        "cash": (digits, money),
        "prep_hours": (2, gettext("Hours above 0 with at most 2 decimals, such as 2.5.")),
        "most_of_style": (0, gettext("A whole number from 1 to {most}.", most=MOST_PIECES)),
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
                gettext("“{text}” cannot be a limit.", text=text[:40]),
                wanted,
                gettext("Type it again, or leave the field empty for no limit."),
                field=name,
            )
        found[name] = Decimal(text.replace(",", ".")) if decimals or name != "most_of_style" else int(text)
    return checked(replace(kept, **found))  # type: ignore[arg-type]


class _Words(NamedTuple):
    """What is said of a limit that cannot be one; ``value`` fills in."""

    no_number: str
    nothing: str
    too_much: str
    accepted: str
    next_step: str
    or_none: str


_MONEY_ABOVE, _HOURS_ABOVE = gettext_noop("A number of money above 0."), gettext_noop("A number of hours above 0.")
_SAID = {
    "cash": _Words(
        gettext_noop("Cash of “{value}” is not a number."),
        gettext_noop("With cash of {value} nothing can be taken."),
        gettext_noop("Cash of {value} is more than can be planned with."),
        _MONEY_ABOVE,
        gettext_noop("Say what you want to spend."),
        gettext_noop("Say what you want to spend, or leave the field empty for no limit."),
    ),
    "prep_hours": _Words(
        gettext_noop("Prep time of “{value}” is not a number."),
        gettext_noop("With prep time of {value} nothing can be taken."),
        gettext_noop("Prep time of {value} is more than can be planned with."),
        _HOURS_ABOVE,
        gettext_noop("Say how long you want to work on it."),
        gettext_noop("Say how long you want to work on it, or leave the field empty for no limit."),
    ),
    "most_in_category": _Words(
        gettext_noop("Cash in one category of “{value}” is not a number."),
        gettext_noop("With cash in one category of {value} nothing can be taken."),
        gettext_noop("Cash in one category of {value} is more than can be planned with."),
        _MONEY_ABOVE,
        gettext_noop("Say how much."),
        gettext_noop("Say how much, or leave the field empty for no limit."),
    ),
}


def _above_nothing(field: str, value: Decimal | None, most: Decimal) -> None:
    if value is None:
        return
    said = _SAID[field]
    if not value.is_finite():
        raise BadInput(
            gettext(said.no_number, value=value), gettext(said.accepted), gettext(said.next_step), field=field
        )
    if value <= 0:
        raise BadInput(gettext(said.nothing, value=value), gettext(said.accepted), gettext(said.or_none), field=field)
    if value > most:
        raise BadInput(
            gettext(said.too_much, value=value),
            gettext("Up to {most}.", most=separated(f"{most:,}")),
            gettext("Lower it, or leave the field empty for no limit."),
            field=field,
        )
