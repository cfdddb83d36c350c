"""Rows ready to be written: in the order they are kept in, held column by column."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from itertools import compress
from operator import itemgetter
from typing import Any

from sourcing.comps.many import insert_columns
from sourcing.comps.standing import OPEN

_STATUS = 1  # place of its column
_PROBED = 997  # every so many values tell that a column holds more than one, before all of them are looked at


class Ready:
    """Rows of one load, ordered by product.

    A column is put in order once it is asked for, as of rows that are known few are. One that is the same in all rows,
    such as one the file does not have, is neither ordered nor bound row by row.

    Parameters
    ----------
    batch_id : int
        The load.
    names : sequence of str
        Of the columns, in storage: the key, the status, and so on.
    products : sequence of int
        The number of each row's product.
    columns : list of sequence
        As named; they are taken over.

    Attributes
    ----------
    products : sequence of int
        In order.
    """

    def __init__(
        self, batch_id: int, names: Sequence[str], products: Sequence[int], columns: list[Sequence[Any]]
    ) -> None:
        self._in_order = _picker(sorted(range(len(products)), key=products.__getitem__))
        self.products = self._in_order(products)
        self._columns = columns
        alike = [_is_alike(column) for column in columns]
        self._ordered = list(alike)
        self._varies = [place for place, same in enumerate(alike) if not same]
        same = list(compress(range(len(columns)), alike))
        self._same = [columns[place][0] for place in same]
        written = [f'"{names[place]}"' for place in (*same, *self._varies)]
        self._into = f"INTO comp (batch_id, {', '.join([*written, 'product_id'])}"
        # Numbered marks are bound once, however many rows a statement holds.
        marks = [*(f"?{number}" for number in range(1, len(same) + 1)), *("?" * len(self._varies)), "?"]
        self._marks = f"({batch_id}, {', '.join(marks)}"

    def column(self, place: int, first: int, last: int) -> Sequence[Any]:
        """Return the values of some rows, by the place of their column."""
        if not self._ordered[place]:
            self._columns[place], self._ordered[place] = self._in_order(self._columns[place]), True
        return self._columns[place][first:last]

    def insert(
        self,
        raw: sqlite3.Connection,
        how: str,
        first: int,
        last: int,
        *,
        day: int | None = None,
        only: Sequence[bool] | None = None,
    ) -> None:
        """Insert some rows: open ones as seen on a day, where one is given; only those told, where they are."""
        columns = [*(self.column(place, first, last) for place in self._varies), self.products[first:last]]
        if only is not None:
            columns = [list(compress(column, only)) for column in columns]
        into, marks = self._into, self._marks
        if day is not None:
            into, marks = f"{into}, seen", f"{marks}, ?"
            columns.append([day if status == OPEN else None for status in self.column(_STATUS, first, last)])
        insert_columns(raw, f"{how} {into})", f"{marks})", columns, 25, self._same)


def _picker(order: Sequence[int]) -> Callable[[Sequence[Any]], Sequence[Any]]:
    """Return what puts a column in order."""
    if len(order) < 2:  # of one place, `itemgetter` returns no sequence, and of none it is not made
        return lambda column: column
    return itemgetter(*order)


def _is_alike(column: Sequence[Any]) -> bool:
    """Tell whether a column holds one value throughout."""
    return len(set(column[::_PROBED])) == 1 and column.count(column[0]) == len(column)
