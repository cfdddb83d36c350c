"""How sure effects are that are told from levels only within styles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def effect_errors(
    precision: Floats, effect: Ints, effects: int, product: Ints, prior: Floats, base: int, ridge: float
) -> Floats:
    """Return the standard error of each effect against the base one, the styles' levels unknown: (effects,).

    Parameters
    ----------
    precision, effect, product : (n,) of the rows. prior : (products,) precision of a style's level before its own rows.
    ridge : precision of an effect before any row.

    Notes
    -----
    The information of the rows less what their styles' levels take of it: the Schur complement of the levels in the
    mixed-model equations (Searle, Casella & McCulloch 1992, Variance Components, ch. 7).
    """
    live, place = np.unique(product, return_inverse=True)
    sums = np.bincount(place * effects + effect, precision, len(live) * effects).reshape(len(live), effects)
    total = prior[live] + sums.sum(axis=1)
    information = np.diag(sums.sum(axis=0) + ridge) - sums.T @ (sums / total[:, None])
    others = np.flatnonzero(np.arange(effects) != base)
    found = np.zeros(effects)
    found[others] = np.sqrt(np.diag(np.linalg.inv(information[np.ix_(others, others)])))
    return found
