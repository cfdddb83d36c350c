"""Write the good rows of a load into the tables: many at a time, in the order they are kept in."""

from __future__ import annotations

import sqlite3
from array import array
from bisect import bisect_left, bisect_right
from itertools import count
from operator import itemgetter
from typing import Any

from sourcing.comps.many import blocks, insert, marks
from sourcing.comps.refresh import count_codes, described, refresh
from sourcing.comps.rows import OPEN, STORED, Judged

AT_ONCE = 100_000  # rows sorted together: the more, the fewer pages of the file are written twice
_CACHED = 200_000
_PRODUCT, _KEY = itemgetter(0), itemgetter(1)
_DESCRIBED = itemgetter(0, *(1 + STORED.index(name) for name in ("gtin", "brand", "category", "title")))


class Writer:
    """Add rows to comp, and what they touch elsewhere; one for each load, inside its transaction.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection.
    batch_id : int
        The load that brings the rows.
    """

    def __init__(self, raw: sqlite3.Connection, batch_id: int) -> None:
        self._raw = raw
        self._batch = batch_id
        self.new = 0  # rows that were not there yet
        self._waiting: list[Judged] = []
        self._open = array("q"), array("q")  # products and keys of open rows; a seventh of what a list of pairs takes
        self._ids: dict[str, int] = {}
        self._touched: set[int] = set()
        self._gtins: set[int] = set()
        self._next_id = raw.execute("SELECT coalesce(max(id), 0) + 1 FROM product").fetchone()[0]
        self._into = f"INSERT OR IGNORE INTO comp (batch_id, product_id, {', '.join(STORED)})"
        self._marks = f"({batch_id}{', ?' * (len(STORED) + 1)})"

    def add(self, judged: Judged) -> None:
        """Take the good rows of a block; they are written when enough have come together."""
        self._waiting.append(judged)
        if sum(len(waiting.products) for waiting in self._waiting) >= AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Write what has come together."""
        first_new = self._next_id
        ids, fresh = self._product_ids(set().union(*(judged.products for judged in self._waiting)))
        rows: list[tuple[Any, ...]] = []
        while self._waiting:  # let go of each block's columns at once: this is where a load needs most memory
            judged = self._waiting.pop()
            rows += zip(map(ids.__getitem__, judged.products), *judged.columns, strict=True)
            del judged
        rows.sort(key=_KEY)
        rows.sort(key=_PRODUCT)  # the order they are kept in: each page of the file is written once
        of_new = bisect_left(rows, first_new, key=_PRODUCT)
        known = self._known(rows[:of_new])
        before = self._raw.total_changes
        insert(self._raw, self._into, self._marks, [row for row in rows if row[:2] not in known] if known else rows, 10)
        new = self._raw.total_changes - before
        self.new += new
        for place, numbers in enumerate(self._open):
            numbers.extend(row[place] for row in rows if row[2] == OPEN)
        self._add_products(fresh, rows[of_new:])
        if new > len(rows) - of_new:
            self._touched.update(row[0] for row in rows[:of_new])
        # Rows an earlier batch brought: this one brings them too, should the earlier be undone.
        again = [row[:2] for row in rows[:of_new] if row[:2] in known]
        insert(self._raw, "INSERT INTO also_in (batch_id, product_id, key)", f"({self._batch}, ?, ?)", again, 100)

    def _known(self, rows: list[tuple[Any, ...]]) -> set[tuple[int, int]]:
        """Return product and key of those of the rows, ordered by product, that are in the table already."""
        known: set[tuple[int, int]] = set()
        for some in blocks(sorted({row[0] for row in rows})):
            statement = f"SELECT product_id, key FROM comp WHERE product_id IN {marks(some)}"  # noqa: S608
            first, last = bisect_left(rows, some[0], key=_PRODUCT), bisect_right(rows, some[-1], key=_PRODUCT)
            known |= {row[:2] for row in rows[first:last]}.intersection(self._raw.execute(statement, some))
        return known

    def _add_products(self, keys: list[str], rows: list[tuple[Any, ...]]) -> None:
        """Add new products, whose rows are all at hand, so that they need not be read again."""
        described_rows = list(map(_DESCRIBED, rows))
        products = [
            (said[0], key, said[0], key[2:] if key.startswith("s:") else "", *said[1:])
            for key, said in zip(keys, described(described_rows), strict=True)
        ]
        columns = "id, key, root, style_code, brand, category, title"
        insert(self._raw, f"INSERT INTO product ({columns})", "(?, ?, ?, ?, ?, ?, ?)", products)
        self._gtins |= count_codes(self._raw, described_rows)

    def _product_ids(self, keys: set[str]) -> tuple[dict[str, int], list[str]]:
        """Return the numbers of products by their keys, and the keys that are new, numbered in that order."""
        if len(self._ids) > _CACHED:
            self._ids.clear()
        missing = sorted(keys - self._ids.keys())
        for some in blocks(missing):
            self._ids.update(
                self._raw.execute(f"SELECT key, id FROM product WHERE key IN {marks(some)}", some)  # noqa: S608
            )
        fresh = [key for key in missing if key not in self._ids]
        self._ids.update(zip(fresh, count(self._next_id)))
        self._next_id += len(fresh)
        return self._ids, fresh

    def finish(self, day: int | None) -> None:
        """Bring everything derived in line with the rows, which were true on the day given."""
        if day is not None:
            self._raw.executemany(
                "UPDATE comp SET seen = ? WHERE product_id = ? AND key = ? AND (seen IS NULL OR seen < ?)",
                ((day, product_id, key, day) for product_id, key in zip(*self._open, strict=True)),
            )
        refresh(self._raw, self._touched, self._gtins)
