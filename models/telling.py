"""How much more one's own earlier sales tell of one's next sale than other people's do.

Both kinds of earlier sale of a style are held against each later own sale of it: the mean squared distance in log
price, both brought to one level, is what one of them misses by. Half the mean squared distance between own sales is
the variance of one of them about their common level; what others' sales miss by beyond that is theirs. The ratio of the
two is the weight: precision over precision, as in any weighted mean (Gauss-Markov). Its logarithm leans towards 0, a
weight of 1, by how unsure it is: a jackknife over styles (Efron & Stein 1981, Ann Stat 9:586) against a spread of usual
weights.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from models.price import Floats, Ints

USUAL = 0.4  # spread of log weights that is taken for granted
LOWEST, HIGHEST = 0.5, 4.0
_FEWEST = 8  # styles with both kinds
_UNSURE = 1.5  # standard error added for few styles, over the root of their number


@dataclass(frozen=True)
class Telling:
    """The weight of one own sale beside one of others', and what it rests on."""

    weight: float
    plain: float  # before it leans on 1; nan where nothing is known
    error: float  # standard error of the log of it
    styles: int  # with own sales to predict, and both kinds to predict them by
    sales: int  # own ones there


def own_weight(style: ArrayLike, own: ArrayLike, price: ArrayLike) -> Telling:
    """Learn the weight of own sales.

    Parameters
    ----------
    style : (n,) number of the style. own : (n,) whether the sale is one's own. price : (n,) log price about what is
        known of it otherwise (trend, condition, size), wild ones left out.
    """
    group, mine, z = np.asarray(style, dtype=np.int64), np.asarray(own, dtype=bool), np.asarray(price, dtype=np.float64)
    if not mine.any() or mine.all():
        return Telling(1.0, float("nan"), float("inf"), 0, 0)
    number = np.unique(group, return_inverse=True)[1]
    count = int(number.max()) + 1
    own_n, own_mean, own_square = _moments(number[mine], z[mine], count)
    their_n, their_mean, their_square = _moments(number[~mine], z[~mine], count)
    use = (own_n >= 2) & (their_n >= 1)
    styles, sales = int(use.sum()), int(own_n[use].sum())
    if styles < _FEWEST:
        return Telling(1.0, float("nan"), float("inf"), styles, sales)
    n, m = own_n[use], their_n[use]
    # Sums over pairs of squared distances, and the number of pairs; pairs of one style share out one vote per sale.
    within = n * own_square[use] / (n - 1) / n  # = half the mean squared distance of two own sales
    across = own_square[use] / n + their_square[use] / m + (own_mean[use] - their_mean[use]) ** 2
    weight = n - 1
    plain, each = _ratio(within, across, weight), np.zeros(styles)
    for at in range(styles):
        keep = np.arange(styles) != at
        each[at] = _ratio(within[keep], across[keep], weight[keep])
    error = float(np.sqrt((styles - 1) / styles * np.sum((each - each.mean()) ** 2))) + _UNSURE / styles
    share = USUAL**2 / (USUAL**2 + error**2)
    return Telling(float(np.clip(np.exp(share * plain), LOWEST, HIGHEST)), float(np.exp(plain)), error, styles, sales)


def _ratio(within: Floats, across: Floats, weight: Floats) -> float:
    """Return the log of what others' sales vary about one's own level over what one's own do."""
    own = max(float(weight @ within / weight.sum()), 1e-6)
    others = max(float(weight @ across / weight.sum()) - own, 0.05 * own)
    return float(np.log(others / own))


def _moments(group: Ints, z: Floats, count: int) -> tuple[Floats, Floats, Floats]:
    """Return of each group its number, its mean, and its sum of squares about it."""
    n = np.bincount(group, minlength=count).astype(np.float64)
    mean = np.bincount(group, z, count) / np.maximum(n, 1.0)
    square = np.bincount(group, (z - mean[group]) ** 2, count)
    return n, np.asarray(mean, dtype=np.float64), np.asarray(square, dtype=np.float64)
