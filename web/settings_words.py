"""Settings in words: what each is called on a page, its unit, and its value as people write it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from sourcing.language import gettext, gettext_noop
from sourcing.purchase import Discounts
from sourcing.settings_edit import UNSAID, Difference
from sourcing.settings_table import Setting, of_place
from web.filters import capital, inside, money, percent, plain, written

LABELS = {
    "most_loss_chance": gettext_noop("Most chance of a loss"),
    "wanted_chance": gettext_noop("Chance of a sale in time"),
    "target_days": gettext_noop("Days within which it should sell"),
    "least_comps": gettext_noop("Least evidence"),
    "least_return": gettext_noop("Least profit of the landed cost"),
    "objective": gettext_noop("What the asking price is for"),
    "channel": gettext_noop("Sold on"),
    "packed_weight": gettext_noop("Weight packed"),
    "packed_size": gettext_noop("Size packed"),
    "prep_minutes": gettext_noop("Prep of one item"),
    "learn_minutes": gettext_noop("Learn from your timed batches"),
    "hourly_value": gettext_noop("An hour of yours"),
    "capital_rate": gettext_noop("Cost of cash, a year"),
    "return_rate": gettext_noop("Sales that come back"),
    "return_value_lost": gettext_noop("Value lost on a return"),
    "cuts": gettext_noop("Price cuts"),
    "salvage": gettext_noop("Got when given up"),
    "assumed_days": gettext_noop("Days to sell, if unknown"),
    "most_of_style": gettext_noop("Most pieces of one style"),
    "most_in_category": gettext_noop("Most cash in one category"),
    "cash": gettext_noop("Cash for one haul"),
    "prep_hours": gettext_noop("Prep for one haul"),
    "codes": gettext_noop("Printed to be scanned"),
    "names": gettext_noop("Print the name too"),
    "page": gettext_noop("Paper"),
    "columns": gettext_noop("Side by side"),
    "rows": gettext_noop("One below the other"),
    "step_across": gettext_noop("From one to the next, across"),
    "step_down": gettext_noop("From one to the next, down"),
    "locale": gettext_noop("Locale"),
    "currency": gettext_noop("Currency"),
    "postage_table": gettext_noop("Postage table"),
    "zone_shares": gettext_noop("Zone shares"),
    "volume_divisor": gettext_noop("Volume divisor"),
    "volume_divisor_dated": gettext_noop("Volume divisor dated"),
    "volume_from": gettext_noop("Volume from"),
    "weight_step": gettext_noop("Weight step"),
    "side_rounding": gettext_noop("Side rounding"),
    "fee_rate": gettext_noop("Fee rate"),
    "fee_fixed": gettext_noop("Fee fixed"),
    "fee_cap": gettext_noop("Fee cap"),
    "shipping": gettext_noop("Shipping"),
    "buyer_tax": gettext_noop("Buyer tax"),
    "fees_refunded": gettext_noop("Fees refunded"),
    "postage": gettext_noop("Postage"),
    "supplies": gettext_noop("Supplies"),
    "purchase_tax": gettext_noop("Purchase tax"),
    "resale_exemption": gettext_noop("Resale exemption"),
    "store_discount": gettext_noop("Store discount"),
    "clean_minutes": gettext_noop("Clean minutes"),
    "photograph_minutes": gettext_noop("Photograph minutes"),
    "list_minutes": gettext_noop("List minutes"),
    "pack_minutes": gettext_noop("Pack minutes"),
    "return_way_back": gettext_noop("Return way back"),
    "return_outward_lost": gettext_noop("Return outward lost"),
    "give_up_day": gettext_noop("Give up day"),
    "least_profit": gettext_noop("Least profit"),
    "rack_prices": gettext_noop("Rack prices"),
    "label": gettext_noop("Label"),
    "words": gettext_noop("Words"),
    "pattern": gettext_noop("Pattern"),
    "year_starts": gettext_noop("The year begins on"),
    "distance": gettext_noop("Distance in"),
    "mileage": gettext_noop("Cost of driving"),
    "label_width": gettext_noop("Label width"),
    "label_height": gettext_noop("Label height"),
    "margin_left": gettext_noop("Margin left"),
    "margin_top": gettext_noop("Margin top"),
    "share": gettext_noop("Share"),
    "by": gettext_noop("By"),
    "least": gettext_noop("Least"),
    "most": gettext_noop("Most"),
    "fixed": gettext_noop("Fixed"),
    "on": gettext_noop("On"),
    "only": gettext_noop("Only"),
}
UNITS = {
    "share": "%",
    "minutes": gettext_noop("min"),
    "grams": "g",
    "days": gettext_noop("days"),
    "hours": gettext_noop("hours"),
    "pieces": gettext_noop("pieces"),
    "count": gettext_noop("sales"),
    "mm": "mm",
    "cm3": "cm³",
    "cm3 per kg": gettext_noop("cm³ per kg"),
}


_MEANINGS = {  # where a page asks in another way than the file
    "currency": gettext_noop(
        "the one currency of all amounts, as its ISO 4217 code. Amounts are not converted when it is changed: 10.00 "
        "stays 10.00, in the new one. Comps in another currency do not count"
    ),
    "channel": gettext_noop("where it is sold; of several ticked, each item is judged on the one that is best for it"),
}


_WHERE = {  # tables of the settings that have no name of the user's
    "default": gettext_noop("every category"),
    "parcel": gettext_noop("parcels"),
    "haul": gettext_noop("haul"),
    "labels": gettext_noop("labels"),
    "business": gettext_noop("books and mileage"),
}


def label(setting: Setting | str) -> str:
    """Return what a setting is called on the pages."""
    name = setting if isinstance(setting, str) else setting.name
    return gettext(LABELS.get(name) or name.replace("_", " ").capitalize())


def meaning(setting: Setting) -> str:
    """Return the one line of what a setting means."""
    text = gettext(_MEANINGS.get(setting.name) or setting.help)
    return capital(text.removeprefix(gettext("rule: ")))


def shown(setting: Setting, value: Any) -> str:
    """Return a value with its unit, as a sentence of a page has it."""
    if value is None:
        return gettext("off")
    if setting.unit == "share":
        return percent(value)
    if setting.unit == "money":
        return money(value)
    if isinstance(value, tuple):
        return _list(setting, value)
    if isinstance(value, Discounts):
        return value.shown()
    if isinstance(value, date):
        return value.isoformat()
    unit = UNITS.get(setting.unit, "")
    if setting.unit == "choice":
        return gettext(str(value))
    return f"{written(value)}\N{NO-BREAK SPACE}{gettext(unit)}" if unit else plain(value)


def _list(setting: Setting, value: tuple[Any, ...]) -> str:
    if setting.unit == "sides":
        return " × ".join(map(written, value)) + "\N{NO-BREAK SPACE}cm"
    if setting.unit == "cuts":
        told = (gettext("{share} off from day {day}", share=percent(share), day=day) for day, share in value)
        return ", ".join(told) or gettext("none")
    if setting.unit == "steps":
        told = (
            gettext("to {grams}\N{NO-BREAK SPACE}g {prices}", grams=grams, prices=" / ".join(map(money, prices)))
            for grams, *prices in value
        )
        return ", ".join(told)
    if setting.unit == "rates":
        told = (gettext("{amount} from {day}", amount=written(rate), day=day.isoformat()) for day, rate in value)
        return ", ".join(told) or gettext("none")
    if setting.unit in ("shares", "zones"):
        return ", ".join(map(percent, value))
    if setting.unit == "brackets":
        return ", ".join(_bracket(*row) for row in value)
    if all(isinstance(part, str) for part in value):
        return ", ".join(value) or gettext("none")
    return gettext("{count} of them", count=len(value)) if value else gettext("none")


def _bracket(start: Any, part: Any, flat: Any) -> str:
    said = percent(part)
    if start:
        said = gettext("{share} from {amount}", share=said, amount=money(start))
    return f"{said} + {money(flat)}" if flat else said


def told(found: Iterable[Difference], most: int = 4) -> str:
    """Say in one line what was changed."""
    lines = []
    for one in found:
        place = "category" if one.table == "default" else one.table
        setting = of_place(place).get(one.setting)
        unsaid = gettext("default") if one.table == "category" else gettext("not set")
        was, now = (
            unsaid if value is UNSAID else shown(setting, value) if setting else str(value)
            for value in (one.was, one.now)
        )
        if setting is None:  # a channel's schedules, which are no one value
            was, now = (
                gettext("short") if one.was is UNSAID else gettext("old"),
                gettext("short") if one.now is UNSAID else gettext("new"),
            )
        where = one.name or gettext(_WHERE.get(one.table, ""))
        lines.append(f"{where}{': ' if where else ''}{inside(label(one.setting))} {was} → {now}")
    rest = len(lines) - most
    return "; ".join(lines[:most]) + (gettext("; and {count} more", count=rest) if rest > 0 else "")
