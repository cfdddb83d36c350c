"""One setting: its name, where it stands, its unit, default, help and what it accepts."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal, NamedTuple

OFF = "off"  # TOML has no null
Place = Literal["general", "parcel", "channel", "fee", "category", "flag", "haul", "labels"]


class Setting(NamedTuple):
    """One setting: where it stands in the file, its unit, default, one-line help and what it accepts."""

    name: str
    place: Place
    unit: str
    default: Any
    help: str
    optional: bool = False  # may be "off"
    lowest: Decimal = Decimal(0)
    highest: Decimal = Decimal(1_000_000)
    choices: tuple[str, ...] = ()
