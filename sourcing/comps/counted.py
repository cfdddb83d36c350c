# ruff: noqa: S608 - only placeholders are put into the statements
"""Keep comp.out in line: why a row does not count, a function of the rows there are and of the loads they are in."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from typing import Any

from sourcing.comps.columns import OUT
from sourcing.comps.listings import SAID, Told, find_listings
from sourcing.comps.many import blocks, marks
from sourcing.comps.titles import fold_title

RETOLD, ASIDE, FOREIGN = (
    OUT.index(why) for why in ("another row says more of the same listing", "set aside by you", "in another currency")
)
_TEXTS = frozenset(("size", "condition", "channel", "title", "listing"))
_FIRST = 9  # values before those of `SAID` in a row of `_ROWS`
# Most items have rows of one load only, and nothing else to ask about; the database tells without handing rows out.
_PERHAPS = """
SELECT p.root FROM product p CROSS JOIN comp c ON c.product_id = p.id WHERE p.root IN {marks}
GROUP BY p.root HAVING min(c.batch_id) < max(c.batch_id) OR max(c.out) > 0 OR max(c.listing) > ''
    OR max(c.aside) > '' OR max(c.currency) > ''
"""
# A row can only speak of the listing of another that agrees on the day listed and the asking price as far as both tell
# them, or on the number; nearly always no two rows of an item do.
_IN_QUESTION = """
SELECT p.root FROM product p CROSS JOIN comp c ON c.product_id = p.id WHERE p.root IN {marks}
GROUP BY p.root HAVING max(c.out) > 0 OR max(c.aside) > '' OR max(c.currency) > ''
    OR count(nullif(c.listing, '')) > count(DISTINCT nullif(c.listing, ''))
    OR (min(c.batch_id) < max(c.batch_id) AND count(*) > count(DISTINCT c.listed * 1000000000 + c.ask))
"""
_ROWS = f"""
SELECT p.root, c.product_id, c.key, c.batch_id, c.status, c.seen, c.note, c.aside, c.out,
    {", ".join(f"c.{name}" for name in SAID)}, c.currency
FROM product p CROSS JOIN comp c ON c.product_id = p.id WHERE p.root IN {{marks}} ORDER BY p.root
"""


def count_again(raw: sqlite3.Connection, product_ids: Iterable[int], batch_id: int = -1) -> tuple[int, int]:
    """Bring comp.out in line for the products named and all that lead to the same item.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection, inside a write transaction; product.root is in line already.
    product_ids : iterable of int
        Products whose rows, or the loads of whose rows, or whose roots have changed.
    batch_id : int
        The newest load.

    Returns
    -------
    tuple of int
        How many rows that only the newest load brought tell of listings that were known as well before, and how many
        listings known to be open it ended.
    """
    roots: set[int] = set()
    for some in blocks(sorted(set(product_ids))):
        roots.update(row[0] for row in raw.execute(f"SELECT root FROM product WHERE id IN {marks(some)}", some))
    made: dict[int, int | None] = dict(raw.execute("SELECT id, as_of FROM batch WHERE undone_at IS NULL"))
    home = cache(lambda: _home(raw))
    known = ended = 0
    in_question = sorted(roots)
    for statement in (_PERHAPS, _IN_QUESTION):
        in_question = [
            row[0] for some in blocks(in_question) for row in raw.execute(statement.format(marks=marks(some)), some)
        ]
    for some in blocks(in_question):
        more = _count(raw, some, made, home, batch_id)
        known, ended = known + more[0], ended + more[1]
    return known, ended


def count_currencies_again(raw: sqlite3.Connection) -> int:
    """Count rows that name their currency anew, after the home currency changed; return how many items have some."""
    there = {row[0] for row in raw.execute("SELECT DISTINCT product_id FROM comp WHERE currency <> ''")}
    count_again(raw, there)
    return len(there)


def _count(
    raw: sqlite3.Connection,
    roots: Sequence[int],
    made: dict[int, int | None],
    home: Callable[[], str],
    batch_id: int,
) -> tuple[int, int]:
    rows = raw.execute(_ROWS.format(marks=marks(roots)), roots).fetchall()
    brought = _also_in(raw, sorted({row[1] for row in rows}), made)
    items: dict[int, list[Told]] = defaultdict(list)
    wanted: dict[tuple[int, int], int] = {}
    for row in rows:
        root, product_id, key, first, status, seen, note, aside = row[: _FIRST - 1]
        currency = row[-1]
        wanted[product_id, key] = ASIDE if aside else 0
        if currency and currency != home():
            wanted[product_id, key] = ASIDE if aside else FOREIGN
            continue  # its amounts cannot be compared
        batches = frozenset((first, *brought.get((product_id, key), ())))
        days = [day for number in batches if (day := made.get(number)) is not None]
        items[root].append(
            Told(product_id, key, batches, status, _said(row), seen, max(days, default=None), _folded(note))
        )
    known = ended = 0
    for told in items.values():
        listings = find_listings(told)
        for both in listings.out():
            wanted[both] = wanted[both] or RETOLD
        more = listings.told_before(batch_id)
        known, ended = known + more[0], ended + more[1]
    changed = [(wanted[row[1:3]], *row[1:3]) for row in rows if wanted[row[1:3]] != row[_FIRST - 1]]
    raw.executemany("UPDATE comp SET out = ? WHERE product_id = ? AND key = ?", changed)
    return known, ended


def _also_in(
    raw: sqlite3.Connection, products: Sequence[int], made: dict[int, int | None]
) -> dict[tuple[int, int], list[int]]:
    """Return the later loads of rows that several brought."""
    brought: dict[tuple[int, int], list[int]] = defaultdict(list)
    for some in blocks(products):
        for batch_id in made:
            statement = f"SELECT product_id, key FROM also_in WHERE batch_id = ? AND product_id IN {marks(some)}"
            for both in raw.execute(statement, (batch_id, *some)):
                brought[both].append(batch_id)
    return brought


def _said(row: Sequence[Any]) -> tuple[Any, ...]:
    values = zip(SAID, row[_FIRST:], strict=False)
    return tuple((_folded(value) or None) if name in _TEXTS else value for name, value in values)


def _folded(text: str) -> str:
    return fold_title(text) if text else ""


def _home(raw: sqlite3.Connection) -> str:
    """Return the currency of the settings in force."""
    from sourcing.settings import default_settings, from_toml

    found = raw.execute("SELECT toml FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1").fetchone()
    return (from_toml(found[0]) if found else default_settings()).currency
