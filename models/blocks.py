"""A design most of whose columns belong to one group of rows each, kept as one small dense matrix a group.

A category's own slope, season and strata are nought in the rows of all others. Over forty categories a dense design is
nearly all noughts, and squaring it is nearly all of a fit's work.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Blocks:
    """An (n, width) matrix by groups of its rows: which rows, which of the columns they have, and what stands there."""

    parts: tuple[tuple[Ints, Ints, Floats], ...]
    rows: int
    width: int

    @classmethod
    def of(cls, group: Ints, width: int, design: Callable[[Ints], Floats]) -> Blocks:
        """Build from the group of each row, (n,), and a function that lays out some rows in full: (m, width)."""
        order = np.argsort(group, kind="stable")
        starts = np.flatnonzero(np.diff(group[order], prepend=-1))
        parts = []
        for rows in np.split(order, starts[1:]):
            whole = design(rows)
            columns = np.flatnonzero(whole.any(axis=0))
            parts.append((rows, columns, np.ascontiguousarray(whole[:, columns])))
        return cls(tuple(parts), len(group), width)

    def times(self, values: Floats) -> Floats:
        """Multiply by a vector: (width,) to (n,)."""
        found = np.zeros(self.rows)
        for rows, columns, part in self.parts:
            found[rows] = part @ values[columns]
        return found

    def back(self, values: Floats) -> Floats:
        """Multiply a vector by the transposed matrix: (n,) to (width,)."""
        found = np.zeros(self.width)
        for rows, columns, part in self.parts:
            found[columns] += values[rows] @ part
        return found

    def squared(self, weight: Floats) -> Floats:
        """Sum the rows' squares by weights (n,) of 0 or more: (width, width)."""
        found = np.zeros((self.width, self.width))
        for rows, columns, part in self.parts:
            scaled = part * np.sqrt(weight[rows])[:, None]
            # A matrix times itself: half of the sums, for the other half is the same.
            found[np.ix_(columns, columns)] += scaled.T @ scaled
        return found
