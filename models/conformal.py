"""Split conformal prediction: the rank, the quantile and the coverage to expect.

Sources: Vovk, Gammerman & Shafer 2005, Algorithmic Learning in a Random World; Lei et al. 2018 (JASA 113:1094).
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import ceil

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv

MissRate = float | str | Decimal | Fraction


def conformal_rank(count: int, alpha: MissRate) -> int:
    """Return k = ceil((n + 1)(1 - alpha)) in exact arithmetic; k > n means an unbounded interval.

    Parameters
    ----------
    count : calibration scores, n >= 0. alpha : miss rate, strictly between 0 and 1.

    Notes
    -----
    1 - 0.9 is not 0.1 in floats, and a rank computed with it is one too high for n = 99. A float is therefore read
    as the nearest fraction with a denominator up to a million; text, Decimal and Fraction are taken as they are.
    """
    share = Fraction(str(alpha)) if isinstance(alpha, float) else Fraction(alpha)
    if isinstance(alpha, float):
        share = share.limit_denominator(1_000_000)
    if not 0 < share < 1:
        raise ValueError(f"miss rate is {alpha}; it must lie between 0 and 1")
    if count < 0:
        raise ValueError(f"number of calibration scores is {count}; it cannot be negative")
    return ceil((count + 1) * (1 - share))


def conformal_quantile(scores: ArrayLike, alpha: MissRate) -> float:
    """Return the k-th smallest of (n,) calibration scores, in their unit; infinite when k > n."""
    values = np.asarray(scores, dtype=np.float64)
    if values.ndim != 1 or np.isnan(values).any():
        raise ValueError("calibration scores must be numbers in one dimension")
    rank = conformal_rank(len(values), alpha)
    if rank > len(values):
        return float("inf")
    return float(np.partition(values, rank - 1)[rank - 1])


def coverage_beta(count: int, alpha: MissRate) -> tuple[int, int]:
    """Return the two parameters of the Beta law of coverage given the calibration set: k and n + 1 - k.

    Raises
    ------
    ValueError
        k > n: the interval is unbounded and always covers.
    """
    rank = conformal_rank(count, alpha)
    if rank > count:
        raise ValueError(f"{count} calibration scores leave the interval unbounded at a miss rate of {alpha}")
    return rank, count + 1 - rank


def coverage_range(count: int, alpha: MissRate, central: float = 0.9) -> tuple[float, float]:
    """Return the range that holds the coverage of ``central`` of all calibration sets of this size."""
    a, b = coverage_beta(count, alpha)
    tail = (1.0 - central) / 2
    return float(betaincinv(a, b, tail)), float(betaincinv(a, b, 1.0 - tail))
