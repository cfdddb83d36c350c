"""Write the good rows of a load into the tables: many at a time, in the order they are kept in.

A pass over a hundred thousand rows waits for memory at each of them, so everything is done to a few thousand at a time.
"""

from __future__ import annotations

import sqlite3
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import compress, count
from operator import add, itemgetter
from typing import Any

from sourcing.comps.counted import count_again
from sourcing.comps.keys import Keys
from sourcing.comps.many import blocks, insert, marks
from sourcing.comps.refresh import CodeUse, code_uses, described, note_uses, refresh
from sourcing.comps.rows import OPEN, Judged, text_of

AT_ONCE = 100_000  # rows sorted together: the more, the fewer pages of the file are written twice
_TOGETHER = 2_000
_CACHED = 200_000

Row = tuple[Any, ...]  # the number of the product, then the key and the other values as `Judge.stored` names them
_PRODUCT = itemgetter(0)


class Writer:
    """Add rows to comp, and what they touch elsewhere; one for each load, inside its transaction.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection.
    batch_id : int
        The load that brings the rows.
    stored : sequence of str
        Names of the values of a row, in their order: the key, the status, and so on; last the number of the row.
    before_much : callable
        Called before the first row is written where there are many.
    """

    def __init__(
        self, raw: sqlite3.Connection, batch_id: int, stored: Sequence[str], before_much: Callable[[], None]
    ) -> None:
        self._raw = raw
        self._before_much = before_much
        self._batch = batch_id
        self.new = 0  # rows that were not there yet
        self._keys = Keys()
        self._products: list[str] = []  # of the rows that wait
        self._keyed = array("q")  # keys of the rows that wait
        self._numbered = array("q")  # and their numbers in the file
        self._states = bytearray()  # and how they stand
        self._rows: list[Row] = []
        self._texts: list[str] = []  # what the file said in them, where the user's words were put for its
        self._open = array("q"), array("q")  # products and keys of open rows; a seventh of what a list of pairs takes
        self._ids: dict[str, int] = {}
        self._touched: set[int] = set()  # products that were there and have new rows
        self._shared: set[int] = set()  # products with rows that an earlier load brought too
        self._gtins: set[int] = set()
        self._mostly_known = False  # so far
        self._moved = {
            (product, key): product_id
            for product, key, product_id in raw.execute("SELECT product_key, key, product_id FROM moved")
        }
        # A row that was moved still names the number of its product, so that is not to be given to another.
        top = "SELECT max(coalesce((SELECT max(id) FROM product), 0), coalesce((SELECT max(product_id) FROM moved), 0))"
        self._first_id = self._next_id = 1 + raw.execute(top).fetchone()[0]
        names = ("product_id", *stored)
        quoted = ", ".join(f'"{name}"' for name in names)
        self._into = f"INTO comp (batch_id, {quoted})"
        self._marks = f"({batch_id}{', ?' * len(names)})"
        self._described = [names.index(name) for name in ("product_id", "gtin", "brand", "category", "title")]
        self._names_listings = "listing" in names

    @property
    def identical(self) -> int:
        """How many rows repeated an earlier one of the file."""
        return self._keys.identical

    def add(self, judged: Judged) -> None:
        """Take the good rows of a block; they are written when enough have come together."""
        if len(self._rows) >= AT_ONCE:
            self._before_much()
            self.flush()
        self._products += judged.products
        self._keyed.extend(judged.columns[0])
        self._numbered.extend(judged.columns[-1])
        self._states += bytes(judged.columns[1])
        self._rows += zip(*judged.columns, strict=True)
        self._texts += judged.texts

    def flush(self) -> None:
        """Write what has come together."""
        first_new = self._next_id
        rows, products, keys, texts = self._rows, self._products, self._keyed, self._texts
        row_numbers, states = self._numbered, self._states
        self._rows, self._products, self._keyed, self._texts = [], [], array("q"), []
        self._numbered, self._states = array("q"), bytearray()
        for place, key in self._keys.apart(keys, lambda place: texts[place] if texts else text_of(rows[place])).items():
            rows[place], keys[place] = (key, *rows[place][1:]), key
        moved = self._follow(products, keys)
        if moved:
            staying = {product for place, product in enumerate(products) if place not in moved}
            ids, fresh = self._product_ids(staying)
            numbers = [moved[place] if place in moved else ids[product] for place, product in enumerate(products)]
        else:
            ids, fresh = self._product_ids(set(products))
            numbers = list(map(ids.__getitem__, products))
        # The order they are kept in: each page of the file is written once.
        order = sorted(range(len(rows)), key=numbers.__getitem__)
        numbers = list(map(numbers.__getitem__, order))
        uses: list[CodeUse] = []
        for first, last in _parts(numbers, bisect_left(numbers, first_new)):
            places = order[first:last]
            both = list(zip(numbers[first:last], map(keys.__getitem__, places), strict=True))
            for product_id, key in compress(both, [states[place] == OPEN for place in places]):
                self._open[0].append(product_id)
                self._open[1].append(key)
            if numbers[first] < first_new:
                self._merge(both, places, row_numbers, rows)
                continue
            part: list[Row] = list(map(add, zip(numbers[first:last]), map(rows.__getitem__, places)))
            insert(self._raw, f"INSERT {self._into}", self._marks, part, 10)
            self.new += len(part)
            uses += self._add_products(fresh[numbers[first] - first_new :], part)
        self._gtins |= note_uses(self._raw, uses)

    def _follow(self, products: Sequence[str], keys: Sequence[int]) -> dict[int, int]:
        """Return where edits have moved rows, by place, as far as that product is there."""
        if not self._moved:
            return {}
        there = "SELECT id FROM product WHERE id IN (SELECT product_id FROM moved)"
        targets = {row[0] for row in self._raw.execute(there)}
        return {
            place: self._moved[both]
            for place, both in enumerate(zip(products, keys, strict=True))
            if self._moved.get(both) in targets
        }

    def _merge(
        self, both: list[tuple[int, int]], places: Sequence[int], row_numbers: Sequence[int], rows: Sequence[Row]
    ) -> None:
        """Add those of some rows, of products that were there, that are not there yet.

        Given are product and key of each, its place among the rows that wait, and of all of these the numbers in the
        file and the values; of rows that are known the values are not touched.
        """
        known: set[Any] = set()
        new: list[Row] = []
        if self._mostly_known:
            known = self._known(both)
            if len(known) < len(both):
                fresh = [(one, place) for one, place in zip(both, places, strict=True) if one not in known]
                new = [(one[0], *rows[place]) for one, place in fresh]
                insert(self._raw, f"INSERT {self._into}", self._marks, new, 10)
        else:  # trying to insert is the cheapest way to ask
            new = [(one[0], *rows[place]) for one, place in zip(both, places, strict=True)]
            before = self._raw.total_changes
            insert(self._raw, f"INSERT OR IGNORE {self._into}", self._marks, new, 10)
            if self._raw.total_changes - before < len(new):
                known = self._known(both)
                new = [row for row, one in zip(new, both, strict=True) if one not in known]
        if known:  # rows an earlier batch brought: this one brings them too, should the earlier be undone
            told = zip(both, map(row_numbers.__getitem__, places), strict=True)
            again = [(*one, number) for one, number in told if one in known]
            into = 'INSERT INTO also_in (batch_id, product_id, key, "row")'
            insert(self._raw, into, f"({self._batch}, ?, ?, ?)", again, 100)
            self._shared.update(map(_PRODUCT, again))
        self.new += len(new)
        self._touched.update(map(_PRODUCT, new))
        self._mostly_known = 2 * len(known) > len(both)

    def _known(self, keys: Sequence[tuple[int, int]]) -> set[Any]:
        """Return those of the products and keys that another batch brought."""
        known: set[Any] = set()
        asked = set(keys)
        for some in blocks(sorted(set(map(_PRODUCT, keys)))):
            statement = f"SELECT product_id, key FROM comp WHERE product_id IN {marks(some)} AND batch_id <> ?"  # noqa: S608
            known |= asked.intersection(self._raw.execute(statement, (*some, self._batch)))
        return known

    def _add_products(self, keys: Sequence[str], rows: list[Row]) -> list[CodeUse]:
        """Add new products, whose rows are all at hand, so that they need not be read again; return the codes' uses."""
        ids, gtins, *texts = (list(map(itemgetter(place), rows)) for place in self._described)
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

    def finish(self, day: int | None) -> tuple[int, int]:
        """Bring everything derived in line with the rows, which were true on the day given; return as `count_again`."""
        if day is not None:
            self._raw.executemany(
                "UPDATE comp SET seen = ? WHERE product_id = ? AND key = ? AND (seen IS NULL OR seen < ?)",
                ((day, product_id, key, day) for product_id, key in zip(*self._open, strict=True)),
            )
        self._raw.execute("UPDATE batch SET as_of = ? WHERE id = ?", (day, self._batch))
        changed = refresh(self._raw, self._touched, self._gtins)
        return count_again(self._raw, changed.union(self._touched, self._shared, self._in_question()), self._batch)

    def _in_question(self) -> Iterable[int]:
        """Return the new products whose rows need not all count, although no other load brought rows of theirs."""
        first = self._first_id
        if self._names_listings:
            return range(first, self._next_id)
        linked = self._raw.execute(
            "SELECT id FROM product WHERE id >= ? AND root <> id UNION SELECT root FROM product WHERE root >= ? "
            "AND root <> id",
            (first, first),
        )
        return [row[0] for row in linked]


def _parts(products: Sequence[int], of_new: int) -> Iterator[tuple[int, int]]:
    """Cut rows, ordered by product, into handy parts; all rows of a new product stay together."""
    for first in range(0, of_new, _TOGETHER):
        yield first, min(of_new, first + _TOGETHER)
    first = of_new
    while first < len(products):
        last = bisect_right(products, products[min(first + _TOGETHER, len(products)) - 1])
        yield first, last
        first = last
