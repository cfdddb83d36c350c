"""Location, spread, outliers and quantiles that a lot of three or a mistyped price cannot move.

Sources: Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers; NIST/SEMATECH e-Handbook 1.3.5.17 and 7.1.6;
Hyndman & Fan 1996 (Am Stat 50:361) for quantile types; Lange, Little & Taylor 1989 (JASA 84:881) for Student weights.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Floats = NDArray[np.float64]

NU = 4.0  # degrees of freedom of the error: heavy enough that one lot of three does not move a style

NORMAL_MAD = 1.4826022185056018  # 1 / (75 % point of the standard normal)
Z80 = 1.2815515655446004  # 90 % point: half-width of the central 80 % in standard deviations
Z90 = 1.6448536269514722  # 95 % point
MODIFIED_Z = 0.6745  # the rounded 75 % point that the rule of Iglewicz & Hoaglin is stated with
NORMAL_MEAN_DEVIATION = 1.253314  # sqrt(pi / 2): the fallback's factor, as published with it
_SLOTS = 512  # into which values are sorted coarsely before a median is looked for
_TIE = 1e-12  # cumulative shares of weight this close to a level count as reaching it: .49 + .01 is one half


def mad(values: ArrayLike, *, normal: bool = False) -> float:
    """Return the median absolute deviation from the median.

    Parameters
    ----------
    values : (n,) in any unit, at least one.
    normal : multiply by 1.4826, so that it estimates the standard deviation of normal data.
    """
    x = _values(values)
    spread = float(np.median(np.abs(x - np.median(x))))
    return spread * NORMAL_MAD if normal else spread


def modified_z(values: ArrayLike) -> Floats:
    """Return each value's distance from the median in robust standard deviations: shape (n,).

    Notes
    -----
    0.6745 (x - median) / MAD. When more than half of the values are equal the MAD is 0, and the mean absolute
    deviation from the median takes its place (factor 1.253314). All values equal: zeros.
    """
    x = _values(values)
    distance = x - np.median(x)
    spread = float(np.median(np.abs(distance)))
    if spread > 0:
        return np.asarray(MODIFIED_Z * distance / spread)
    mean_spread = float(np.mean(np.abs(distance)))
    if mean_spread > 0:
        return np.asarray(distance / (NORMAL_MEAN_DEVIATION * mean_spread))
    return np.zeros(len(x))


def tukey_fences(values: ArrayLike, reach: float = 1.5) -> tuple[float, float]:
    """Return the lower and upper fence: quartiles at (n + 1) p, less and plus ``reach`` interquartile ranges."""
    lower, upper = np.quantile(_values(values), [0.25, 0.75], method="weibull")
    return float(lower - reach * (upper - lower)), float(upper + reach * (upper - lower))


def grubbs(values: ArrayLike) -> float:
    """Return the largest distance from the mean in standard deviations (n - 1): Grubbs' statistic, n >= 3."""
    x = _values(values)
    if len(x) < 3:
        raise ValueError("Grubbs' statistic needs three values or more")
    spread = float(np.std(x, ddof=1))
    return float(np.max(np.abs(x - np.mean(x))) / spread) if spread > 0 else 0.0


def grubbs_critical(count: int, share: float = 0.05) -> float:
    """Return the value that Grubbs' statistic of ``count`` normal values exceeds upwards with chance ``share``."""
    if count < 3:
        raise ValueError("Grubbs' statistic needs three values or more")
    t2 = float(stdtrit(count - 2, 1.0 - share / count)) ** 2
    return float((count - 1) / np.sqrt(count) * np.sqrt(t2 / (count - 2 + t2)))


def trimmed_mean(values: ArrayLike, share: float) -> float:
    """Return the mean without the floor(share * n) smallest and as many largest values; 0 <= share < 0.5."""
    if not 0 <= share < 0.5:
        raise ValueError(f"share trimmed from each end is {share}; it must be at least 0 and below 0.5")
    x = np.sort(_values(values))
    cut = int(share * len(x) + _TIE)
    return float(np.mean(x[cut : len(x) - cut]))


def weighted_quantile(values: ArrayLike, weights: ArrayLike, levels: ArrayLike) -> Floats:
    """Return the smallest values at which the share of weight reaches each level (inverted CDF).

    Whole weights act as counts: the answer equals that of the list with each value repeated.

    Parameters
    ----------
    values, weights : (n,); weights not negative and not all 0. levels : (...) from 0 to 1; the answer has their shape.
    """
    x, share = _cumulative(values, weights)
    level = np.asarray(levels, dtype=np.float64)
    if not np.all((level >= 0) & (level <= 1)):
        raise ValueError("levels of a quantile must be from 0 to 1")
    return np.asarray(x[np.minimum(np.searchsorted(share, level - _TIE, side="left"), len(x) - 1)])


