"""One table of the settings changed by itself, and what differs between two settings, in words."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, Literal, NamedTuple

from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.settings import UNDONE_LAST, Settings, from_toml, to_toml
from sourcing.settings_file import folded
from sourcing.settings_table import Place, of_place
from sourcing.storage import Store

Table = Literal["general", "parcel", "default", "haul", "labels", "business", "channel", "category", "flag"]
_NAMED: dict[Table, str] = {"channel": "channels", "category": "categories", "flag": "flags"}


def place_of(table: Table) -> Place:
    """Return the kind of settings a table holds; ``default`` holds those of a category."""
    return "category" if table == "default" else table


def values_of(settings: Settings, table: Table, name: str = "") -> dict[str, Any] | None:
    """Return what one table says itself; None where there is no such table."""
    if table in _NAMED:
        found = getattr(settings, _NAMED[table]).get(folded(name))
        return None if found is None else _plain(found, table)
    if table == "general":
        return {"locale": settings.locale, "currency": settings.currency}
    return _plain(getattr(settings, table), table)


def with_values(settings: Settings, changes: Iterable[tuple[Table, str, Mapping[str, Any] | None]]) -> Settings:
    """Return settings with tables replaced, as (table, name, values); None takes a named table away.

    Raises
    ------
    BadInput
        A name that cannot be one, or settings that contradict each other.
    """
    for table, name, values in changes:
        if table in _NAMED:
            settings = _with_named(settings, table, name, values)
            continue
        said = dict(values or {})
        single: dict[str, Any] = said if table == "general" else {table: said}
        if table in ("haul", "labels", "business"):
            single = {table: type(getattr(settings, table))(**said)}
        settings = replace(settings, **single)
    return replace(from_toml(to_toml(settings)), learnt=settings.learnt)


def _with_named(settings: Settings, table: Table, name: str, values: Mapping[str, Any] | None) -> Settings:
    key = folded(name)
    if not key or len(key) > 80:
        raise BadInput(
            gettext("The name is empty.") if not key else gettext("The name has {number} characters.", number=len(key)),
            gettext("From 1 to 80 characters."),
            gettext("Type another name."),
            field="name",
        )
    tables = dict(getattr(settings, _NAMED[table]))
    if values is None:
        tables.pop(key, None)
    elif table == "flag":
        from sourcing.labour import Flag

        tables[key] = Flag(key, **dict(values))
    else:
        tables[key] = dict(values)
    changed: dict[str, Any] = {_NAMED[table]: tables}
    return replace(settings, **changed)


def _plain(found: Any, table: Table) -> dict[str, Any]:
    if not dataclasses.is_dataclass(found):
        return dict(found)
    return {name: getattr(found, name) for name in of_place(place_of(table))}


class Difference(NamedTuple):
    """One setting that differs; ``UNSAID`` where a table does not say it itself."""

    table: Table
    name: str  # of the channel, category or flag
    setting: str
    was: Any
    now: Any


UNSAID = object()


def differences(before: Settings, after: Settings) -> tuple[Difference, ...]:
    """Say what differs, a setting each, table by table."""
    old, new = _flat(before), _flat(after)
    return tuple(
        Difference(*key, old.get(key, UNSAID), new.get(key, UNSAID))
        for key in dict.fromkeys([*old, *new])
        if old.get(key, UNSAID) != new.get(key, UNSAID)
    )


def _flat(settings: Settings) -> dict[tuple[Table, str, str], Any]:
    singles: tuple[Table, ...] = ("general", "parcel", "default", "haul", "labels", "business")
    tables: list[tuple[Table, str]] = [(table, "") for table in singles]
    for table, attribute in _NAMED.items():
        tables += [(table, name) for name in getattr(settings, attribute)]
    return {
        (table, name, key): value
        for table, name in tables
        for key, value in (values_of(settings, table, name) or {}).items()
    }


def last_change(store: Store) -> str | None:
    """Return what the last change of the settings was, in the words it was saved with; None: nothing to undo."""
    rows = store.read("SELECT why FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1")
    return rows[0][0] if rows else None


def last_undone(store: Store) -> str | None:
    """Return which change would come back, in the words it was saved with; None: nothing to do again."""
    rows = store.read(f"SELECT why FROM settings_version WHERE id = ({UNDONE_LAST})")  # noqa: S608 - no value in it
    return rows[0][0] if rows else None
