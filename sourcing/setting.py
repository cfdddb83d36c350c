"""One setting: its name, where it stands, its unit, default, help and what it accepts."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal, NamedTuple

from sourcing.language import gettext_noop

OFF = "off"  # TOML has no null
UNITS = (  # kept as they are; said by gettext where they are shown
    gettext_noop("text"),
    gettext_noop("money"),
    gettext_noop("share"),
    gettext_noop("days"),
    gettext_noop("minutes"),
    gettext_noop("hours"),
    gettext_noop("grams"),
    gettext_noop("cm3"),
    gettext_noop("cm3 per kg"),
    gettext_noop("mm"),
    gettext_noop("date"),
    gettext_noop("choice"),
    gettext_noop("count"),
    gettext_noop("pieces"),
    gettext_noop("whole"),
    gettext_noop("cuts"),
    gettext_noop("steps"),
    gettext_noop("zones"),
    gettext_noop("brackets"),
    gettext_noop("shipping"),
    gettext_noop("sides"),
    gettext_noop("shares"),
    gettext_noop("words"),
    gettext_noop("discounts"),
    gettext_noop("rates"),
)
Place = Literal["general", "parcel", "channel", "fee", "category", "flag", "haul", "labels", "business"]


class Setting(NamedTuple):
    """One setting: where it stands in the file, its unit, default, one-line help and what it accepts."""

    name: str
    place: Place
    unit: str
    default: Any
    help: str  # English; said by gettext where it is shown
    optional: bool = False  # may be "off"
    lowest: Decimal = Decimal(0)
    highest: Decimal = Decimal(1_000_000)
    choices: tuple[str, ...] = ()
