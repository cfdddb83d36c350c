"""Styles whose level wanders: an old sale tells less of today, and old sales tell much the same.

The level walks at random, so sales of about one age share the error of how far it has gone since (a local level model;
Durbin & Koopman 2012, ch. 2). Each comp's part in today's level follows from the information filter run from the oldest
sale to the newest; ages are taken a month at a time, which keeps it a few array operations for any number of items.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MONTHS: Floats = np.concatenate([np.arange(12) * 30.0, [360.0, 450.0, 540.0, 720.0, 1080.0]]) / 365.25
WALKS = (0.0, 0.0025, 0.005, 0.01, 0.02, 0.04, 0.08)  # variances a year among which the data choose


def faded(item: Ints, age: Floats, precision: Floats, count: int, walk2: float) -> Floats:
    """Share of each comp's precision that is left for today's level: (M,), 1 where nothing wanders.

    Parameters
    ----------
    item : (M,) which of ``count`` items each comp speaks for. age : (M,) years. precision : (M,) of one comp on its
    day. walk2 : variance a year by which an item's level wanders.
    """
    if walk2 <= 0 or not len(item):
        return np.ones(len(item))
    months = len(MONTHS)
    month = np.clip(np.searchsorted(MONTHS, age, side="right") - 1, 0, months - 1)
    place = item * months + month
    told = np.bincount(place, precision, count * months).reshape(count, months)
    weighted = np.bincount(place, precision * age, count * months).reshape(count, months)
    middle: Floats = weighted / np.maximum(told, 1e-300)
    known: NDArray[np.floating] = np.zeros(count)
    age_known: NDArray[np.floating] = np.zeros(count)
    entering = np.ones((count, months + 1))  # left of all that is older, on entering today and each month
    for k in range(months - 1, -1, -1):
        here = told[:, k] > 0
        walked = np.where(here, np.maximum(age_known - middle[:, k], 0.0), 0.0)
        entering[:, k + 1] = 1.0 / (1.0 + walk2 * walked * known)
        known = told[:, k] + known * entering[:, k + 1]
        age_known = np.where(here, middle[:, k], age_known)
    entering[:, 0] = 1.0 / (1.0 + walk2 * np.maximum(age_known, 0.0) * known)
    return np.asarray(np.cumprod(entering, axis=1)[item, month], dtype=np.float64)


def own_levels(
    prior_mean: Floats, prior_var: Floats, item: Ints, age: Floats, z: Floats, precision: Floats, walk2: float
) -> tuple[Floats, Floats]:
    """Posterior mean and variance of N items' levels today from their M own sales: (N,), (N,)."""
    count = len(prior_mean)
    left = precision * faded(item, age, precision, count, walk2)
    var = 1.0 / (1.0 / prior_var + np.bincount(item, left, count))
    return (prior_mean / prior_var + np.bincount(item, left * z, count)) * var, var
