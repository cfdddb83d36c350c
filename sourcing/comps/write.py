"""Write the good rows of a load into the tables: many at a time, in the order they are kept in.

A pass over a hundred thousand rows waits for memory at each of them, so everything is done to a few thousand at a time.
"""

from __future__ import annotations

import sqlite3
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import compress, count
from operator import itemgetter
from typing import Any

from sourcing.comps.counted import count_again
from sourcing.comps.keys import Keys
from sourcing.comps.many import blocks, insert, insert_columns, marks
from sourcing.comps.ready import Ready
from sourcing.comps.refresh import Uses, described, note_first_uses, refresh
from sourcing.comps.rows import OPEN, Judged, text_of

AT_ONCE = 100_000  # rows sorted together: the more, the fewer pages of the file are written twice
_TOGETHER = 2_000
_CACHED = 200_000
_KEY, _STATUS, _ROW = 0, 1, -1  # columns of `Judge.stored`
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
        self._stored = stored
        self.new = 0  # rows that were not there yet
        self._keys = Keys()
        self._wait_anew()
        self._open = array("q"), array("q")  # products and keys of open rows; a seventh of what a list of pairs takes
        self._ids: dict[str, int] = {}
        self._touched: set[int] = set()  # products that were there and have new rows
        self._shared: set[int] = set()  # products with rows that an earlier load brought too
        self._gtins: set[int] = set()
        self._mostly_known = True  # so far; to ask for the first few costs little
        self._moved = {
            (product, key): product_id
            for product, key, product_id in raw.execute("SELECT product_key, key, product_id FROM moved")
        }
        # A row that was moved still names the number of its product, so that is not to be given to another.
        top = "SELECT max(coalesce((SELECT max(id) FROM product), 0), coalesce((SELECT max(product_id) FROM moved), 0))"
        self._first_id = self._next_id = 1 + raw.execute(top).fetchone()[0]
        self._described = [stored.index(name) for name in ("gtin", "brand", "category", "title")]
        self._names_listings = "listing" in stored

    def _wait_anew(self) -> None:
        """Let go of the rows that wait: they are held column by column, which takes half of what rows would."""
        self._products: list[str] = []
        self._columns: list[Any] = [array("q") if name in ("key", "row") else [] for name in self._stored]
        self._texts: list[str] = []  # what the file said in them, where the user's words were put for its

    @property
    def identical(self) -> int:
        """How many rows repeated an earlier one of the file."""
        return self._keys.identical

    def add(self, judged: Judged) -> None:
        """Take the good rows of a block; they are written when enough have come together."""
        if len(self._products) >= AT_ONCE:
            self._before_much()
            self.flush()
        self._products += judged.products
        self._texts += judged.texts
        for waiting, more in zip(self._columns, judged.columns, strict=True):
            waiting.extend(more)

    def flush(self, day: int | None = None) -> None:
        """Write what has come together; `day` is when the rows were true, where that is known already."""
        first_new = self._next_id
        products, columns, texts = self._products, self._columns, self._texts
        self._wait_anew()
        keys = columns[_KEY]

        def text(place: int) -> str:
            return texts[place] if texts else text_of([column[place] for column in columns])

        for place, key in self._keys.apart(keys, text).items():
            keys[place] = key
        moved = self._follow(products, keys)
        if moved:
            staying = {product for place, product in enumerate(products) if place not in moved}
            ids, fresh = self._product_ids(staying)
            numbers = [moved[place] if place in moved else ids[product] for place, product in enumerate(products)]
        else:
            ids, fresh = self._product_ids(set(products))
            numbers = list(map(ids.__getitem__, products))
        # The order they are kept in: each page of the file is written once.
        ready = Ready(self._batch, self._stored, numbers, columns)
        uses = Uses()
        for first, last in _parts(ready.products, bisect_left(ready.products, first_new)):
            product_id = ready.products[first]
            if product_id < first_new:
                self._merge(ready, first, last)
                continue
            ready.insert(self._raw, "INSERT OR FAIL", first, last, day=day)
            if day is None:
                self._note_open(ready, first, last)
            self.new += last - first
            self._add_products(fresh[product_id - first_new :], ready, first, last, uses)
        self._gtins |= note_first_uses(self._raw, uses, self._gtins)

    def _note_open(self, ready: Ready, first: int, last: int) -> None:
        """Remember which rows are open, to say later on when they were seen."""
        is_open = [status == OPEN for status in ready.column(_STATUS, first, last)]
        self._open[0].extend(compress(ready.products[first:last], is_open))
        self._open[1].extend(compress(ready.column(_KEY, first, last), is_open))

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

    def _merge(self, ready: Ready, first: int, last: int) -> None:
        """Add those of some rows, of products that were there, that are not there yet."""
        products = ready.products[first:last]
        self._note_open(ready, first, last)
        before = self._raw.total_changes
        known = 0
        if not self._mostly_known:  # trying to insert is the cheapest way to ask
            ready.insert(self._raw, "INSERT OR IGNORE", first, last)
        if self._raw.total_changes - before < len(products):
            known = self._bring_too(ready, first, last)
        new: Sequence[int] = products
        if known:
            both = list(zip(products, ready.column(_KEY, first, last), strict=True))
            there = self._known(both) if known < len(both) else set(both)
            self._shared.update(map(_PRODUCT, there))
            is_new = [one not in there for one in both] if known < len(both) else []
            new = list(compress(products, is_new))
            if new and self._mostly_known:
                ready.insert(self._raw, "INSERT OR FAIL", first, last, only=is_new)
        elif self._mostly_known:
            ready.insert(self._raw, "INSERT OR FAIL", first, last)
        self.new += len(new)
        self._touched.update(new)
        self._mostly_known = 2 * known > len(products)

    def _bring_too(self, ready: Ready, first: int, last: int) -> int:
        """Note those of some rows that an earlier batch brought, should that be undone; return how many they are."""
        rows = [ready.products[first:last], *(ready.column(place, first, last) for place in (_KEY, _ROW))]
        into = (
            f'INSERT OR FAIL INTO also_in (batch_id, product_id, key, "row") SELECT {self._batch}, v.column1, '  # noqa: S608
            "v.column2, v.column3 FROM ("
        )
        there = ") v CROSS JOIN comp c WHERE c.product_id = v.column1 AND c.key = v.column2 AND c.batch_id <> "
        before = self._raw.total_changes
        insert_columns(self._raw, into, "(?, ?, ?)", rows, end=f"{there}{self._batch}")
        return int(self._raw.total_changes - before)

    def _known(self, keys: Sequence[tuple[int, int]]) -> set[Any]:
        """Return those of the products and keys that another batch brought."""
        known: set[Any] = set()
        asked = set(keys)
        for some in blocks(sorted(set(map(_PRODUCT, keys)))):
            statement = f"SELECT product_id, key FROM comp WHERE product_id IN {marks(some)} AND batch_id <> ?"  # noqa: S608
            known |= asked.intersection(self._raw.execute(statement, (*some, self._batch)))
        return known

    def _add_products(self, keys: Sequence[str], ready: Ready, first: int, last: int, uses: Uses) -> None:
        """Add new products and their codes, whose rows are all at hand, so that they need not be read again."""
        ids = ready.products[first:last]
        gtins, *texts = (ready.column(place, first, last) for place in self._described)
        products = [
            (product_id, key, product_id, key[2:] if key.startswith("s:") else "", *said)
            for key, (product_id, *said) in zip(keys, described(ids, *texts), strict=False)
        ]
        names = "id, key, root, style_code, brand, category, title"
        insert(self._raw, f"INSERT OR FAIL INTO product ({names})", "(?, ?, ?, ?, ?, ?, ?)", products)
        uses.add(ids, gtins)

    def _product_ids(self, keys: set[str]) -> tuple[dict[str, int], list[str]]:
        """Return the numbers of products by their keys, and the keys that are new, numbered in that order."""
        if len(self._ids) > _CACHED:
            self._ids.clear()
        missing = sorted(keys - self._ids.keys())
        for some in blocks(missing) if self._next_id > 1 else ():  # there are none yet
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