def weighted_median(values: ArrayLike, weights: ArrayLike, choice: Literal["lower", "midpoint"] = "lower") -> float:
    """Return the weighted median.

    Parameters
    ----------
    choice : what to return when exactly half of the weight lies at or below a value: ``lower`` that value (Cormen,
        Leiserson, Rivest & Stein, problem 9-2), ``midpoint`` the middle between it and the next. Libraries differ.
    """
    x, share = _cumulative(values, weights)
    at = int(np.searchsorted(share, 0.5 - _TIE, side="left"))
    if choice == "midpoint" and abs(share[at] - 0.5) <= _TIE and at + 1 < len(x):
        return float((x[at] + x[at + 1]) / 2)
    return float(x[at])


def grouped_medians(values: Floats, weights: Floats, group: NDArray[np.int64], groups: int) -> tuple[Floats, float]:
    """Return the lower weighted median of each group, nan where it is empty, and that of all: (groups,), one number.

    Parameters
    ----------
    values : (n,) from 0 up. weights : (n,) above 0. group : (n,) from 0 to ``groups`` - 1.

    Notes
    -----
    Values are counted into slots first, and only the slot that holds a median is sorted: a few passes over the rows
    instead of a sort of them all, with the answer of `weighted_median`.
    """
    middle = max(float(values.mean()), 1e-300)
    slot = (values / (values + middle) * _SLOTS).astype(np.int64)
    mass = np.bincount(group * _SLOTS + slot, weights, groups * _SLOTS).reshape(groups, _SLOTS)
    mass = np.vstack([mass, mass.sum(axis=0)])
    running = np.cumsum(mass, axis=1)
    goal = (0.5 - _TIE) * running[:, -1]
    holds = np.minimum((running < goal[:, None]).sum(axis=1), _SLOTS - 1)
    below = running[np.arange(groups + 1), holds] - mass[np.arange(groups + 1), holds]

    def inside(chosen: NDArray[np.int64], index: int) -> float:
        x, w = values[chosen], weights[chosen]
        order = np.argsort(x, kind="stable")
        at = int(np.searchsorted(below[index] + np.cumsum(w[order]), goal[index], side="left"))
        return float(x[order[min(at, len(x) - 1)]])

    near = np.flatnonzero(slot == holds[group])
    near = near[np.argsort(group[near], kind="stable")]
    ends = np.cumsum(np.bincount(group[near], minlength=groups))
    found = np.full(groups, np.nan)
    for index, chosen in enumerate(np.split(near, ends[:-1])):
        if len(chosen):
            found[index] = inside(chosen, index)
    return found, inside(np.flatnonzero(slot == holds[groups]), groups)


def student_weights(residual: ArrayLike, scale: ArrayLike, nu: float = NU) -> Floats:
    """Return the weights (nu + 1) / (nu + (residual / scale)^2) of Student errors; ``scale`` > 0, broadcast."""
    spread = np.asarray(scale, dtype=np.float64)
    if not np.all(spread > 0):
        raise ValueError("scale of the residuals must be above 0")
    return np.asarray((nu + 1.0) / (nu + (np.asarray(residual, dtype=np.float64) / spread) ** 2))


def student_efficiency(z: ArrayLike, nu: float = NU) -> float:
    """Return the share of the precision, summed weights, that an estimate by Student weights truly has: (0, 1].

    Parameters
    ----------
    z : (n,) residuals over their scale.

    Notes
    -----
    Weights are no precisions: a row that comes to lie further off loses weight. The variance of an M-estimate is
    mean(psi^2) / mean(psi')^2 / n (Huber 1981, Robust Statistics, ch. 3), with psi = weight times z.
    """
    away = np.asarray(z, dtype=np.float64)
    weight = student_weights(away, 1.0, nu)
    square = float(np.mean((weight * away) ** 2))
    slope = float(np.mean(weight - 2.0 * away**2 * weight**2 / (nu + 1.0)))
    if square <= 0 or slope <= 0:
        return 1.0
    return min(slope**2 / (square * float(np.mean(weight))), 1.0)


def _values(values: ArrayLike) -> Floats:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or not len(x) or not np.isfinite(x).all():
        raise ValueError("expected one or more finite numbers in one dimension")
    return x


def _cumulative(values: ArrayLike, weights: ArrayLike) -> tuple[Floats, Floats]:
    x, w = _values(values), _values(weights)
    if x.shape != w.shape or np.any(w < 0) or not np.any(w > 0):
        raise ValueError("weights must be as many as the values, not negative and not all 0")
    x, w = x[w > 0], w[w > 0]
    order = np.argsort(x, kind="stable")
    return x[order], np.cumsum(w[order]) / np.sum(w)
