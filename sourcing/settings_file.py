"""The settings file: TOML with the one-line help beside every value."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from sourcing.channels import FEES, SHORT, Schedule, check_schedules
from sourcing.errors import BadInput
from sourcing.fees import Bracket
from sourcing.language import gettext, gettext_noop
from sourcing.purchase import Discounts
from sourcing.settings_moved import moved_fees, moved_prep
from sourcing.settings_table import OFF, SETTINGS, Place, Setting, of_place
from sourcing.settings_values import read_value

INHERIT = "default"  # in a category: as [default] has it
_TABLES = ("locale", "currency", "parcel", "channel", "default", "category", "flag", "haul", "labels", "business")
_HOMES: dict[Place, str] = {
    "general": gettext_noop("at the top of the file"),
    "parcel": gettext_noop("in [parcel]"),
    "channel": gettext_noop("in the channel's own table, such as [channel.main]"),
    "fee": gettext_noop("in a part of a channel's fees, such as [channel.main.fees.2026-01-31.selling]"),
    "category": gettext_noop("in [default] or a category's table, such as [category.shoes]"),
    "flag": gettext_noop("in a flag's own table, such as [flag.no_box]"),
    "haul": gettext_noop("in [haul]"),
    "labels": gettext_noop("in [labels]"),
    "business": gettext_noop("in [business]"),
}
Tables = Mapping[str, Mapping[str, Any]]


def folded(name: str) -> str:
    """Return a category's or channel's name as it is compared."""
    return " ".join(name.casefold().split())


def write(
    general: Mapping[str, Any],
    parcel: Mapping[str, Any],
    channels: Tables,
    default: Mapping[str, Any],
    categories: Tables,
    flags: Tables,
    haul: Mapping[str, Any],
    labels: Mapping[str, Any],
    business: Mapping[str, Any],
) -> str:
    """Return the file's text."""
    import tomlkit

    document = tomlkit.document()
    document.add(tomlkit.comment("Amounts are invented round figures to start from: put your own in their place."))
    for name, value in general.items():
        document.add(name, tomlkit.item(value).comment(_help(of_place("general")[name])))
    document.add("parcel", _table("parcel", parcel))
    document.add("channel", _named("channel", channels))
    document.add("default", _table("category", default))
    document.add("category", _named("category", categories))
    document.add("flag", _named("flag", flags))
    document.add("haul", _table("haul", haul))
    document.add("labels", _table("labels", labels))
    document.add("business", _table("business", business))
    return tomlkit.dumps(document)


def _named(place: Place, tables: Tables) -> Any:
    import tomlkit

    outer = tomlkit.table(is_super_table=bool(tables))  # an empty one must show, or it would read as unsaid
    for name, values in tables.items():
        table = _table(place, values)
        if FEES in values:
            table.add(FEES, _schedules(values[FEES]))
        outer.add(name, table)
    return outer


def _schedules(schedules: Mapping[date, Schedule]) -> Any:
    import tomlkit

    outer = tomlkit.table(is_super_table=True)
    for day, parts in schedules.items():
        dated = tomlkit.table(is_super_table=True)
        for name, values in parts.items():
            dated.add(name, _table("fee", values))
        outer.add(day.isoformat(), dated)
    return outer


