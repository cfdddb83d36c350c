"""How a style's level strays for a while: what its sales of about the same days say beyond its long-run level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WINDOW = 60.0  # days on either side
_FEWEST_PAIRS = 100


@dataclass(frozen=True)
class Strays:
    """Sales in order of product and day, with running sums; ``variance`` of the strays in log price."""

    key: Floats
    sums: Floats
    counts: Floats
    variance: Floats  # (1,) the strays' variance
    noise: Floats  # (1,) variance of one sale

    def at(self, product: Ints, day: Floats, own: Floats | None = None) -> tuple[Floats, Floats]:
        """Expected stray of products at days (n,), and its remaining variance.

        Parameters
        ----------
        own : residual of the row itself, to be left out; nan where the row is no sale of the sums.
        """
        total, count = self.around(product, day)
        if own is not None:
            mine = ~np.isnan(own)
            total, count = total - np.where(mine, np.nan_to_num(own), 0.0), count - mine
        variance = float(self.variance[0])
        share = count / (count + float(self.noise[0]) / max(variance, 1e-9))
        return np.where(count > 0, share * total / np.maximum(count, 1), 0.0), variance * (1.0 - share)

    def around(self, product: Ints, day: Floats) -> tuple[Floats, Floats]:
        """Sum and count of the product's residuals within the window of each day: (n,), (n,)."""
        day = np.nan_to_num(day)
        low = np.searchsorted(self.key, _key(product, day - WINDOW), side="left")
        high = np.searchsorted(self.key, _key(product, day + WINDOW), side="right")
        return self.sums[high] - self.sums[low], self.counts[high] - self.counts[low]


def find_strays(product: Ints, day: Floats, residual: Floats) -> Strays:
    """Measure strays from sales (n,) with their residuals around the long-run level, wild ones left out beforehand.

    The variance is the mean product of a residual with the mean of its neighbours in time: their noise is
    independent, what they share is the stray (the covariance at a small lag of a variogram, Cressie 1993, ch. 2).
    """
    order = np.lexsort((day, product))
    key = _key(product[order], day[order])
    values = residual[order]
    sums, counts = np.concatenate([[0.0], np.cumsum(values)]), np.arange(len(values) + 1, dtype=np.float64)
    blank = Strays(key, sums, counts, np.array([1.0]), np.array([1.0]))
    low = np.searchsorted(key, _key(product, day - WINDOW), side="left")
    high = np.searchsorted(key, _key(product, day + WINDOW), side="right")
    others = counts[high] - counts[low] - 1
    paired = others > 0
    if paired.sum() < _FEWEST_PAIRS:
        return Strays(key, sums, counts, np.array([0.0]), np.array([1.0]))
    near = (blank.sums[high] - blank.sums[low] - residual)[paired] / others[paired]
    # Weighed by how much the neighbours are worth; the long-run level has used up one of the style's sales.
    worth = others[paired] / (others[paired] + 3.0)
    size = np.bincount(product)[product][paired]
    shared = float(np.average(residual[paired] * near + float(np.var(residual)) / size, weights=worth))
    variance = max(shared, 0.0)
    return Strays(key, sums, counts, np.array([variance]), np.array([max(float(np.var(residual)) - variance, 1e-6)]))


def _key(product: Ints, day: Floats) -> Floats:
    """One number that sorts by product, then day; days stay within a million of the origin."""
    found: Floats = product * 4e6 + day
    return found
