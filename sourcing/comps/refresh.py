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

from sourcing.comps.many import blocks, insert, marks

Described = tuple[int, int | None, str, str, str]
"""Of a row: the number of its product, GTIN, brand, category, title."""


def refresh(raw: sqlite3.Connection, product_ids: Iterable[int], gtins: Iterable[int] = ()) -> None:
    """Bring product, code_use and code in line with the comps of the products named.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection, inside a write transaction.
    product_ids : iterable of int
        Products that won or lost rows; those left without rows are removed.
    gtins : iterable of int
        Codes whose uses were counted already.
    """
    touched = set(gtins)
    for ids in blocks(sorted(product_ids)):
        touched |= _refresh_products(raw, ids)
    for some in blocks(sorted(touched)):
        _refresh_codes(raw, some)


def _refresh_products(raw: sqlite3.Connection, ids: Sequence[int]) -> set[int]:
    within = f"product_id IN {marks(ids)}"
    touched = {gtin for (gtin,) in raw.execute(f"SELECT gtin FROM code_use WHERE {within}", ids)}
    if touched:
        raw.execute(f"DELETE FROM code_use WHERE {within}", ids)
    statement = f"SELECT product_id, gtin, brand, category, title FROM comp WHERE {within} ORDER BY product_id"
    rows = raw.execute(statement, ids).fetchall()
    touched |= count_codes(raw, rows)
    said = [(*texts, product_id) for product_id, *texts in described(rows)]
    raw.executemany("UPDATE product SET brand = ?, category = ?, title = ? WHERE id = ?", said)
    empty = set(ids) - {row[3] for row in said}
    raw.executemany("DELETE FROM product WHERE id = ?", [(product_id,) for product_id in sorted(empty)])
    return touched


def count_codes(raw: sqlite3.Connection, rows: Sequence[Described]) -> set[int]:
    """Note in code_use how many of the rows, all there are of their products, carry which GTIN; return the GTINs."""
    uses = Counter(map(itemgetter(1, 0), rows))
    counted = sorted((*use, count) for use, count in uses.items() if use[0])
    insert(raw, "INSERT INTO code_use", "(?, ?, ?)", counted)
    return {use[0] for use in counted}


def described(rows: Iterable[Described]) -> Iterator[tuple[int, str, str, str]]:
    """Return of each product its number and the brand, category and title most of its rows have.

    Rows are those of comp, ordered by product: its number, GTIN, brand, category, title.
    """
    for product_id, group in groupby(rows, itemgetter(0)):
        _, _, brands, categories, titles = zip(*group, strict=True)
        yield product_id, _usual(brands), _usual(categories), _usual(titles)


def _usual(texts: Sequence[str]) -> str:
    """Return the text most rows have, blanks aside; of equally frequent ones the first in the alphabet."""
    if texts.count(texts[0]) == len(texts):  # nearly always
        return texts[0]
    different = set(texts)
    different.discard("")
    if len(different) < 2:
        return next(iter(different), "")
    if len(different) == len(texts):
        return min(different)
    counted = Counter(texts)
    return min(different, key=lambda text: (-counted[text], text))


def _refresh_codes(raw: sqlite3.Connection, gtins: Sequence[int]) -> None:
    used = f"FROM code_use WHERE gtin IN {marks(gtins)} GROUP BY gtin HAVING count(*)"
    raw.execute(
        f"DELETE FROM code WHERE gtin IN {marks(gtins)} "
        "AND NOT EXISTS (SELECT 1 FROM code_use u WHERE u.gtin = code.gtin)",
        gtins,
    )
    # Nearly every code is used by one product alone, and leads to that; such need not leave the database.
    raw.execute(f"INSERT OR REPLACE INTO code SELECT gtin, max(product_id) {used} = 1", gtins)
    raw.execute(
        f"UPDATE product SET root = id WHERE root <> id AND id IN (SELECT max(product_id) {used} = 1)",
        gtins,
    )
    uses = raw.execute(
        "SELECT u.gtin, p.id, p.key, u.rows FROM code_use u CROSS JOIN product p ON p.id = u.product_id "
        f"WHERE u.gtin IN (SELECT gtin {used} > 1)",
        gtins,
    ).fetchall()
    # The last one wins: GTIN-only products before styles, few rows before many, the alphabet backwards.
    uses.sort(key=itemgetter(2), reverse=True)
    uses.sort(key=itemgetter(3))
    uses.sort(key=_is_style)
    roots = {use[0]: use[1] for use in uses}
    raw.executemany("INSERT OR REPLACE INTO code VALUES (?, ?)", sorted(roots.items()))
    alone = [(roots[gtin], product_id) for gtin, product_id, key, _ in uses if key.startswith("g:")]
    raw.executemany("UPDATE product SET root = ? WHERE id = ?", alone)


def _is_style(use: tuple[int, int, str, int]) -> bool:
    return use[2].startswith("s:")
