"""Nested normal effects: messages up the tree, posteriors down it, and the variances between groups by moments.

Sources: Gelman & Hill 2007, ch. 12, for nested partial pooling; DerSimonian & Laird 1986 for the moment estimate of a
between-group variance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEW = 3.0  # sales of freedom that count as much as what is usual
_POOL_PRODUCTS = 25.0  # a category's own variances count like this many products of the pooled ones


def combine(precision: Floats, mean: Floats, group: Ints, groups: int) -> tuple[Floats, Floats]:
    """Pool independent normal messages by group; a group without any has precision 0 and mean 0."""
    total = np.bincount(group, precision, groups)
    weighted = np.bincount(group, precision * mean, groups)
    centre: Floats = np.divide(weighted, total, out=np.zeros(groups), where=total > 0)
    return total.astype(np.float64), centre


def through(precision: Floats, variance: Floats) -> Floats:
    """Weaken a message by the variance of the step it passes through."""
    return precision / (1.0 + variance * precision)


def posterior(
    prior_mean: Floats | float, prior_var: Floats | float, precision: Floats, mean: Floats
) -> tuple[Floats, Floats]:
    """Mean and variance of a normal effect given its prior and one normal message."""
    total = 1.0 / prior_var + precision
    return (prior_mean / prior_var + precision * mean) / total, 1.0 / total


def carried(own_var: Floats, step_var: Floats, parent_var: Floats) -> Floats:
    """Variance that a child inherits from its parent's uncertainty (law of total variance on the tree)."""
    return (own_var / step_var) ** 2 * parent_var


def moment_variance(
    mean: Floats, precision: Floats, group: Ints, category: Ints, categories: int
) -> tuple[Floats, Floats, float]:
    """Estimate the variance of means around their group's mean, by category: (estimate, weight, pooled)."""
    live = precision > 0
    mean, precision, group, category = mean[live], precision[live], group[live], category[live]
    groups = int(group.max()) + 1 if len(group) else 0
    total, centre = combine(precision, mean, group, groups)
    # Capped at 25 times the noise-free scale so that one mistyped style cannot swell everyone's variance.
    deviation = mean - centre[group]
    # A group's only member lies on its centre; what rounding leaves there is no deviation.
    apart = np.abs(deviation) > 1e-9
    cap = 25.0 * np.median(deviation[apart] ** 2) if apart.any() else 0.0
    q = np.bincount(category, precision * np.minimum(deviation**2, max(cap, 1e-12)), categories)
    freedom = np.bincount(category, minlength=categories).astype(float)
    freedom -= np.bincount(category, precision / total[group], categories)
    c = np.bincount(category, precision - precision**2 / total[group], categories)
    pooled = max((q.sum() - freedom.sum()) / c.sum(), 0.0) if c.sum() > 0 else 0.0
    own = np.divide(np.maximum(q - freedom, 0.0), c, out=np.full(categories, pooled), where=c > 0)
    return own, np.maximum(freedom, 0.0), pooled


def lean(own: Floats, freedom: Floats, pooled: float, usual: float, few: float = FEW) -> Floats:
    """Draw each category's own variance towards the pooled one, and that, if less, towards what is usual: (C,).

    Parameters
    ----------
    own, freedom, pooled : of `moment_variance`. usual : variance where nothing is known; it counts like ``few`` of
    freedom.
    """
    # A handful of styles may look all alike by luck, and believing it would make every level look sure. That they look
    # unlike by luck costs little: levels then lean on their own sales.
    whole = float(freedom.sum())
    pooled = max(pooled, (whole * pooled + few * usual) / max(whole + few, 1e-9))
    share = freedom / (freedom + _POOL_PRODUCTS)
    return share * own + (1 - share) * pooled
