"""Shares and medians with intervals that hold for few, and how many more it takes to tell.

Sources: Clopper & Pearson 1934 (Biometrika 26:404); median by order statistics, NIST/SEMATECH e-Handbook 7.2.4.
"""

from __future__ import annotations

from math import ceil

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, betaincinv, ndtri

_MEDIAN = 1.2533  # standard error of a median over that of a mean, normal errors


def share_interval(count: int, of: int, level: float = 0.9) -> tuple[float, float]:
    """Return the exact interval of a share of which ``count`` of ``of`` were seen."""
    if not 0 <= count <= of:
        raise ValueError(f"{count} of {of} is no share")
    tail = (1.0 - level) / 2
    low = float(betaincinv(count, of - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, of - count, 1.0 - tail)) if count < of else 1.0
    return low, high


def median_interval(values: ArrayLike, level: float = 0.9) -> tuple[float, float, float]:
    """Return the median and an interval that holds it whatever the distribution; infinite ends where too few."""
    x = np.sort(np.asarray(values, dtype=np.float64))
    if not len(x):
        raise ValueError("no values")
    tail = (1.0 - level) / 2
    ranks = np.arange(len(x))
    inside = int(np.sum(bdtr(ranks, len(x), 0.5) <= tail))  # values that can be dropped from each end
    low, high = (float(x[inside - 1]), float(x[len(x) - inside])) if inside else (-np.inf, np.inf)
    return float(np.median(x)), low, high


def needed(spread: float, within: float, level: float = 0.9) -> int:
    """Return how many values tell their median to ``within`` either way, given their standard deviation."""
    return ceil((float(ndtri((1.0 + level) / 2)) * _MEDIAN * spread / within) ** 2)
