"""Settings in words: what each is called on a page, its unit, and its value as people write it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from sourcing.settings_edit import UNSAID, Difference
from sourcing.settings_table import Setting, of_place
from web.filters import money, percent, plain

LABELS = {
    "most_loss_chance": "Most chance of a loss",
    "wanted_chance": "Chance of a sale in time",
    "target_days": "Days within which it should sell",
    "least_comps": "Least evidence",
    "least_return": "Least profit of the landed cost",
    "objective": "What the asking price is for",
    "channel": "Sold on",
    "packed_weight": "Weight packed",
    "packed_size": "Size packed",
    "prep_minutes": "Prep of one item",
    "hourly_value": "An hour of yours",
    "capital_rate": "Cost of cash, a year",
    "return_rate": "Sales that come back",
    "return_value_lost": "Value lost on a return",
    "cuts": "Price cuts",
    "salvage": "Got when given up",
    "assumed_days": "Days to sell, if unknown",
    "most_of_style": "Most pieces of one style",
    "most_in_category": "Most cash in one category",
    "cash": "Cash for one haul",
    "prep_hours": "Prep for one haul",
    "codes": "Printed to be scanned",
    "names": "Print the name too",
    "page": "Paper",
    "columns": "Side by side",
    "rows": "One below the other",
    "step_across": "From one to the next, across",
    "step_down": "From one to the next, down",
}
UNITS = {
    "share": "%",
    "minutes": "min",
    "grams": "g",
    "days": "days",
    "hours": "hours",
    "pieces": "pieces",
    "count": "sales",
    "mm": "mm",
    "cm3": "cm³",
    "cm3 per kg": "cm³ per kg",
}


_MEANINGS = {  # where a page asks in another way than the file
    "channel": "where it is sold; of several ticked, each item is judged on the one that is best for it",
}


def label(setting: Setting | str) -> str:
    """Return what a setting is called on the pages."""
    name = setting if isinstance(setting, str) else setting.name
    return LABELS.get(name) or name.replace("_", " ").capitalize()


def meaning(setting: Setting) -> str:
    """Return the one line of what a setting means."""
    text = _MEANINGS.get(setting.name) or setting.help.removeprefix("rule: ")
    return text[:1].upper() + text[1:]


def shown(setting: Setting, value: Any) -> str:
    """Return a value with its unit, as a sentence of a page has it."""
    if value is None:
        return "off"
    if setting.unit == "share":
        return percent(value)
    if setting.unit == "money":
        return money(value)
    if isinstance(value, tuple):
        return _list(setting, value)
    if isinstance(value, date):
        return value.isoformat()
    unit = UNITS.get(setting.unit, "")
    return f"{plain(value)}\N{NO-BREAK SPACE}{unit}" if unit else plain(value)


def _list(setting: Setting, value: tuple[Any, ...]) -> str:
    if setting.unit == "sides":
        return " × ".join(map(plain, value)) + "\N{NO-BREAK SPACE}cm"
    if setting.unit == "cuts":
        return ", ".join(f"{percent(share)} off from day {day}" for day, share in value) or "none"
    if setting.unit == "steps":
        return ", ".join(f"to {grams}\N{NO-BREAK SPACE}g {' / '.join(map(money, prices))}" for grams, *prices in value)
    if setting.unit in ("shares", "zones"):
        return ", ".join(map(percent, value))
    if setting.unit == "brackets":
        return ", ".join(
            f"{percent(share)}{f' from {money(start)}' if start else ''}{f' + {money(flat)}' if flat else ''}"
            for start, share, flat in value
        )
    if all(isinstance(part, str) for part in value):
        return ", ".join(value) or "none"
    return f"{len(value)} of them" if value else "none"


def told(found: Iterable[Difference], most: int = 4) -> str:
    """Say in one line what was changed."""
    lines = []
    for one in found:
        place = "category" if one.table == "default" else one.table
        setting = of_place(place).get(one.setting)
        unsaid = "default" if one.table == "category" else "not set"
        was, now = (
            unsaid if value is UNSAID else shown(setting, value) if setting else str(value)
            for value in (one.was, one.now)
        )
        if setting is None:  # a channel's schedules, which are no one value
            was, now = ("short" if one.was is UNSAID else "old"), ("short" if one.now is UNSAID else "new")
        where = one.name or {"default": "every category", "parcel": "parcels", "haul": "haul", "labels": "labels"}.get(
            one.table, ""
        )
        lines.append(f"{where}{': ' if where else ''}{label(one.setting).lower()} {was} → {now}")
    rest = len(lines) - most
    return "; ".join(lines[:most]) + (f"; and {rest} more" if rest > 0 else "")
