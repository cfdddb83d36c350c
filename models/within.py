"""How sure effects are that are seen on top of unknown levels: of sizes, styles, brands and the category."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Nest:
    """Unknown levels in one another, the lowest first: variance about the parent, and which the parent is.

    The parents of the highest are the categories, of whose means nothing is known beforehand.
    """

    steps: tuple[tuple[Floats, Ints], ...]

    def taken(self, lowest: Ints, precision: Floats, columns: Floats) -> Floats:
        """Information on effects that goes to the levels: (k, k), to be subtracted from that of known levels.

        Parameters
        ----------
        lowest : (V,) distinct levels of the lowest kind. precision : (V,) of their rows in all. columns : (V, k) sums
        of their rows' precision times effect.

        Notes
        -----
        The Schur complement of the levels in the mixed-model equations, one kind after the other (Searle, Casella &
        McCulloch 1992, Variance Components, ch. 7).
        """
        at, width = lowest, columns.shape[1]
        found = np.zeros((width, width))
        for variance, parent in self.steps:
            step = 1.0 / variance[at]
            found += columns.T @ (columns / (precision + step)[:, None])
            left = step / (precision + step)
            above, place = np.unique(parent[at], return_inverse=True)
            flat = place[:, None] * width + np.arange(width)
            summed = np.bincount(flat.ravel(), (columns * left[:, None]).ravel(), len(above) * width)
            columns = summed.astype(np.float64).reshape(len(above), width)
            precision, at = np.bincount(place, precision * left).astype(np.float64), above
        seen = precision > 0
        found += columns[seen].T @ (columns[seen] / precision[seen, None])
        return found


def effect_errors(
    precision: Floats, effect: Ints, effects: int, lowest: Ints, nest: Nest, base: int, ridge: float
) -> Floats:
    """Return the standard error of each effect against the base one, the levels unknown: (effects,).

    Parameters
    ----------
    precision, effect, lowest : (n,) of the rows. ridge : precision of an effect before any row.
    """
    live, place = np.unique(lowest, return_inverse=True)
    sums: Floats = np.bincount(place * effects + effect, precision, len(live) * effects).astype(np.float64)
    sums = sums.reshape(len(live), effects)
    information = np.diag(sums.sum(axis=0) + ridge) - nest.taken(live, sums.sum(axis=1), sums)
    others = np.flatnonzero(np.arange(effects) != base)
    found = np.zeros(effects)
    found[others] = np.sqrt(np.diag(np.linalg.inv(information[np.ix_(others, others)])))
    return found
