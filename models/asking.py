"""Asking prices as the time to sell sees them: those of the item itself, beside others of its style."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SURE = 3.0  # robust spreads beyond which an asking price is no price of the item


def within_styles(gap: Floats, product: Ints) -> Floats:
    """Take from each listing what its style's listings have in common: (n,), nan where it has no such company.

    Compared within styles, neither an error of a style's level nor its speed can bend the response to the asking
    price (the within estimator; Mundlak 1978, Econometrica 46:69).
    """
    known = np.isfinite(gap)
    products = int(product.max()) + 1 if len(product) else 0
    size = np.bincount(product[known], minlength=products)
    centre = float(np.median(gap[known])) if known.any() else 0.0
    total = np.bincount(product[known], gap[known] - centre, products)
    return np.where(size[product] >= 3, gap - (total / np.maximum(size, 1))[product], np.nan)


def plausible(gap: Floats, variance: Floats, category: Ints, categories: int) -> NDArray[np.bool_]:
    """Tell asking prices of the item from those of lots and damaged pieces, which sell like any other at leverage."""
    kept = np.zeros(len(gap), dtype=bool)
    known = np.isfinite(gap)
    for index in range(categories):
        here = known & (category == index)
        pool = here if here.sum() >= 30 else known
        if pool.sum() < 10:
            kept |= here
            continue
        centre = float(np.median(gap[pool]))
        spread = max(1.4826 * float(np.median(np.abs(gap[pool] - centre))), 0.05)
        kept |= here & (np.abs(gap - centre) <= _SURE * np.sqrt(spread**2 + variance))
    return kept
