"""The settings file as a form and back: one field a setting, grouped by the file's own tables."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import Item, Table

SPLIT = "/"
_DECIMAL_COMMA = re.compile(r"0,\d+|\d+,\d{1,2}")  # 1,500 may mean thousands, so it is refused


class Field(NamedTuple):
    """One setting as the form shows it."""

    path: str
    label: str
    value: str
    help: str


class Group(NamedTuple):
    """One table of the settings file."""

    name: str
    fields: tuple[Field, ...]


def groups(toml: str) -> tuple[Group, ...]:
    """Return the form's fields, in the file's order."""
    found: dict[str, list[Field]] = {}
    for path, item in _leaves(tomlkit.parse(toml)):
        help_text = item.trivia.comment.lstrip("# ")
        field = Field(SPLIT.join(path), path[-1].replace("_", " "), _shown(item), help_text)
        found.setdefault(" · ".join(path[:-1]) or "general", []).append(field)
    return tuple(Group(name, tuple(fields)) for name, fields in found.items())


def merged(toml: str, form: Mapping[str, str]) -> str:
    """Return the settings file with the form's values in it; fields the file does not have are ignored."""
    document = tomlkit.parse(toml)
    for path, item in list(_leaves(document)):
        text = form.get(SPLIT.join(path))
        if text is None or text.strip() == _shown(item):
            continue
        table: Any = document
        for key in path[:-1]:
            table = table[key]
        table[path[-1]] = _read(text.strip(), item)
    return tomlkit.dumps(document)


def _leaves(table: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Item]]:
    for key in table:
        item = table.item(key) if hasattr(table, "item") else table[key]
        if isinstance(item, Table):
            yield from _leaves(item, (*path, key))
        else:
            yield (*path, key), item


def _shown(item: Item) -> str:
    return str(item) if isinstance(item.unwrap(), str) else item.as_string().strip()


def _read(text: str, item: Item) -> Any:
    if _DECIMAL_COMMA.fullmatch(text):
        text = text.replace(",", ".")
    if isinstance(item.unwrap(), str):
        return text
    try:
        return tomlkit.value(text)
    except (ParseError, ValueError):
        return text  # "off", "default", or a mistake that the settings themselves name
