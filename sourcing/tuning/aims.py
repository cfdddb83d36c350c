"""What a setting is judged by: profit, profit an hour, a year's profit on cash tied up, or equal parts of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from models.price import Floats
from sourcing.language import gettext_noop
from sourcing.tuning.tally import BEFORE, BUYS, CASH_YEARS, HOURS, PROFIT

OBJECTIVES = {
    "profit": gettext_noop("profit after labour and cash"),
    "per hour": gettext_noop("profit per hour of prep"),
    "per cash": gettext_noop("profit a year per unit of cash tied up"),
    "blend": gettext_noop("equal parts of the three"),
}
FEWEST_BUYS = 20
_LEAST_PART = 0.5  # of the most profit: else the best would be the one best piece


def per_hour(totals: Floats) -> Floats:
    """Profit before labour per hour of prep, for totals (..., COLUMNS); nan without prep."""
    return _over(totals[..., BEFORE], totals[..., HOURS])


def per_cash(totals: Floats) -> Floats:
    """Profit a year per unit of cash tied up, for totals (..., COLUMNS); nan without cash tied up."""
    return _over(totals[..., PROFIT], totals[..., CASH_YEARS])


def scorer(objective: str, among: Floats) -> Callable[[Floats], Floats]:
    """Return what scores totals (..., COLUMNS); ``among`` (G, COLUMNS) sets the scales of a blend."""
    plain: dict[str, Callable[[Floats], Floats]] = {
        "profit": lambda totals: np.asarray(totals[..., PROFIT]),
        "per hour": per_hour,
        "per cash": per_cash,
    }
    if objective in plain:
        return plain[objective]
    usable = among[eligible(among)]
    scales = []
    for each in plain.values():
        sizes = np.abs(each(usable))
        sizes = sizes[np.isfinite(sizes)]
        scales.append(max(float(sizes.max()), 1e-9) if len(sizes) else 1.0)

    def blend(totals: Floats) -> Floats:
        parts = [each(totals) / scale for each, scale in zip(plain.values(), scales, strict=True)]
        return np.asarray(np.mean(parts, axis=0))

    return blend


def eligible(totals: Floats, fewest: int = FEWEST_BUYS) -> NDArray[np.bool_]:
    """Tell which of G settings may be the best: enough buys, and at least half of the most profit."""
    enough = totals[:, BUYS] >= fewest
    most = float(totals[enough, PROFIT].max()) if enough.any() else 0.0
    return np.asarray(enough & ((totals[:, PROFIT] >= _LEAST_PART * most) | (most <= 0)))


def best(scores: Floats, allowed: NDArray[np.bool_], today: int) -> int | None:
    """Return the place of the highest score (G,) among those allowed, of equals the nearest to today's.

    None where none is allowed. Settings that buy the same score the same, and there is no reason to go further.
    """
    usable = np.where(allowed & np.isfinite(scores), scores, -np.inf)
    most = float(usable.max())
    if not np.isfinite(most):
        return None
    equal = np.flatnonzero(usable >= most - 1e-9 * max(abs(most), 1.0))
    return int(equal[np.argmin(np.abs(equal - today))])


def _over(above: Floats, below: Floats) -> Floats:
    known = np.asarray(below) > 1e-12
    return np.asarray(np.divide(above, below, out=np.full(np.shape(above), np.nan), where=known), dtype=np.float64)
