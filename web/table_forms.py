"""Read what the pages of the comps table were sent: filters from an address, rows and fields from a form."""

from __future__ import annotations

import re
from collections.abc import Mapping
from urllib.parse import urlencode

from flask import request

from sourcing.comps.columns import NAMES
from sourcing.comps.comp import RowId, row_id
from sourcing.comps.search import Filter
from sourcing.errors import BadInput
from sourcing.language import gettext

TEXTS = ("query", "brand", "category", "condition", "status", "counts", "sort")
NUMBERS = ("within", "older", "batch_id", "item")
LONGEST = 200
_COMMA = re.compile(r"[0-9]+,[0-9]{1,2}", re.ASCII)
_MONEY = ("asking_price", "sold_price", "shipping_charged")


def read_filter(values: Mapping[str, str]) -> Filter:
    """Read a filter from plain texts.

    Raises
    ------
    BadInput
        A number is none, or a text is far too long; ``field`` names it.
    """
    texts = {name: " ".join((values.get(name) or "").split()) for name in TEXTS}
    for name, text in texts.items():
        if len(text) > LONGEST:
            raise BadInput(
                gettext("The {name} has {count} characters.", name=name, count=len(text)),
                gettext("Up to {longest}.", longest=LONGEST),
                gettext("Shorten it."),
                field=name,
            )
    numbers = {name: read_number(values, name) for name in NUMBERS if (values.get(name) or "").strip()}
    page = read_number(values, "page") if values.get("page") else 1
    return Filter(page=page, **numbers, **texts)  # type: ignore[arg-type]


def as_address(wanted: Filter, **changes: object) -> str:
    """Write a filter as the end of an address, what does not narrow down left out."""
    said = {**vars(wanted), **changes}
    kept = {name: value for name, value in said.items() if value not in ("", None) and (name, value) != ("page", 1)}
    return f"?{urlencode(kept)}" if kept else "?"


def read_number(values: Mapping[str, str], name: str) -> int:
    """Read a whole number.

    Raises
    ------
    BadInput
        It is none.
    """
    text = (values.get(name) or "").strip()
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(
            gettext("“{text}” is not a whole number.", text=text[:40]),
            gettext("A whole number, such as 1."),
            field=name,
        )
    return int(text)


def read_rows() -> list[RowId]:
    """Read the rows that were ticked."""
    return [row_id(text) for text in request.form.getlist("row")]


def read_cells() -> dict[str, str]:
    """Read the fields of one row; a decimal comma is taken as well, as keyboards of phones offer either."""
    cells = {name: request.form[name] for name in NAMES if name in request.form}
    for name in _MONEY:
        if _COMMA.fullmatch(cells.get(name, "").strip()):
            cells[name] = cells[name].replace(",", ".")
    return cells
