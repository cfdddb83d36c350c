"""Find the comps of an item: from a code or title to its root product, from that to the rows.

Every statement runs on the calling thread's kept connection, and comps are stored clustered by product, so
one lookup reads one short stretch of the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sourcing.comps.titles import fold_title
from sourcing.storage import Store

COLUMNS_READ = (
    "status", "gtin", "ask", "sold", "ship", "listed", "ended", "seen",
    "size", "condition", "channel", "title", "note", "key",
)  # fmt: skip
"""Order of the values in a row of `rows_of`; `rows_of_many` puts the root before them."""

_READ = ", ".join(f"c.{name}" for name in COLUMNS_READ)
# CROSS JOIN is SQLite's way to fix the order: the few products of a root first, then the comps of each.
_FROM = "FROM product p CROSS JOIN comp c ON c.product_id = p.id AND c.out = 0 WHERE p.root"
_ROWS = f"SELECT {_READ} {_FROM} = ?"
_ROOT_OF_GTIN = "(SELECT root FROM code WHERE gtin = ?)"
_ROWS_OF_GTIN = f"SELECT {_READ} {_FROM} = {_ROOT_OF_GTIN}"
_AT_ONCE = 500  # far below SQLite's limit of 32,766 bound values, and the statement stays short


@dataclass(frozen=True)
class Product:
    """What is known about one root product."""

    root: int
    key: str  # "s:STYLECODE", "g:GTIN-14" or "t:folded title"
    style_code: str  # canonical, or ""
    brand: str
    category: str
    title: str
    gtins: tuple[str, ...]  # GTIN-14, sorted


def find_root(store: Store, gtin: str = "", style_key: str = "", title: str = "") -> int | None:
    """Return the root product of the first identifier that is known, tried in this order, or None.

    Parameters
    ----------
    gtin : str
        Canonical GTIN-14, or "".
    style_key : str
        Canonical style code, or "".
    title : str
        A title in any spelling of case and spacing, or "".
    """
    if gtin:
        found = store.read("SELECT root FROM code WHERE gtin = ?", (int(gtin),))
        if found:
            return int(found[0][0])
    for key in _product_keys(style_key, title):
        found = store.read("SELECT root FROM product WHERE key = ?", (key,))
        if found:
            return int(found[0][0])
    return None


def find_roots(store: Store, items: Sequence[tuple[str, str, str]]) -> list[int | None]:
    """Do `find_root` for many (gtin, style_key, title) at once, in order."""
    by_gtin = dict(_many(store, "SELECT gtin, root FROM code WHERE gtin IN", {int(g) for g, _, _ in items if g}))
    keys = [_product_keys(style, title) for _, style, title in items]
    by_key = dict(_many(store, "SELECT key, root FROM product WHERE key IN", {k for few in keys for k in few}))
    roots: list[int | None] = []
    for (gtin, _, _), few in zip(items, keys, strict=True):
        known = [by_gtin.get(int(gtin))] if gtin else []
        known += [by_key.get(key) for key in few]
        roots.append(next((root for root in known if root is not None), None))
    return roots


def rows_of(store: Store, root: int) -> list[tuple[Any, ...]]:
    """Return every comp of a root product, in the columns of `COLUMNS_READ`.

    Units: status 0 open, 1 sold, 2 ended unsold; money in minor units; days since 1970-01-01; None where
    unknown. `seen` is kept for open rows: the day the newest file holding the row was made.
    """
    return store.read(_ROWS, (root,))


def rows_of_gtin(store: Store, gtin: str) -> list[tuple[Any, ...]]:
    """Return what `rows_of` does for the root a canonical GTIN-14 leads to, in one statement; empty when unknown."""
    return store.read(_ROWS_OF_GTIN, (int(gtin),))


def rows_of_many(store: Store, roots: Iterable[int]) -> list[tuple[Any, ...]]:
    """Return the comps of many roots, each row led by its root; rows of one root stand together."""
    start = f"SELECT p.root, {_READ} {_FROM} IN"
    return list(_many(store, start, set(roots), "ORDER BY p.root"))


def product_of(store: Store, root: int) -> Product | None:
    """Return what is known about a root product, or None when there is none of that number."""
    return products_of_many(store, [root]).get(root)


def products_of_many(store: Store, roots: Iterable[int]) -> dict[int, Product]:
    """Return what is known about many root products, by root."""
    wanted = set(roots)
    gtins: dict[int, list[str]] = {}
    for root, gtin in _many(store, "SELECT root, gtin FROM code WHERE root IN", wanted, "ORDER BY gtin"):
        gtins.setdefault(root, []).append(f"{gtin:014d}")
    start = "SELECT id, key, style_code, brand, category, title FROM product WHERE id IN"
    return {
        root: Product(root, key, style, brand, category, title, tuple(gtins.get(root, ())))
        for root, key, style, brand, category, title in _many(store, start, wanted)
    }


def known_codes(store: Store) -> list[str]:
    """Return every style code and GTIN-14 in the table, for suggesting the closest on a miss."""
    styles = store.read("SELECT style_code FROM product WHERE style_code <> '' ORDER BY style_code")
    gtins = store.read("SELECT gtin FROM code ORDER BY gtin")
    return [row[0] for row in styles] + [f"{row[0]:014d}" for row in gtins]


def _product_keys(style_key: str, title: str) -> list[str]:
    keys = [f"s:{style_key}"] if style_key else []
    folded = fold_title(title)
    return [*keys, f"t:{folded}"] if folded else keys


def _many(store: Store, start: str, values: Iterable[Any], end: str = "") -> Iterator[tuple[Any, ...]]:
    """Run a statement ending in ``IN`` over sorted blocks of values, so that the file is read in order."""
    ordered = sorted(values)
    for at in range(0, len(ordered), _AT_ONCE):
        block = ordered[at : at + _AT_ONCE]
        marks = ",".join("?" * len(block))
        yield from store.read(f"{start} ({marks}) {end}", block)
