"""Limits of the whole haul in words: what is used of each, and by how much one is broken."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from typing import NamedTuple

from sourcing.haul_use import Use
from sourcing.rejudge import Change
from sourcing.settings_table import of_place
from web.settings_words import label, shown


class Told(NamedTuple):
    """One limit as a page tells it."""

    name: str
    used: str  # “$12.00 / $60.00”
    over: str  # “$3.00 too much”, or ""
    left: str  # “$48.00 left”


def told(use: Use) -> Told:
    """Tell one limit."""
    left = use.most - use.used
    return Told(
        f"{label(use.limit)}{f': {use.what}' if use.what else ''}",
        f"{_amount(use.limit, use.used)} / {_amount(use.limit, use.most)}",
        f"{_amount(use.limit, use.over)} too much" if use.over else "",
        f"{_amount(use.limit, max(left, Decimal(0)))} left",
    )


class Both(NamedTuple):
    """One limit before and after a change of the settings."""

    name: str
    before: str
    after: str


def both(change: Change | None) -> list[Both]:
    """Tell what a change does to the limits."""
    found = []
    for was, now in change.haul_limits if change is not None else ():
        use = now or was
        assert use is not None
        found.append(Both(told(use).name, _state(was), _state(now)))
    return found


def _state(use: Use | None) -> str:
    if use is None:
        return "off"
    found = told(use)
    return f"{found.used}, {found.over or 'it holds'}"


def _amount(limit: str, value: Decimal) -> str:
    if limit == "prep_hours":  # a broken limit must not read as if it held
        value = value.quantize(Decimal("0.1"), ROUND_CEILING)
    text = shown(of_place("haul")[limit], value)
    return text.removesuffix("s") if limit == "most_of_style" and value == 1 else text
