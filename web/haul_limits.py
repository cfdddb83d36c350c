"""Limits of the whole haul in words: what is used of each, and by how much one is broken."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from typing import NamedTuple

from sourcing.haul_use import Use
from sourcing.language import gettext, ngettext
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
        gettext("{amount} too much", amount=_amount(use.limit, use.over)) if use.over else "",
        gettext("{amount} left", amount=_amount(use.limit, max(left, Decimal(0)))),
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
        return gettext("off")
    found = told(use)
    return f"{found.used}, {found.over or gettext('it holds')}"


def _amount(limit: str, value: Decimal) -> str:
    if limit == "prep_hours":  # a broken limit must not read as if it held
        value = value.quantize(Decimal("0.1"), ROUND_CEILING)
    if limit == "most_of_style":
        return ngettext("{count}\N{NO-BREAK SPACE}piece", "{count}\N{NO-BREAK SPACE}pieces", int(value))
    return shown(of_place("haul")[limit], value)
