# ruff: noqa: S608 - only names of columns and placeholders are put into the statements
"""One comp as it is kept, and where it came from."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

from sourcing.comps.columns import NAMES, OUT, STATUSES
from sourcing.comps.values import iso, plain
from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext
from sourcing.storage import Store

TYPED_IN = "typed in"
"""The file name of loads that are no file."""

STORAGE = {
    "gtin": "gtin", "style_code": "style_code", "brand": "brand", "category": "category", "title": "title",
    "size": "size", "condition": "condition", "channel": "channel", "asking_price": "ask", "sold_price": "sold",
    "shipping_charged": "ship", "listed_on": "listed", "ended_on": "ended", "status": "status", "listing": "listing",
    "currency": "currency", "note": "note",
}  # fmt: skip
"""Documented columns of a comps file and their names in storage."""

_MONEY, _DAYS = ("ask", "sold", "ship"), ("listed", "ended", "seen")
FIELDS = (*STORAGE.values(), "seen", "out", "aside", "row", "batch_id", "product_id", "key")
_SELECT = f"""SELECT {", ".join(f'c."{name}"' for name in FIELDS)}, p.root, p.style_code, p.key, b.file_name
FROM comp c JOIN product p ON p.id = c.product_id JOIN batch b ON b.id = c.batch_id"""


class RowId(NamedTuple):
    """What tells a row from all others: the number of its product and the hash of what its file said."""

    product_id: int
    key: int

    def __str__(self) -> str:
        """Write it as ``3-12345``."""
        return f"{self.product_id}-{self.key}"


@dataclass(frozen=True)
class CompRow:
    """One row of the table; money in currency units, None and "" where the row does not say."""

    id: RowId
    root: int  # the item it counts for
    item_code: str  # canonical style code of its product, "" when it has none
    product_key: str
    status: str
    gtin: str  # GTIN-14
    style_code: str  # as typed
    brand: str
    category: str
    title: str
    size: str
    condition: str
    channel: str
    asking_price: Decimal | None
    sold_price: Decimal | None
    shipping_charged: Decimal | None
    listed_on: date | None
    ended_on: date | None
    seen_on: date | None  # latest day an open listing was known to be unsold
    listing: str
    currency: str
    note: str
    out: str  # why it does not count, "" when it does
    aside: str  # the user's reason for setting it aside
    batch_id: int
    file_name: str
    row: int | None

    @property
    def label(self) -> str:
        """The best human name."""
        return self.title or " ".join(filter(None, (self.brand, self.style_code))) or self.gtin

    @property
    def typed_in(self) -> bool:
        """Whether it was typed on a page instead of loaded from a file."""
        return self.file_name == TYPED_IN

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping."""
        plain_values = {
            name: value if isinstance(value, str | int | None) else str(value) for name, value in vars(self).items()
        }
        return plain_values | {"id": str(self.id)}


@dataclass(frozen=True)
class Source:
    """One load that brought a row."""

    batch_id: int
    file_name: str
    sha256: str
    loaded_at: str
    row: int | None
    layout: dict[str, Any] | None  # how the file was read; None: in the documented format


def row_id(text: str) -> RowId:
    """Read what `RowId` writes.

    Raises
    ------
    BadInput
        It is something else.
    """
    first, _, second = text.strip().partition("-")
    if not all(part.isascii() and part.isdigit() and len(part) < 20 and int(part) < 2**63 for part in (first, second)):
        raise BadInput(
            gettext("“{text}” is not the number of a row.", text=text[:40]),
            gettext("Two numbers like 12-3456."),
            gettext("Take it from the list."),
        )
    return RowId(int(first), int(second))


def comp(store: Store, at: RowId) -> CompRow:
    """Return one row; one that an edit has moved since is found by its key.

    Raises
    ------
    NotFound
        There is no such row: the load that brought it was undone.
    """
    found = store.read(f"{_SELECT} WHERE c.product_id = ? AND c.key = ?", at)
    if not found:
        found = store.read(f"{_SELECT} WHERE c.key = ?", (at.key,))
    if not found:
        raise NotFound(
            gettext("There is no row {at} in the comps table.", at=at),
            next_step=gettext("The load that brought it was undone, perhaps; look for it in the table."),
        )
    return _made(found[0])


def comps(store: Store, where: str, values: Sequence[Any], end: str = "") -> list[CompRow]:
    """Return the rows for which a condition on comp ``c`` and product ``p`` holds."""
    return [_made(row) for row in store.read(f"{_SELECT} WHERE {where} {end}", values)]


def sources(store: Store, at: RowId) -> list[Source]:
    """Return the live loads that brought a row, the first one first."""
    rows = store.read(
        'SELECT b.id, b.file_name, b.sha256, b.loaded_at, c."row", b.layout FROM comp c JOIN batch b ON b.id = '
        "c.batch_id WHERE c.product_id = ? AND c.key = ? UNION ALL SELECT b.id, b.file_name, b.sha256, b.loaded_at, "
        'a."row", b.layout FROM also_in a JOIN batch b ON b.id = a.batch_id WHERE a.product_id = ? AND a.key = ? '
        "AND b.undone_at IS NULL ORDER BY 1",
        (*at, *at),
    )
    return [
        Source(batch_id, name, digest, at, number, json.loads(layout) if layout else None)
        for batch_id, name, digest, at, number, layout in rows
    ]


def cells(row: CompRow) -> dict[str, str]:
    """Return a row as a file in the documented format would hold it."""
    written: Mapping[str, Any] = vars(row)
    found = {name: "" if written[name] is None else str(written[name]) for name in NAMES}
    return found | {"status": row.status}


def _made(row: Iterable[Any]) -> CompRow:
    *said, root, code, product_key, file_name = row
    value = dict(zip(FIELDS, said, strict=True))
    ask, sold, ship = (None if value[name] is None else Decimal(plain(value[name])) for name in _MONEY)
    listed, ended, seen = (None if value[name] is None else date.fromisoformat(iso(value[name])) for name in _DAYS)
    return CompRow(
        id=RowId(value["product_id"], value["key"]),
        root=root,
        item_code=code,
        product_key=product_key,
        status=STATUSES[value["status"]],
        gtin="" if value["gtin"] is None else f"{value['gtin']:014d}",
        asking_price=ask,
        sold_price=sold,
        shipping_charged=ship,
        listed_on=listed,
        ended_on=ended,
        seen_on=seen,
        out=OUT[value["out"]],
        file_name=file_name,
        **{name: value[name] for name in _AS_KEPT},
    )


_AS_KEPT = (
    "style_code", "brand", "category", "title", "size", "condition", "channel", "listing", "currency", "note", "aside",
    "batch_id", "row",
)  # fmt: skip
