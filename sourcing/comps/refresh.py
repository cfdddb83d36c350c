# ruff: noqa: S608 - only placeholders are put into the statements
"""Derive what hangs on the comps: a product's brand, category and title, and the product a GTIN leads to.

Everything here is a function of the comps alone, whatever the order they came in, so that undoing a load is
doing the same again for the products it touched. Nearly every code is used by one product, and leads to that; how
often a code is used is only kept for the others (table code_use), where it decides.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Container, Iterable, Iterator, Sequence
from itertools import accumulate, chain
from operator import eq, itemgetter
from typing import cast

from sourcing.comps.many import blocks, insert, marks

Use = tuple[int, int]  # GTIN, number of the product whose rows carry it


def refresh(raw: sqlite3.Connection, product_ids: Iterable[int], gtins: Iterable[int] = ()) -> set[int]:
    """Bring product, code_use and code in line with the comps of the products named; return what changed its item.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection, inside a write transaction.
    product_ids : iterable of int
        Products that won or lost rows; those left without rows are removed.
    gtins : iterable of int
        Codes whose uses were noted already, and that may lead elsewhere by them.

    Returns
    -------
    set of int
        Products that lead to another root than before or are gone, and the roots they led to.
    """
    touched = set(gtins)
    moved: set[int] = set()
    for ids in blocks(sorted(product_ids)):
        touched |= _refresh_products(raw, ids, moved)
    for some in blocks(sorted(touched)):
        moved |= _refresh_codes(raw, some)
    return moved


def _refresh_products(raw: sqlite3.Connection, ids: Sequence[int], moved: set[int]) -> set[int]:
    """Do as told for some products; return the GTINs to be looked at, and add to `moved` where removed ones led."""
    within = f"product_id IN {marks(ids)}"
    shared = {gtin for (gtin,) in raw.execute(f"SELECT gtin FROM code_use WHERE {within}", ids)}
    if shared:
        raw.execute(f"DELETE FROM code_use WHERE {within}", ids)
    led = set(raw.execute(f"SELECT gtin, root FROM code WHERE root IN {marks(ids)}", ids))
    statement = f"SELECT product_id, gtin, brand, category, title FROM comp WHERE {within} ORDER BY product_id"
    rows = raw.execute(statement, ids).fetchall()
    products, codes, *texts = map(list, zip(*rows, strict=True)) if rows else ([] for _ in range(5))
    uses = uses_of(products, codes)
    noted = {use for use in uses if use not in led or use[0] in shared}
    _note_uses(raw, noted)
    said = [(*usual, product_id) for product_id, *usual in described(products, *texts)]
    raw.executemany("UPDATE product SET brand = ?, category = ?, title = ? WHERE id = ?", said)
    empty = sorted(set(ids) - {row[3] for row in said})
    if empty:
        moved |= {row[0] for row in raw.execute(f"SELECT root FROM product WHERE id IN {marks(empty)}", empty)}
        raw.execute(f"DELETE FROM product WHERE id IN {marks(empty)}", empty)
    return shared.union(gtin for gtin, _ in (led - uses) | noted)


def uses_of(products: Sequence[int], gtins: Sequence[int | None]) -> set[Use]:
    """Return which codes the rows of some products carry."""
    return {(gtin, one) for gtin, one in set(zip(gtins, products, strict=True)) if gtin is not None}


def _note_uses(raw: sqlite3.Connection, uses: set[Use]) -> None:
    """Write uses that are not the only one of their code, or may not be, beside those there are of the same codes."""
    if not uses:
        return
    for some in blocks(sorted({gtin for gtin, _ in uses})):
        raw.execute(
            "INSERT OR FAIL INTO code_use SELECT k.gtin, k.root, count(*) FROM code k CROSS JOIN comp c "
            f"ON c.product_id = k.root AND c.gtin = k.gtin WHERE k.gtin IN {marks(some)} "
            "AND NOT EXISTS (SELECT 1 FROM code_use u WHERE u.gtin = k.gtin) GROUP BY k.gtin",
            some,
        )
    raw.executemany(
        "INSERT OR REPLACE INTO code_use SELECT ?1, ?2, count(*) FROM comp WHERE product_id = ?2 AND gtin = ?1",
        sorted(uses),
    )


class Uses:
    """Which codes the rows of new products carry.

    Attributes
    ----------
    first : dict of int to int
        GTIN to the number of a product.
    more : set of Use
        Further products that use one of these.
    """

    def __init__(self) -> None:
        self.first: dict[int, int] = {}
        self.more: set[Use] = set()

    def add(self, products: Sequence[int], gtins: Sequence[int | None]) -> None:
        """Take the codes of all rows there are of some products."""
        uses = dict(zip(gtins, products, strict=True))
        # Nearly always, and then it is told of all at once.
        if None not in uses and all(map(eq, map(uses.get, gtins), products)) and self.first.keys().isdisjoint(uses):
            self.first.update(cast("dict[int, int]", uses))
            return
        for gtin, product_id in uses_of(products, gtins):
            if self.first.setdefault(gtin, product_id) != product_id:
                self.more.add((gtin, product_id))


def note_first_uses(raw: sqlite3.Connection, uses: Uses, others: Container[int]) -> set[int]:
    """Let new codes lead to the first of these new products that use them; return those that may lead elsewhere.

    Some that earlier rows of the same load use in other ways may not lead anywhere yet: they are named in `others`.
    """
    single = sorted(uses.first.items())
    before = raw.total_changes
    insert(raw, "INSERT OR IGNORE INTO code", "(?, ?)", single)
    shared = {gtin for gtin, _ in uses.more}.union(gtin for gtin in uses.first if gtin in others)
    if raw.total_changes - before < len(single):
        for some in blocks([gtin for gtin, _ in single]):
            found = raw.execute(f"SELECT gtin, root FROM code WHERE gtin IN {marks(some)}", some)
            shared.update(gtin for gtin, root in found if root != uses.first[gtin])
    _note_uses(raw, uses.more.union((gtin, uses.first[gtin]) for gtin in shared))
    return shared


def described(
    products: Sequence[int], brands: Sequence[str], categories: Sequence[str], titles: Sequence[str]
) -> Iterator[tuple[int, str, str, str]]:
    """Return of each product its number and the brand, category and title most of its rows have.

    Given are the columns of comp, ordered by product.
    """
    rows = Counter(products)
    lasts = list(accumulate(rows.values()))
    spans = list(map(slice, chain((0,), lasts), lasts))
    # Brand and category are nearly always the same in all rows of a product, which can be told of all at once.
    alike = len(set(zip(products, brands, categories, strict=True))) == len(rows)
    for product_id, span in zip(rows, spans, strict=True):
        some = titles[span]
        # Titles are mostly all different, and then the first in the alphabet is taken; "" would be the first of all.
        title = (min(some) if len(set(some)) == len(some) else "") or _usual(some)
        if alike:
            yield product_id, brands[span.start], categories[span.start], title
        else:
            yield product_id, _usual(brands[span]), _usual(categories[span]), title


def _usual(texts: Sequence[str]) -> str:
    """Return the text most rows have, blanks aside; of equally frequent ones the first in the alphabet."""
    different = set(texts)
    if len(different) == 1:
        return texts[0]
    different.discard("")
    if len(different) == 1:
        return different.pop()
    counted = Counter(texts)
    return min(different, key=lambda text: (-counted[text], text))


def _refresh_codes(raw: sqlite3.Connection, gtins: Sequence[int]) -> set[int]:
    """Let each code lead to its product: a style, if there is one, else a barcode alone; return as `refresh`."""
    within = f"gtin IN {marks(gtins)}"
    counted = raw.execute(
        f"SELECT gtin, max(product_id), count(*) FROM code_use WHERE {within} GROUP BY gtin", gtins
    ).fetchall()
    single = [use[:2] for use in counted if use[2] == 1]
    led = set(raw.execute(f"SELECT gtin, root FROM code WHERE {within}", gtins))
    wrong = [gtin for gtin, _ in led.difference(single)]
    if wrong:
        raw.execute(f"DELETE FROM code WHERE gtin IN {marks(wrong)}", wrong)
    insert(raw, "INSERT OR FAIL INTO code", "(?, ?)", [use for use in single if use not in led] if led else single)
    if len(counted) < len(gtins):
        gone = sorted(set(gtins).difference(use[0] for use in counted))
        raw.execute(f"DELETE FROM code WHERE gtin IN {marks(gone)}", gone)
    for some in blocks([gtin for gtin, _ in single]):
        raw.execute(f"DELETE FROM code_use WHERE gtin IN {marks(some)}", some)
    shared = [use[0] for use in counted if use[2] > 1]
    uses = raw.execute(
        "SELECT u.gtin, p.id, p.key, u.rows FROM code_use u CROSS JOIN product p ON p.id = u.product_id "
        f"WHERE u.gtin IN {marks(shared)}",
        shared,
    ).fetchall()
    # The last one wins: GTIN-only products before styles, few rows before many, the alphabet backwards.
    uses.sort(key=itemgetter(2), reverse=True)
    uses.sort(key=itemgetter(3))
    uses.sort(key=_is_style)
    leads = {use[0]: use[1] for use in uses}
    raw.executemany("INSERT OR REPLACE INTO code VALUES (?, ?)", sorted(leads.items()))
    leads.update(single)
    return _lead(raw, leads, {use[1] for use in single}, {use[1] for use in uses})


def _lead(raw: sqlite3.Connection, leads: dict[int, int], single: set[int], shared: set[int]) -> set[int]:
    """Let products of a barcode alone lead where it leads, given products by how many use a code; return as `refresh`.

    Nearly all products lead to themselves already, and the database knows which do not.
    """
    statement = "SELECT id, root, key FROM product WHERE id IN {} AND key GLOB 'g:*'"
    found: list[tuple[int, int, str]] = []
    for some in blocks(sorted(single)):
        found += raw.execute(statement.format(marks(some)) + " AND root <> id", some)
    for some in blocks(sorted(shared)):
        found += raw.execute(statement.format(marks(some)), some)
    changed = {product_id: (leads.get(int(key[2:]), root), root) for product_id, root, key in found}
    changed = {product_id: both for product_id, both in changed.items() if both[0] != both[1]}
    raw.executemany("UPDATE product SET root = ? WHERE id = ?", [(new, one) for one, (new, _) in changed.items()])
    return set(changed) | {old for _, old in changed.values()}


def _is_style(use: tuple[int, int, str, int]) -> bool:
    return use[2].startswith("s:")
