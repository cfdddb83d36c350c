"""Plain guesses of the chance of a sale within 30 days, to compare with: the category's base rate and Kaplan-Meier."""

from __future__ import annotations

import numpy as np

from benchmarks.market.config import DAYS
from benchmarks.market.dirt import Spoilt
from benchmarks.market.draw import Market
from benchmarks.market.shapes import Floats
from benchmarks.market.shelf import Shelf

_WITHIN = 30


def plain_chances(market: Market, spoilt: Spoilt, shelf: Shelf) -> dict[str, Floats]:
    """Return each item's chance of a sale within 30 days by its category alone, (N,) by name.

    The base rate is the share sold within 30 days of the listings that have ended; Kaplan & Meier 1958 also counts the
    listings that are still open, for as long as they have been.
    """
    listings = market.listings
    ended = np.where(listings.status == 0, DAYS, listings.ended)
    days, sold = ended - listings.listed, listings.status == 1
    category = market.styles.category[listings.style]
    base, kaplan = np.zeros(len(market.constants.hazard)), np.zeros(len(market.constants.hazard))
    for c in range(len(base)):
        here = spoilt.clean & (category == c)
        over = here & (listings.status != 0)
        base[c] = np.mean((sold & (days <= _WITHIN))[over]) if over.any() else 0.5
        alive = 1.0
        for day in range(1, _WITHIN + 1):
            at_risk = int((here & (days >= day)).sum())
            if at_risk:
                alive *= 1.0 - int((here & sold & (days == day)).sum()) / at_risk
        kaplan[c] = 1.0 - alive
    return {"base rate": base[shelf.category], "Kaplan-Meier": kaplan[shelf.category]}
