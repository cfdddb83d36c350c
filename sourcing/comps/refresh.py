# ruff: noqa: S608 - only placeholders are put into the statements
"""Derive what hangs on the comps: a product's brand, category and title, and the product a GTIN leads to.

Everything here is a function of the comps alone, whatever the order they came in, so that undoing a load is
doing the same again for the products it touched.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from operator import itemgetter
from typing import Any

_AT_ONCE = 500


def refresh(raw: sqlite3.Connection, product_ids: Iterable[int]) -> None:
    """Bring product, code_use and code in line with the comps of the products named.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection, inside a write transaction.
    product_ids : iterable of int
        Products that won or lost rows; those left without rows are removed.
    """
    touched: set[int] = set()
    for ids in blocks(sorted(product_ids)):
        touched |= _refresh_products(raw, ids)
    for gtins in blocks(sorted(touched)):
        _refresh_codes(raw, gtins)


def blocks(values: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """Cut a sequence into pieces small enough for one statement."""
    for at in range(0, len(values), _AT_ONCE):
        yield values[at : at + _AT_ONCE]


def marks(values: Sequence[Any]) -> str:
    """Return the placeholders for a piece."""
    return "(" + ",".join("?" * len(values)) + ")"


def _refresh_products(raw: sqlite3.Connection, ids: Sequence[int]) -> set[int]:
    within = f"product_id IN {marks(ids)}"
    touched = {gtin for (gtin,) in raw.execute(f"SELECT gtin FROM code_use WHERE {within}", ids)}
    if touched:
        raw.execute(f"DELETE FROM code_use WHERE {within}", ids)
    uses = raw.execute(
        f"SELECT gtin, product_id, count(*) FROM comp WHERE {within} AND gtin > 0 GROUP BY product_id, gtin",
        ids,
    ).fetchall()
    uses.sort()
    raw.executemany("INSERT INTO code_use VALUES (?, ?, ?)", uses)
    rows = raw.execute(
        f"SELECT product_id, brand, category, title FROM comp WHERE {within} ORDER BY product_id", ids
    ).fetchall()
    said = []
    for product_id, group in groupby(rows, itemgetter(0)):
        _, brands, categories, titles = zip(*group, strict=True)
        said.append((_usual(brands), _usual(categories), _usual(titles), product_id))
    raw.executemany("UPDATE product SET brand = ?, category = ?, title = ? WHERE id = ?", said)
    empty = set(ids) - {row[3] for row in said}
    raw.executemany("DELETE FROM product WHERE id = ?", [(product_id,) for product_id in sorted(empty)])
    return touched.union(use[0] for use in uses)


def _usual(texts: Sequence[str]) -> str:
    """Return the text most rows have, blanks aside; of equally frequent ones the first in the alphabet."""
    different = set(texts)
    different.discard("")
    if len(different) < 2:
        return next(iter(different), "")
    if len(different) == len(texts):
        return min(different)
    counted = Counter(texts)
    return min(different, key=lambda text: (-counted[text], text))


def _refresh_codes(raw: sqlite3.Connection, gtins: Sequence[int]) -> None:
    uses = raw.execute(
        "SELECT u.gtin, p.id, p.key, u.rows FROM code_use u CROSS JOIN product p ON p.id = u.product_id "
        f"WHERE u.gtin IN {marks(gtins)}",
        gtins,
    ).fetchall()
    # The last one wins: GTIN-only products before styles, few rows before many, the alphabet backwards.
    uses.sort(key=itemgetter(2), reverse=True)
    uses.sort(key=itemgetter(3))
    uses.sort(key=_is_style)
    roots = {use[0]: use[1] for use in uses}
    raw.executemany("INSERT OR REPLACE INTO code VALUES (?, ?)", sorted(roots.items()))
    gone = [(gtin,) for gtin in gtins if gtin not in roots]
    raw.executemany("DELETE FROM code WHERE gtin = ?", gone)
    alone = [(roots[gtin], product_id) for gtin, product_id, key, _ in uses if key.startswith("g:")]
    raw.executemany("UPDATE product SET root = ? WHERE id = ?", alone)


def _is_style(use: tuple[int, int, str, int]) -> bool:
    return use[2].startswith("s:")
