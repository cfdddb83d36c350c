"""The comps that speak for an item: which rows, brought to today and to the condition asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sourcing.answer import Item, Query
from sourcing.codes import closest, parse_code, style_key
from sourcing.comps import lookup
from sourcing.storage import Store


@dataclass(frozen=True)
class Evidence:
    """Items as understood, and every comp row of `lookup.COLUMNS_READ` behind each."""

    items: tuple[Item, ...]
    rows: tuple[list[tuple[Any, ...]], ...]


def gather(store: Store, queries: Sequence[Query], *, suggest: bool = True) -> Evidence:
    """Understand each query and fetch its comps in few statements.

    Raises
    ------
    BadInput
        A code cannot be one: wrong check digit, or nothing readable in it.
    """
    codes = [parse_code(query.code) if query.code.strip() else None for query in queries]
    keys = []
    for query, code in zip(queries, codes, strict=True):
        gtin = code.gtin if code is not None and code.kind in ("product", "demo", "unknown") else ""
        style = code.style_key if code is not None and code.kind == "style code" else ""
        keys.append((gtin, style, query.title))
    roots = lookup.find_roots(store, keys)
    for at, (query, root) in enumerate(zip(queries, roots, strict=True)):
        if root is None and query.code.strip():  # digits of a barcode's length can be a style code too
            roots[at] = lookup.find_root(store, style_key=style_key(query.code))
    known = {root for root in roots if root is not None}
    products = lookup.products_of_many(store, known)
    by_root: dict[int, list[tuple[Any, ...]]] = {}
    for row in lookup.rows_of_many(store, known):
        by_root.setdefault(row[0], []).append(row[1:])
    items = []
    for query, code, key, root in zip(queries, codes, keys, roots, strict=True):
        product = products.get(root) if root is not None else None
        hints: tuple[str, ...] = ()
        if product is None and query.code.strip() and suggest:
            hints = tuple(closest(key[0] or key[1], lookup.known_codes(store)))
        title = query.title or (product.title if product else "")
        brand = query.brand or (product.brand if product else "")
        style = product.style_code if product else key[1]
        label = title or " ".join(part for part in (brand, style) if part) or query.code or query.category
        items.append(
            Item(
                label=label,
                known=product is not None,
                root=root,
                gtin=key[0],
                style_code=style,
                brand=brand,
                category=query.category or (product.category if product else ""),
                title=title,
                size=query.size,
                condition=query.condition,
                code_note=code.note if code is not None else "",
                suggestions=hints,
                flags=query.flags,
            )
        )
    rows = tuple(by_root.get(root, []) if root is not None else [] for root in roots)
    return Evidence(tuple(items), rows)
