"""Conjugate updates and pooling of sparse groups, vectorised.

Sources: Gelman et al. 2013, Bayesian Data Analysis (BDA3), ch. 2 and 5; DerSimonian & Laird 1986 (Control Clin Trials
7:177) and DerSimonian & Kacker 2007 (Contemp Clin Trials 28:105) for the between-group variance by moments; Efron &
Morris 1975 (JASA 70:311) for the James-Stein factor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, gammaincc, gammaincinv

from models.price import Floats


@dataclass(frozen=True)
class Pooled:
    """Groups pooled at a between-group variance: common mean and its standard error; (k,) posterior means and sds."""

    mu: float
    se: float
    mean: Floats
    sd: Floats


def normal_posterior(
    prior_mean: ArrayLike, prior_var: ArrayLike, mean: ArrayLike, var: ArrayLike
) -> tuple[Floats, Floats]:
    """Update normal priors by independent normal estimates; shapes broadcast.

    Parameters
    ----------
    prior_var, var : variances above 0. An infinite ``var`` says there is no estimate, and the prior comes back.

    Returns
    -------
    Posterior means and variances.
    """
    m0, v0, m, v = (np.asarray(each, dtype=np.float64) for each in (prior_mean, prior_var, mean, var))
    if not (np.all(v0 > 0) and np.all(v > 0)):
        raise ValueError("variances of the prior and of the estimate must be above 0")
    known = np.isfinite(v)
    precision = np.where(known, 1.0 / v, 0.0)
    total = 1.0 / v0 + precision
    return np.asarray((m0 / v0 + precision * np.where(known, m, 0.0)) / total), np.asarray(1.0 / total)


def gamma_posterior(a: ArrayLike, b: ArrayLike, events: ArrayLike, exposure: ArrayLike) -> tuple[Floats, Floats]:
    """Update a rate's Gamma(shape a, rate b) by events in exposure (time units of 1 / rate); shapes broadcast."""
    shape, rate, n, time = (np.asarray(each, dtype=np.float64) for each in (a, b, events, exposure))
    if np.any(n < 0) or np.any(time < 0):
        raise ValueError("events and exposure cannot be negative")
    return np.asarray(shape + n), np.asarray(rate + time)


def gamma_quantile(a: ArrayLike, b: ArrayLike, level: ArrayLike) -> Floats:
    """Return quantiles of Gamma(shape a, rate b)."""
    return np.asarray(gammaincinv(a, level) / np.asarray(b, dtype=np.float64))


def gamma_above(a: ArrayLike, b: ArrayLike, value: ArrayLike) -> Floats:
    """Return the chance that Gamma(shape a, rate b) exceeds a value."""
    return np.asarray(gammaincc(a, np.asarray(b, dtype=np.float64) * np.asarray(value, dtype=np.float64)))


def beta_posterior(a: ArrayLike, b: ArrayLike, successes: ArrayLike, trials: ArrayLike) -> tuple[Floats, Floats]:
    """Update a share's Beta(a, b) by successes in trials; shapes broadcast."""
    one, two, hits, n = (np.asarray(each, dtype=np.float64) for each in (a, b, successes, trials))
    if np.any(hits < 0) or np.any(hits > n):
        raise ValueError("successes must be from 0 to the number of trials")
    return np.asarray(one + hits), np.asarray(two + n - hits)


def beta_quantile(a: ArrayLike, b: ArrayLike, level: ArrayLike) -> Floats:
    """Return quantiles of Beta(a, b)."""
    return np.asarray(betaincinv(a, b, level))


def heterogeneity(means: ArrayLike, variances: ArrayLike) -> float:
    """Return Cochran's Q of (k,) means: squared distances from their weighted mean, each over its variance."""
    y, v = _groups(means, variances)
    return float(np.sum((y - np.average(y, weights=1.0 / v)) ** 2 / v))


def between_variance(means: ArrayLike, variances: ArrayLike, weights: ArrayLike | None = None) -> float:
    """Estimate the variance between groups by moments; a negative estimate is clipped at 0.

    Parameters
    ----------
    means, variances : (k,) estimates and their sampling variances, above 0.
    weights : (k,) any weights above 0. 1 / variances (the default) give DerSimonian & Laird's estimate, equal ones
        that of Cochran's analysis of variance. One group says nothing about the variance between groups: 0.
    """
    y, v = _groups(means, variances)
    w = 1.0 / v if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != y.shape or not np.all(w > 0):
        raise ValueError("weights must be as many as the groups and above 0")
    total = float(np.sum(w))
    q = float(np.sum(w * (y - np.average(y, weights=w)) ** 2))
    expected = float(np.sum(w * v) - np.sum(w**2 * v) / total)
    slope = total - float(np.sum(w**2)) / total
    return max((q - expected) / slope, 0.0) if len(y) > 1 else 0.0


def pooled_mean(means: ArrayLike, variances: ArrayLike, tau2: float) -> Pooled:
    """Pool groups at a given variance between them (BDA3, eq. 5.17 and 5.20, flat prior on the common mean).

    Parameters
    ----------
    means, variances : (k,) estimates and their sampling variances, above 0.
    tau2 : variance between groups; 0 pools completely.
    """
    y, v = _groups(means, variances)
    if not tau2 >= 0:
        raise ValueError(f"variance between groups is {tau2}; it cannot be negative")
    weight = 1.0 / (v + tau2)
    mu, var = float(np.average(y, weights=weight)), float(1.0 / np.sum(weight))
    shrink = v / (v + tau2)
    sd = np.sqrt((1.0 - shrink) * v + shrink**2 * var)
    return Pooled(mu, float(np.sqrt(var)), shrink * mu + (1.0 - shrink) * y, sd)


def james_stein_factor(values: ArrayLike, variance: float) -> float:
    """Return how much of each deviation from the grand mean to keep: 1 - (k - 3) variance / S, not below 0.

    Parameters
    ----------
    values : (k,) with k >= 4 (fewer do not gain by it). variance : of one value's sampling error.
    """
    y = np.asarray(values, dtype=np.float64)
    if len(y) < 4:
        raise ValueError(f"{len(y)} groups; shrinking towards their own mean needs four or more")
    squares = float(np.sum((y - y.mean()) ** 2))
    return max(1.0 - (len(y) - 3) * variance / squares, 0.0) if squares > 0 else 0.0


def james_stein(values: ArrayLike, variance: float) -> Floats:
    """Return (k,) values drawn towards their mean by `james_stein_factor`."""
    y = np.asarray(values, dtype=np.float64)
    return np.asarray(y.mean() + james_stein_factor(y, variance) * (y - y.mean()))


def _groups(means: ArrayLike, variances: ArrayLike) -> tuple[Floats, Floats]:
    y, v = np.asarray(means, dtype=np.float64), np.asarray(variances, dtype=np.float64)
    if y.ndim != 1 or y.shape != v.shape or not len(y) or not np.all(v > 0):
        raise ValueError("expected as many variances above 0 as means, one or more")
    return y, v
