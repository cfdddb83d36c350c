"""How much quicker or slower one style sells than another: a mixing distribution that starts gamma and may bend.

The distribution is a set of weights on fixed points (a discrete mixture, Laird 1978, JASA 73:805; Heckman & Singer
1984, Econometrica 52:271), drawn towards the gamma of the same data so that few styles cannot claim a shape. A
posterior is handed on as the gamma of the same mean and variance, under which survival is closed, (b / (b + H))^a.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POINTS: Floats = np.exp(np.linspace(np.log(0.02), np.log(12.0), 25))
_STYLES = 40.0  # the gamma start counts like this many styles of known speed


@dataclass(frozen=True)
class Mixture:
    """Prior ``weights`` (25,) of the speeds `POINTS`."""

    weights: Floats

    def posterior(self, events: Floats, hazard: Floats) -> tuple[Floats, Floats, Floats]:
        """Mean, variance and log marginal likelihood of the speed given sales and cumulative hazard, any one shape."""
        log = events[..., None] * np.log(POINTS) - hazard[..., None] * POINTS + np.log(self.weights)
        top = log.max(axis=-1, keepdims=True)
        mass = np.exp(log - top)
        total = mass.sum(axis=-1)
        mean = mass @ POINTS / total
        square = mass @ POINTS**2 / total
        return mean, np.maximum(square - mean**2, 1e-6 * mean**2), np.log(total) + top[..., 0]

    def gamma(self, events: Floats, hazard: Floats) -> tuple[Floats, Floats, Floats]:
        """Shape and rate of the gamma of the posterior's mean and variance, and its log marginal likelihood."""
        mean, variance, likelihood = self.posterior(events, hazard)
        return mean**2 / variance, mean / variance, likelihood

    def bent(self, events: Floats, hazard: Floats, start: Mixture) -> Mixture:
        """Move the weights towards the styles' posteriors (one EM step), the gamma ``start`` counting too."""
        log = events[:, None] * np.log(POINTS) - hazard[:, None] * POINTS + np.log(self.weights)
        mass = np.exp(log - log.max(axis=1, keepdims=True))
        # A style without a sale and hardly any time on the market says nothing of the shape.
        count = (mass / mass.sum(axis=1, keepdims=True)).sum(axis=0) + _STYLES * start.weights
        return Mixture(np.maximum(count / count.sum(), 1e-12))


def gamma_mixture(shape: float) -> Mixture:
    """Spread a gamma of mean 1 over the points."""
    log = shape * np.log(POINTS) - shape * POINTS  # density times the point, for the points are even in the log
    weights = np.exp(log - log.max())
    return Mixture(np.maximum(weights / weights.sum(), 1e-12))


def fit_shape(events: Floats, hazard: Floats) -> float:
    """Maximise the marginal likelihood of a gamma frailty with mean 1 over its shape (Clayton 1991)."""
    from scipy.optimize import minimize_scalar
    from scipy.special import gammaln

    def loss(log_shape: float) -> float:
        a = np.exp(log_shape)
        return -float(np.sum(gammaln(a + events) - gammaln(a) + a * np.log(a) - (a + events) * np.log(a + hazard)))

    # A weak preference for variance 0.5 keeps a handful of styles from claiming there is none, or only, frailty.
    found = minimize_scalar(lambda v: loss(v) + 0.5 * (v - np.log(2.0)) ** 2, bounds=(-1.5, 4.0), method="bounded")
    return float(np.exp(found.x))
