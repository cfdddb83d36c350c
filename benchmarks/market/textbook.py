"""What a market looks like to one who believes a textbook's shapes: constants that fit them best, given all else.

Demand is taken for a power law of the asking price, the hazard for constant in time and blind to rivals, speeds for
gamma and first asking prices for normal. The constants are fitted with the true levels and speeds in hand, so that
whatever the textbook reader gets wrong is its shapes' fault and no lack of data.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from benchmarks.market.config import DAYS
from benchmarks.market.draw import FIRST, Constants, Market
from benchmarks.market.shapes import Floats, cut_so_far

_BINS = np.linspace(-0.8, 0.8, 161)


def believed(market: Market) -> Constants:
    """Return the market's constants with a textbook's shapes."""
    constants, styles, listings = market.constants, market.styles, market.listings
    plain = dataclasses.replace(
        constants.config, age="constant", demand="power", speeds="gamma", asks="normal", steps=0.0, undercut=0.0
    )
    category = styles.category[listings.style]
    first = listings.ask - market.level(listings.style, listings.listed) - listings.offset
    fitted = [_hazard(market, c) for c in range(len(constants.hazard))]
    return dataclasses.replace(
        constants,
        config=plain,
        hazard=np.array([height for height, _ in fitted]),
        elasticity=np.array([slope for _, slope in fitted]),
        speed_shape=float(1.0 / styles.speed.var()),
        ask_centre=np.array([first[category == c].mean() for c in range(len(fitted))]),
        ask_sd=np.array([first[category == c].std() for c in range(len(fitted))]),
    )


def _hazard(market: Market, category: int) -> tuple[float, float]:
    """Fit height and slope of a power law to one category's days on the market, by Poisson maximum likelihood."""
    constants, styles, listings = market.constants, market.styles, market.listings
    rows = np.flatnonzero(styles.category[listings.style] == category)
    length = np.where(listings.status[rows] == 0, DAYS, listings.ended[rows]) - listings.listed[rows]
    which = np.repeat(rows, length)
    last = np.cumsum(length) - 1
    age = np.arange(len(which)) - np.repeat(last - length + 1, length) + 1
    day = listings.listed[which] + age
    ask = listings.ask[which] - listings.cuts[which] * cut_so_far(age - 1)
    x = ask - market.level(listings.style[which], day) - listings.offset[which]
    exposure = styles.speed[listings.style[which]] * np.exp(constants.season[category, day - FIRST])
    exposure[last[listings.status[rows] == 1]] *= 0.5  # a sale comes half way through its day
    place = np.clip(np.digitize(x, _BINS) - 1, 0, len(_BINS) - 2)
    spent = np.bincount(place, exposure, len(_BINS) - 1)
    sales = np.bincount(place[last[listings.status[rows] == 1]], minlength=len(_BINS) - 1)
    return _poisson(np.asarray(spent, dtype=np.float64), sales.astype(np.float64), (_BINS[:-1] + _BINS[1:]) / 2)


def _poisson(exposure: Floats, events: Floats, x: Floats) -> tuple[float, float]:
    """Fit events ~ exposure * height * exp(slope * x) by Newton's method."""
    beta = np.array([np.log(events.sum() / exposure.sum()), -2.0])
    design = np.stack([np.ones_like(x), x], axis=1)
    for _ in range(50):
        mean = exposure * np.exp(design @ beta)
        step = np.linalg.solve(design.T @ (design * mean[:, None]), design.T @ (events - mean))
        beta = beta + np.clip(step, -1.0, 1.0)
    return float(np.exp(beta[0])), float(beta[1])
