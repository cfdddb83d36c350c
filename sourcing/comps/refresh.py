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
    raw.execute(f"DELETE FROM code_use WHERE {within}", ids)
    rows = raw.execute(
        f"SELECT product_id, gtin, brand, category, title FROM comp WHERE {within} ORDER BY product_id", ids
    ).fetchall()
    said, used = [], []
    for product_id, group in groupby(rows, itemgetter(0)):
        _, gtins, brands, categories, titles = zip(*group, strict=True)
        said.append((_usual(brands), _usual(categories), _usual(titles), product_id))
        used += [(gtin, product_id, count) for gtin, count in Counter(gtins).items() if gtin is not None]
    raw.executemany("UPDATE product SET brand = ?, category = ?, title = ? WHERE id = ?", said)
    raw.executemany("INSERT INTO code_use VALUES (?, ?, ?)", sorted(used))
    empty = set(ids) - {row[3] for row in said}
    raw.executemany("DELETE FROM product WHERE id = ?", [(product_id,) for product_id in sorted(empty)])
    return touched | {row[0] for row in used}


def _usual(texts: Sequence[str]) -> str:
    """Return the text most rows have, blanks aside; of equally frequent ones the first in the alphabet."""
    first = texts[0]
    if first and texts.count(first) == len(texts):
        return first
    counted = Counter(text for text in texts if text)
    return min(counted, key=lambda text: (-counted[text], text)) if counted else ""


def _refresh_codes(raw: sqlite3.Connection, gtins: Sequence[int]) -> None:
    uses = raw.execute(
        "SELECT u.gtin, p.id, p.key, u.rows FROM code_use u JOIN product p ON p.id = u.product_id "
        f"WHERE u.gtin IN {marks(gtins)} ORDER BY u.gtin",
        gtins,
    ).fetchall()
    roots = {}
    for gtin, group in groupby(uses, itemgetter(0)):
        # Styles before the GTIN-only product; the most rows; the first in the alphabet.
        roots[gtin] = min(group, key=lambda use: (not use[2].startswith("s:"), -use[3], use[2]))[1]
    raw.executemany("INSERT OR REPLACE INTO code VALUES (?, ?)", list(roots.items()))
    gone = [(gtin,) for gtin in gtins if gtin not in roots]
    raw.executemany("DELETE FROM code WHERE gtin = ?", gone)
    alone = [(root, f"g:{gtin:014d}") for gtin, root in roots.items()]
    raw.executemany("UPDATE product SET root = ? WHERE key = ?", alone)
