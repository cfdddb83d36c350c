"""Write the good rows of a load into the tables: many at a time, in the order they are kept in.

A pass over a hundred thousand rows waits for memory at each of them, so everything is done to a few thousand at a time.
"""

from __future__ import annotations

import sqlite3
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import count
from operator import concat, itemgetter
from typing import Any

from sourcing.comps.keys import Keys
from sourcing.comps.many import blocks, insert, marks
from sourcing.comps.refresh import CodeUse, code_uses, described, note_uses, refresh
from sourcing.comps.rows import OPEN, STORED, Judged, text_of

AT_ONCE = 100_000  # rows sorted together: the more, the fewer pages of the file are written twice
_TOGETHER = 2_000
_CACHED = 200_000

Row = tuple[Any, ...]  # the number of the product, then the values of `STORED`
_PLACE = {name: place for place, name in enumerate(("product_id", *STORED))}
_DESCRIBED = ("product_id", "gtin", "brand", "category", "title")
_PRODUCT, _BOTH = itemgetter(0), itemgetter(0, _PLACE["key"])


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
        self._keys = Keys()
        self._products: list[str] = []  # of the rows that wait
        self._keyed = array("q")  # keys of the rows that wait
        self._rows: list[Row] = []  # in the order of `STORED`
        self._open = array("q"), array("q")  # products and keys of open rows; a seventh of what a list of pairs takes
        self._ids: dict[str, int] = {}
        self._touched: set[int] = set()
        self._gtins: set[int] = set()
        self._mostly_known = False  # so far
        self._next_id = raw.execute("SELECT coalesce(max(id), 0) + 1 FROM product").fetchone()[0]
        names = ", ".join(f'"{name}"' for name in _PLACE)
        self._into = f"INTO comp (batch_id, {names})"
        self._marks = f"({batch_id}{', ?' * len(_PLACE)})"

    @property
    def identical(self) -> int:
        """How many rows repeated an earlier one of the file."""
        return self._keys.identical

    def add(self, judged: Judged) -> None:
        """Take the good rows of a block; they are written when enough have come together."""
        self._products += judged.products
        self._keyed.extend(judged.columns[0])
        self._rows += zip(*judged.columns, strict=True)
        if len(self._rows) >= AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Write what has come together."""
        first_new = self._next_id
        rows, products, keys = self._rows, self._products, self._keyed
        self._rows, self._products, self._keyed = [], [], array("q")
        for place, key in self._keys.apart(keys, lambda place: text_of(rows[place])).items():
            rows[place] = (key, *rows[place][1:])
        ids, fresh = self._product_ids(set(products))
        numbers = list(map(ids.__getitem__, products))
        # The order they are kept in: each page of the file is written once.
        order = sorted(range(len(rows)), key=numbers.__getitem__)
        numbers = list(map(numbers.__getitem__, order))
        uses: list[CodeUse] = []
        for first, last in _parts(numbers, bisect_left(numbers, first_new)):
            part = list(map(concat, zip(numbers[first:last]), map(rows.__getitem__, order[first:last])))
            for product_id, key in [row[:2] for row in part if row[2] == OPEN]:
                self._open[0].append(product_id)
                self._open[1].append(key)
            if numbers[first] < first_new:
                self._merge(part)
                continue
            insert(self._raw, f"INSERT {self._into}", self._marks, part, 10)
            self.new += len(part)
            uses += self._add_products(fresh[numbers[first] - first_new :], part)
        self._gtins |= note_uses(self._raw, uses)

    def _merge(self, rows: list[Row]) -> None:
        """Add those of some rows, of products that were there, that are not there yet."""
        keys = list(map(_BOTH, rows))
        known: set[Any] = set()
        if self._mostly_known:
            known = self._known(keys)
        else:  # trying to insert is the cheapest way to ask
            before = self._raw.total_changes
            insert(self._raw, f"INSERT OR IGNORE {self._into}", self._marks, rows, 10)
            if self._raw.total_changes - before < len(rows):
                known = self._known(keys)
        new = rows
        if known:  # rows an earlier batch brought: this one brings them too, should the earlier be undone
            new = [row for row, both in zip(rows, keys, strict=True) if both not in known]
            again = [(*both, row[-1]) for row, both in zip(rows, keys, strict=True) if both in known]
            into = 'INSERT INTO also_in (batch_id, product_id, key, "row")'
            insert(self._raw, into, f"({self._batch}, ?, ?, ?)", again, 100)
        if self._mostly_known:
            insert(self._raw, f"INSERT {self._into}", self._marks, new, 10)
        self.new += len(new)
        self._touched.update(map(_PRODUCT, new))
        self._mostly_known = 2 * len(known) > len(rows)

    def _known(self, keys: Sequence[Any]) -> set[Any]:
        """Return those of the products and keys that another batch brought."""
        known: set[Any] = set()
        asked = set(keys)
        for some in blocks(sorted(set(map(_PRODUCT, keys)))):
            statement = f"SELECT product_id, key FROM comp WHERE product_id IN {marks(some)} AND batch_id <> ?"  # noqa: S608
            known |= asked.intersection(self._raw.execute(statement, (*some, self._batch)))
        return known

    def _add_products(self, keys: Sequence[str], rows: list[Row]) -> list[CodeUse]:
        """Add new products, whose rows are all at hand, so that they need not be read again; return the codes' uses."""
        ids, gtins, *texts = (list(map(itemgetter(_PLACE[name]), rows)) for name in _DESCRIBED)
        products = [
            (product_id, key, product_id, key[2:] if key.startswith("s:") else "", *said)
            for key, (product_id, *said) in zip(keys, described(ids, *texts), strict=False)
        ]
        names = "id, key, root, style_code, brand, category, title"
        insert(self._raw, f"INSERT INTO product ({names})", "(?, ?, ?, ?, ?, ?, ?)", products)
        return code_uses(ids, gtins)

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


def _parts(products: Sequence[int], of_new: int) -> Iterator[tuple[int, int]]:
    """Cut rows, ordered by product, into handy parts; all rows of a new product stay together."""
    for first in range(0, of_new, _TOGETHER):
        yield first, min(of_new, first + _TOGETHER)
    first = of_new
    while first < len(products):
        last = bisect_right(products, products[min(first + _TOGETHER, len(products)) - 1])
        yield first, last
        first = last
