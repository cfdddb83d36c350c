"""The response to the asking price from what sold beside what stood unsold at the same age.

What a listing asked while it stood is seldom known, only what it asked last: when it sold, was taken down, or was last
seen. At that moment the price is right, so within a piece of age the sold ones are cases, the unsold ones controls
drawn from the listings then at risk, and the log odds differ by the log hazard ratio (density sampling: Prentice &
Breslow 1978, Biometrika 65:153). Price cuts on the way, which flatten a fit over whole durations, do no harm here.

The controls still open are all of the newest days. An error of the level on those days moves them alone, and two in a
thousand would bend the slope by half its standard error; so they are set beside sales of the same days, and older sales
beside listings that ended unsold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.blocks import Blocks
from models.response import EDGES, GRID, HINGES, basis

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SLOPE, SLOPE_SD = -2.0, 1.5  # the textbook's price response is a start, not a belief
OWN_SLOPE_SD = 0.6  # a category's slope around the common one
HINGE_SD = 1.0  # change of slope at one hinge, where nothing tells its spread
HINGE_SDS = (0.2, 0.6, 2.0, 6.0)  # spreads among which the data choose
_STRAIGHT = 0.6  # spread up to which the response hardly bends
_STRATUM_SD = 4.0
_SPEED_BINS = 8
_FEWEST = 30  # cases, and controls


@dataclass(frozen=True)
class Contrast:
    """Effects of the columns slope, own slopes (categories), hinges: posterior mean and covariance.

    ``power_law`` is how far the data bear out the textbook: the chance that the response hardly bends.
    """

    mean: Floats
    covariance: Floats
    power_law: float = 0.0


def fit_contrast(
    x: Floats, sold: Floats, piece: Ints, category: Ints, speed: Floats, categories: int, newest: NDArray[np.bool_]
) -> Contrast | None:
    """Fit on n listings with a known last asking price.

    Parameters
    ----------
    x : (n,) last log asking price over level. sold : (n,) 1 or 0. piece : (n,) piece of age at the end.
    speed : (n,) estimated speed of the style, whose log is an offset: quick styles sell at dearer prices. newest : (n,)
    whether it ended, or was last seen, in the newest days.

    Returns
    -------
    None where too few sold or too few did not.
    """
    if sold.sum() < _FEWEST or (1 - sold).sum() < _FEWEST:
        return None
    bins, pieces = len(EDGES) - 1, int(piece.max()) + 1
    log_speed = np.log(np.clip(speed, 0.05, 10.0))
    edges = np.quantile(log_speed, np.linspace(0, 1, _SPEED_BINS + 1)[1:-1])
    speed_bin = np.searchsorted(edges, log_speed)
    x_bin = np.clip(np.digitize(np.clip(x, EDGES[0], EDGES[-1] - 1e-9), EDGES) - 1, 0, bins - 1)
    cell = (((category * pieces + piece) * 2 + newest) * bins + x_bin) * _SPEED_BINS + speed_bin
    live, number = np.unique(cell, return_inverse=True)
    trials = np.bincount(number).astype(np.float64)
    cases = np.bincount(number, sold).astype(np.float64)
    offset = np.bincount(number, log_speed) / trials
    centre = np.bincount(number, np.clip(x, GRID[0], GRID[-1])) / trials
    kind, stratum = np.unique(live // (bins * _SPEED_BINS), return_inverse=True)
    shape = basis(centre)
    first = 1 + categories + len(HINGES)
    width = first + len(kind)
    owner = kind[stratum] // (2 * pieces)

    def laid_out(rows: Ints) -> Floats:
        found, each = np.zeros((len(rows), width)), np.arange(len(rows))
        found[:, 0] = shape[rows, 0]
        found[each, 1 + owner[rows]] = shape[rows, 0]
        found[:, 1 + categories : first] = shape[rows, 1:]
        found[each, first + stratum[rows]] = 1.0
        return found

    design = Blocks.of(owner, width, laid_out)
    prior = np.zeros(width)
    prior[0] = SLOPE
    fits = []
    for hinge_sd in HINGE_SDS:
        spread = (SLOPE_SD, OWN_SLOPE_SD, hinge_sd, _STRATUM_SD)
        sd = np.repeat(spread, (1, categories, len(HINGES), len(kind)))
        value, found, covariance = _maximise(design, cases, trials, offset, prior, sd)
        fits.append((value, found[:first], covariance[:first, :first]))
    evidence = np.array([fit[0] for fit in fits])
    share = np.exp(evidence - evidence.max())
    straight = float(share[np.array(HINGE_SDS) <= _STRAIGHT].sum() / share.sum())
    _, mean, spread_of_it = fits[int(evidence.argmax())]
    return Contrast(mean, spread_of_it, straight)


def _maximise(
    design: Blocks, cases: Floats, trials: Floats, offset: Floats, prior: Floats, sd: Floats
) -> tuple[float, Floats, Floats]:
    """Maximise a logistic likelihood times normal priors: Laplace's log evidence, effects and covariance.

    The evidence weighs how well a shape fits against how much it had to bend (MacKay 1992, Neural Computation 4:415).
    """
    from scipy.optimize import minimize

    def loss(beta: Floats) -> tuple[float, Floats]:
        score = design.times(beta) + offset
        chance = 1.0 / (1.0 + np.exp(-score))
        away = (beta - prior) / sd**2
        value = trials @ np.logaddexp(0.0, score) - cases @ score + 0.5 * (beta - prior) @ away
        return float(value), design.back(trials * chance - cases) + away

    def curvature(beta: Floats) -> Floats:
        chance = 1.0 / (1.0 + np.exp(-(design.times(beta) + offset)))
        return design.squared(trials * chance * (1 - chance)) + np.diag(1.0 / sd**2)

    found = minimize(loss, prior, jac=True, hess=curvature, method="trust-exact", options={"maxiter": 80})
    bend = curvature(found.x)
    evidence = -found.fun - 0.5 * np.linalg.slogdet(bend)[1] - float(np.log(sd).sum())
    return float(evidence), found.x, np.asarray(np.linalg.inv(bend), dtype=np.float64)