def _table(place: Place, values: Mapping[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.table()
    for name, setting in of_place(place).items():
        if name in values:
            table.add(name, tomlkit.value(written(values[name])).comment(_help(setting)))
    return table


def _help(setting: Setting) -> str:
    return f"{setting.unit}: {setting.help}"


def written(value: Any) -> str:
    """Return a value as the file writes it."""
    import tomlkit

    if value is None:
        return f'"{OFF}"'
    if isinstance(value, Bracket):
        return written(tuple(value) if value.flat else tuple(value)[:2])
    if isinstance(value, tuple) and len(value) == 1 and value[0] == Bracket(Decimal(0), value[0][1]):
        return written(value[0].share)  # one share for all
    if isinstance(value, tuple):
        return "[" + ", ".join(written(part) for part in value) + "]"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Discounts):
        return f'"{value}"'
    return str(tomlkit.item(value).as_string())


def read(text: str) -> dict[str, Any]:
    """Return the tables the file names, values read: general, parcel, channel, default, category, flag, haul,
    labels, business, notes.

    A file of an older version is read as it was meant; ``notes`` says what stands elsewhere now.

    Raises
    ------
    BadInput
        Not TOML, an unknown name (the closest is suggested), or a value that cannot be used.
    """
    try:
        plain = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(
            gettext("The settings file is not TOML: {error}.", error=error),
            gettext("The file as “sourcing settings export” writes it."),
            gettext("Mend that line."),
        ) from error
    except (RecursionError, ArithmeticError) as error:
        raise BadInput(
            gettext("The settings file cannot be read."),
            gettext("The file as “sourcing settings export” writes it."),
            gettext("Start from an exported one."),
        ) from error
    notes = (*moved_fees(plain), *moved_prep(plain))
    _known(plain, _TABLES, "")
    general = of_place("general")
    found: dict[str, Any] = {
        "notes": notes,
        "general": {name: read_value(general[name], plain[name]) for name in general if name in plain},
    }
    singles = (("default", "category"), *((name, name) for name in ("parcel", "haul", "labels", "business")))
    for name, place in singles:
        if name in plain:
            found[name] = _read_table(of_place(place), plain[name], name)  # type: ignore[arg-type]
    for name in ("channel", "category", "flag"):
        if name in plain:
            found[name] = _read_named(name, plain[name])  # type: ignore[arg-type]
    return found


def _read_named(place: Place, tables: Any) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for name, table in _mapping(tables, place).items():
        if not folded(name) or folded(name) in found or len(name) > 80:
            raise BadInput(
                gettext("The {place} “{name}” has no name of its own.", place=place, name=name[:80]),
                gettext("Names of up to 80 characters that differ in more than capitals and blanks."),
                gettext("Rename it."),
                field=place,
            )
        plain = dict(_mapping(table, name))
        schedules = plain.pop(FEES, None) if place == "channel" else None
        found[folded(name)] = _read_table(of_place(place), plain, name)
        if schedules is not None:
            found[folded(name)][FEES] = _read_schedules(schedules, found[folded(name)], name)
    return found


def _read_schedules(schedules: Any, channel: Mapping[str, Any], where: str) -> dict[date, Schedule]:
    """Read ``[channel.NAME.fees.DAY.PART]`` tables."""
    if twice := [name for name in SHORT if name in channel]:
        raise BadInput(
            gettext(
                "The channel “{where}” states its fees twice: {twice}, and by day.", where=where, twice=", ".join(twice)
            ),
            gettext("One of the two."),
            gettext(
                "Take {twice} out; a part of the schedule says the same as share, fixed and most.",
                twice=", ".join(twice),
            ),
            field=FEES,
        )
    found: dict[date, Schedule] = {}
    for text, parts in _mapping(schedules, FEES).items():
        try:
            day = date.fromisoformat(text.strip())
        except ValueError as error:
            raise BadInput(
                gettext("The fees of {where} hold from “{text}”.", where=where, text=text[:40]),
                gettext("A day such as 2026-01-31."),
                gettext("Mend the day."),
                field=FEES,
            ) from error
        named: dict[str, Mapping[str, Any]] = {}
        for name, values in _mapping(parts, text).items():
            plain = " ".join(name.split())
            if not plain or plain in named or len(plain) > 40:
                raise BadInput(
                    gettext("The fee “{name}” of {where} has no name of its own.", name=name[:60], where=where),
                    gettext("Names of up to 40 characters."),
                    gettext("Rename it."),
                    field=FEES,
                )
            named[plain] = _read_table(of_place("fee"), values, plain)
        found[day] = named
    check_schedules(found, where)
    return found


def _read_table(settings: Mapping[str, Setting], table: Any, where: str) -> dict[str, Any]:
    _known(_mapping(table, where), settings, where)
    inherits = where not in ("default", "parcel", "haul", "labels", "business")
    return {
        name: read_value(settings[name], value)
        for name, value in table.items()
        if not (inherits and isinstance(value, str) and value.strip().casefold() == INHERIT)
    }


def _mapping(table: Any, where: str) -> Mapping[str, Any]:
    if not isinstance(table, Mapping):
        raise BadInput(
            gettext("“{where}” is {value}.", where=where, value=str(table)[:60]),
            gettext("A table of settings, its name in square brackets."),
            gettext("Write it as in an exported file."),
            field=where,
        )
    return table


def _known(values: Iterable[str], names: Iterable[str], where: str) -> None:
    for name in values:
        if name not in names:
            wrong = (
                gettext("There is no setting “{name}” in {where}.", name=name[:60], where=where)
                if where
                else gettext("There is no setting “{name}”.", name=name[:60])
            )
            raise BadInput(wrong, _hint(name, names), gettext("Mend that line."), field=name[:60])


def _hint(name: str, names: Iterable[str]) -> str:
    """Suggest the nearest setting, of this table or of the one it belongs in."""
    homes: dict[str, str] = {}
    for setting in SETTINGS:
        if setting.name not in names:
            homes.setdefault(setting.name, _HOMES[setting.place])
    if name in homes:
        return gettext("It belongs {where}.", where=gettext(homes[name]))
    near = difflib.get_close_matches(name[:80], [*names, *homes], 1, 0.4)
    if near and near[0] in homes:
        return gettext("The closest is “{name}”, {where}.", name=near[0], where=gettext(homes[near[0]]))
    return _closest(near, names)


def closest(name: str, names: Iterable[str]) -> str:
    """Suggest the nearest of the known names, or list them."""
    names = list(names)
    return _closest(difflib.get_close_matches(name[:80], names, 1, 0.4), names)


def _closest(near: list[str], names: Iterable[str]) -> str:
    if near:
        return gettext("The closest is “{name}”.", name=near[0])
    return gettext("Known: {names}.", names=", ".join(names))
