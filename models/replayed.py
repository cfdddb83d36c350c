"""How listings that were watched would have sold at another asking price, one path after the other.

A listing sells once the hazard it has spent passes a threshold of its own. Where the hazard answers to the asking price
by a factor (proportional hazards, Cox 1972), the threshold of a listing that sold is known, and that of one that did
not is known to lie above what it has spent; under another asking price and other cuts the same threshold is passed on
another day. Over several listings of an item the thresholds have a Kaplan-Meier curve (Kaplan & Meier 1958), unsold
ones right-censored; where the last of them is still unsold the curve is completed by an exponential tail (Brown,
Hollander & Korwar 1974), whose rate leans on one usual sale, for hazards are stated so that a usual style's is 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.price import Floats

_FEWEST_SEEN = 0.25  # paths: less says so little that its error is no longer a number to reckon with


@dataclass(frozen=True)
class Thresholds:
    """The thresholds of n listings of one item.

    Attributes
    ----------
    spent : (n,) hazard each had spent when it sold or was last seen, ascending. left : (n,) share still unsold after
    each. rate : of the tail, and of the whole where one number must do. seen : worth how many whole paths.
    """

    spent: Floats
    left: Floats
    rate: float
    seen: float

    def unsold(self, spent: Floats) -> Floats:
        """Share still unsold where another listing has ``spent`` so much, of any shape."""
        steps = np.concatenate([[1.0], self.left])
        found = steps[np.searchsorted(self.spent, spent, side="right")]
        over = np.maximum(spent - self.spent[-1], 0.0)
        return np.asarray(found * np.exp(-self.rate * over))


def thresholds(spent: Floats, sold: Floats) -> Thresholds:
    """Tell the thresholds of listings by the hazard they spent (n,) and whether they sold (n,), 1 or 0; n > 0."""
    order = np.lexsort((1.0 - sold, spent))  # a sale comes before what is censored at the same point
    at, event = spent[order], sold[order]
    risk = len(at) - np.arange(len(at))
    left = np.asarray(np.cumprod(1.0 - event / risk), dtype=np.float64)
    rate = float((event.sum() + 1.0) / (at.sum() + 1.0))
    seen = float(np.sum(np.where(event > 0, 1.0, -np.expm1(-rate * at))))
    return Thresholds(at, left, rate, max(seen, _FEWEST_SEEN))
