"""Time to sell: piecewise-exponential hazard with an asking-price slope and a gamma frailty by style.

The hazard of listing i at day t is u[product] * exp(category + shape[piece of t] + slope * x), with x the log of
the asking price over the item's level. Unsold listings are right-censored. Sources: Holford 1980 and Laird &
Olivier 1981 for the Poisson form; Clayton 1991 for the gamma frailty by EM; Greenland 2007 (Int J Epidemiol 36:195)
for priors entered as extra rows of data.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from models.price import Floats, Ints

CUTS = np.array([0.0, 7.0, 14.0, 30.0, 60.0, 120.0])
X_EDGES = np.linspace(-0.75, 0.75, 16)
_PRIOR_SLOPE = -2.0  # the start for the slope; counts like half an event (standard deviation about 1.4)
_PRIOR_EVENTS = 0.5
_CATEGORY_EVENTS = 4.0


@dataclass
class SpeedModel:
    """Fit the hazard; fitted values end in an underscore.

    ``rate_`` (categories, pieces) is the daily hazard at x = 0 and frailty 1; ``slope_`` the response to x;
    ``shape_`` the frailty's gamma shape (mean 1, variance 1 / shape).
    """

    rounds: int = 12
    rate_: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    slope_: float = _PRIOR_SLOPE
    shape_: float = 2.0

    def fit(
        self, duration: Floats, sold: Floats, x: Floats, category: Ints, product: Ints, categories: int
    ) -> SpeedModel:
        """Fit on n listings: days on the market, 1 when sold and 0 when censored, log asking price over level.

        Raises
        ------
        ValueError
            No listing sold: there is no hazard to fit.
        """
        if sold.sum() == 0:
            raise ValueError("no sold listing with a duration")
        from scipy.sparse import csr_array

        x = np.clip(x, X_EDGES[0], X_EDGES[-1] - 1e-9)
        x_bin = np.digitize(x, X_EDGES) - 1
        bins, pieces = len(X_EDGES) - 1, len(CUTS)
        exposure = pieces_exposure(duration)  # (n, pieces)
        products = int(product.max()) + 1
        cell = (category[:, None] * bins + x_bin[:, None]) * pieces + np.arange(pieces)[None, :]
        cells = categories * bins * pieces
        by_product = csr_array(
            (exposure.ravel(), (np.repeat(product, pieces), cell.ravel())), shape=(products, cells)
        )
        last = np.searchsorted(CUTS, np.maximum(duration, 1e-9), side="left") - 1
        events = np.bincount(cell[np.arange(len(sold)), last], sold, cells).astype(np.float64)
        product_events = np.bincount(product, sold, products).astype(np.float64)
        centre = np.bincount(x_bin, x, bins) / np.maximum(np.bincount(x_bin, minlength=bins), 1)
        overall = max(float(sold.sum() / duration.sum()), 1e-6)
        frailty = np.ones(products)
        for _ in range(self.rounds):
            expected = by_product.T @ frailty
            rate = self._poisson(events, expected, centre, categories, overall)
            hazard = by_product @ rate
            self.shape_ = _frailty_shape(product_events, hazard)
            frailty = (self.shape_ + product_events) / (self.shape_ + hazard)
        return self

    def _poisson(
        self, events: Floats, expected: Floats, centre: Floats, categories: int, overall: float
    ) -> Floats:
        """Maximise over the fixed effects given the frailties: one Poisson regression on cells plus prior rows."""
        from statsmodels.genmod.families import Poisson
        from statsmodels.genmod.generalized_linear_model import GLM

        bins, pieces = len(centre), len(CUTS)
        live = np.flatnonzero(expected > 0)
        width = pieces + categories + 1
        design = np.zeros((len(live) + pieces + categories + 1, width))
        piece = live % pieces
        x = centre[live // pieces % bins]
        rows = np.arange(len(live))
        design[rows, piece] = 1.0
        design[rows, pieces + live // (pieces * bins)] = 1.0
        design[rows, -1] = x
        prior = np.arange(width)
        design[len(live) + prior, prior] = 1.0
        target = np.concatenate(
            [
                events[live],
                np.full(pieces, _PRIOR_EVENTS),
                np.full(categories, _CATEGORY_EVENTS),
                [_PRIOR_EVENTS],
            ]
        )
        offset = np.concatenate(
            [
                np.log(expected[live]),
                np.full(pieces, np.log(_PRIOR_EVENTS / overall)),
                np.full(categories, np.log(_CATEGORY_EVENTS)),
                [np.log(_PRIOR_EVENTS) - _PRIOR_SLOPE],
            ]
        )
        start = np.concatenate([np.full(pieces, np.log(overall)), np.zeros(categories), [self.slope_]])
        result: Any = GLM(target, design, family=Poisson(), offset=offset).fit(start_params=start, maxiter=25)
        beta = np.asarray(result.params)
        self.slope_ = float(min(beta[-1], -0.1))  # demand never rises with the asking price
        self.rate_ = np.exp(beta[pieces : pieces + categories, None] + beta[None, :pieces])
        grid = self.rate_[:, None, :] * np.exp(self.slope_ * centre)[None, :, None]
        return np.asarray(grid.ravel(), dtype=np.float64)


def pieces_exposure(duration: Floats) -> Floats:
    """Split n durations in days into time spent in each piece of `CUTS`: shape (n, pieces)."""
    upper = np.append(CUTS[1:], np.inf)
    spent: Floats = np.clip(duration[:, None] - CUTS[None, :], 0.0, (upper - CUTS)[None, :])
    return spent


def cumulative(rate: Floats, days: Floats) -> Floats:
    """Return the cumulative hazard at ``days`` (T,) for rates (..., pieces): shape (..., T)."""
    return rate @ pieces_exposure(days).T


def _frailty_shape(events: Floats, hazard: Floats) -> float:
    """Maximise the marginal likelihood of a gamma frailty with mean 1 over its shape."""
    from scipy.optimize import minimize_scalar
    from scipy.special import gammaln

    def loss(log_shape: float) -> float:
        a = np.exp(log_shape)
        return -float(
            np.sum(gammaln(a + events) - gammaln(a) + a * np.log(a) - (a + events) * np.log(a + hazard))
        )

    # A weak preference for variance 0.5 keeps a handful of styles from claiming there is none, or only, frailty.
    found = minimize_scalar(
        lambda v: loss(v) + 0.5 * (v - np.log(2.0)) ** 2, bounds=(-1.5, 4.0), method="bounded"
    )
    return float(np.exp(found.x))
