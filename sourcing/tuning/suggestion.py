"""Accepting a suggestion: one more version of the settings, undone like any other."""

from __future__ import annotations

import dataclasses

from sourcing.errors import Refused
from sourcing.language import gettext
from sourcing.settings import Settings, load_settings, save_settings
from sourcing.settings_file import folded
from sourcing.storage import Store
from sourcing.tuning.result import Suggestion


def accept(store: Store, suggestion: Suggestion) -> None:
    """Save the settings with the suggested threshold; `sourcing.settings.undo_settings` takes it back.

    Raises
    ------
    Refused
        The rule was changed since the suggestion was worked out.
    """
    settings = load_settings(store)
    now = getattr(settings.for_category(suggestion.category).rules, suggestion.rule)
    if now != suggestion.was:
        raise Refused(
            gettext(
                "{rule} was changed since this was suggested: it is {value} now.",
                rule=suggestion.rule,
                value="off" if now is None else now,
            ),
            next_step=gettext("Look at the suggestion again."),
        )
    save_settings(store, changed(settings, suggestion), suggestion.why)


def changed(settings: Settings, suggestion: Suggestion) -> Settings:
    """Return the settings with the suggested threshold, in the category's own table."""
    key = folded(suggestion.category)
    if not key:
        return dataclasses.replace(settings, default={**settings.default, suggestion.rule: suggestion.value})
    own = {**settings.categories.get(key, {}), suggestion.rule: suggestion.value}
    return dataclasses.replace(settings, categories={**settings.categories, key: own})
