"""The response to the asking price from what sold beside what stood unsold at the same age.

What a listing asked while it stood is seldom known, only what it asked last: when it sold, was taken down, or was last
seen. At that moment the price is right, so within a piece of age the sold ones are cases, the unsold ones controls
drawn from the listings then at risk, and the log odds differ by the log hazard ratio (density sampling: Prentice &
Breslow 1978, Biometrika 65:153). Price cuts on the way, which flatten a fit over whole durations, do no harm here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.response import EDGES, GRID, HINGES, basis

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SLOPE, SLOPE_SD = -2.0, 1.5  # the textbook's price response is a start, not a belief
OWN_SLOPE_SD = 0.6  # a category's slope around the common one
HINGE_SD = 1.0  # change of slope at one hinge
_STRATUM_SD = 4.0
_SPEED_BINS = 8
_FEWEST = 30  # cases, and controls


@dataclass(frozen=True)
class Contrast:
    """Effects of the columns slope, own slopes (categories), hinges: posterior mean and covariance."""

    mean: Floats
    covariance: Floats


def fit_contrast(
    x: Floats, sold: Floats, piece: Ints, category: Ints, speed: Floats, categories: int
) -> Contrast | None:
    """Fit on n listings with a known last asking price.

    Parameters
    ----------
    x : (n,) last log asking price over level. sold : (n,) 1 or 0. piece : (n,) piece of age at the end.
    speed : (n,) estimated speed of the style, whose log is an offset: quick styles sell at dearer prices.

    Returns
    -------
    None where too few sold or too few did not.
    """
    if sold.sum() < _FEWEST or (1 - sold).sum() < _FEWEST:
        return None
    from scipy.optimize import minimize

    bins, pieces = len(EDGES) - 1, int(piece.max()) + 1
    log_speed = np.log(np.clip(speed, 0.05, 10.0))
    edges = np.quantile(log_speed, np.linspace(0, 1, _SPEED_BINS + 1)[1:-1])
    speed_bin = np.searchsorted(edges, log_speed)
    x_bin = np.clip(np.digitize(np.clip(x, EDGES[0], EDGES[-1] - 1e-9), EDGES) - 1, 0, bins - 1)
    cell = ((category * pieces + piece) * bins + x_bin) * _SPEED_BINS + speed_bin
    live, number = np.unique(cell, return_inverse=True)
    trials = np.bincount(number).astype(np.float64)
    cases = np.bincount(number, sold)
    offset = np.bincount(number, log_speed) / trials
    centre = np.bincount(number, np.clip(x, GRID[0], GRID[-1])) / trials
    stratum = live // (bins * _SPEED_BINS)
    shape = basis(centre)
    first = 1 + categories + len(HINGES)
    design = np.zeros((len(live), first + categories * pieces))
    each = np.arange(len(live))
    design[:, 0] = shape[:, 0]
    design[each, 1 + stratum // pieces] = shape[:, 0]
    design[:, 1 + categories : first] = shape[:, 1:]
    design[each, first + stratum] = 1.0
    sd = np.concatenate(
        [
            [SLOPE_SD],
            np.full(categories, OWN_SLOPE_SD),
            np.full(len(HINGES), HINGE_SD),
            np.full(categories * pieces, _STRATUM_SD),
        ]
    )
    prior = np.zeros(len(sd))
    prior[0] = SLOPE

    def loss(beta: Floats) -> tuple[float, Floats]:
        score = design @ beta + offset
        chance = 1.0 / (1.0 + np.exp(-score))
        away = (beta - prior) / sd**2
        value = trials @ np.logaddexp(0.0, score) - cases @ score + 0.5 * (beta - prior) @ away
        return float(value), design.T @ (trials * chance - cases) + away

    def curvature(beta: Floats) -> Floats:
        chance = 1.0 / (1.0 + np.exp(-(design @ beta + offset)))
        found: Floats = design.T @ (design * (trials * chance * (1 - chance))[:, None]) + np.diag(1.0 / sd**2)
        return found

    found = minimize(loss, prior, jac=True, hess=curvature, method="trust-exact", options={"maxiter": 80})
    covariance = np.linalg.inv(curvature(found.x))
    return Contrast(found.x[:first], np.asarray(covariance[:first, :first], dtype=np.float64))
