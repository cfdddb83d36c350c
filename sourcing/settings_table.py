"""The one table of settings: it drives the settings file, the Rules page and the documentation."""

from __future__ import annotations

from typing import Any

from sourcing.setting import OFF, Place, Setting
from sourcing.settings_business import BUSINESS
from sourcing.settings_costs import COSTS
from sourcing.settings_items import ITEMS

__all__ = ["OFF", "SETTINGS", "Place", "Setting", "defaults", "of_place"]

SETTINGS: tuple[Setting, ...] = (*COSTS, *ITEMS, *BUSINESS)


def of_place(place: Place) -> dict[str, Setting]:
    """Return the settings of one kind of table, by name."""
    return {setting.name: setting for setting in SETTINGS if setting.place == place}


def defaults(place: Place) -> dict[str, Any]:
    """Return the default values of one kind of table."""
    return {name: setting.default for name, setting in of_place(place).items()}
