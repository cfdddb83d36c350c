"""Minutes a piece needs, learnt from timed batches: by category and condition, leaning on what was assumed before.

A batch of pieces of several categories and flags takes

    minutes / pieces = sum over categories of share x d exp(u + v) + sum over flags of share x (g + w)

with d and g the minutes assumed before, u how much slower or quicker this person is than that in everything, v in one
category, w more minutes for a flag. u, v and w are normal around 0: with few batches they stay there. The log of a
batch's minutes is normal, but for some that say nothing, such as a watch left running: those lie anywhere, and each
batch has as much say as it likely is none of them (Box & Tiao 1968, Biometrika 55:119). The variances of v and of a
batch and the share of the latter are learnt too, with priors of their own (EM; Gelman et al. 2013, BDA3, ch. 5 and 13).
The model is linearised about its own answer (Gauss-Newton), which is exact where nothing bends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from models.price import Floats, Ints

OWN_PACE = 0.7  # sd of u: half to twice the minutes assumed is what people differ by
CATEGORY = 0.25  # sd of v to begin with
BATCH = 0.25  # sd of the log of one batch to begin with
STRAY = 0.03  # share of batches that say nothing, to begin with
_ANYWHERE = 1.0 / 8.0  # their density: a 50th to 50 times what was to be expected, evenly in the log
_COUNT_CATEGORY, _COUNT_BATCH, _COUNT_STRAY = 4.0, 4.0, 30.0  # what they begin with counts like so many
PIECES = 3.0  # the variance of one piece by itself, over that of a batch
FLAG_LEAST, FLAG_SHARE = 1.0, 0.7  # sd of w: a minute, and this share of the minutes assumed
_LEAST = 0.05  # minutes below which no piece is taken for done
_ROUNDS = 40


@dataclass(frozen=True)
class Batches:
    """n timed batches of one step.

    Attributes
    ----------
    minutes : (n,) above 0. pieces : (n, K) by category, each batch one or more. flagged : (n, F) pieces with each flag.
    """

    minutes: Floats
    pieces: Floats
    flagged: Floats


@dataclass(frozen=True)
class Minutes:
    """Minutes a piece, with 90 % intervals; arrays of length K or F.

    Attributes
    ----------
    mean, low, high : by category. extra, extra_low, extra_high : more for a flag, not below 0. batches, pieces : what
    a category rests on itself. extra_batches : the same of a flag. batch_sd : of the log of one batch. say : (n,) of
    each batch, 1 in full and near 0 where it looks like a forgotten watch, or one stopped too soon. short : (n,)
    whether it took less than was to be expected.
    """

    mean: Floats
    low: Floats
    high: Floats
    batches: Ints
    pieces: Ints
    extra: Floats
    extra_low: Floats
    extra_high: Floats
    extra_batches: Ints
    batch_sd: float
    say: Floats
    short: NDArray[np.bool_]


def minutes_learnt(batches: Batches, assumed: Floats, assumed_extra: Floats) -> Minutes:
    """Learn the minutes of one step.

    Parameters
    ----------
    assumed : (K,) minutes a piece by category, assumed before. assumed_extra : (F,) more for a piece with a flag.
    """
    count, categories = batches.pieces.shape
    assumed = np.maximum(np.asarray(assumed, dtype=np.float64), _LEAST)
    extra = np.asarray(assumed_extra, dtype=np.float64)
    done = batches.pieces.sum(axis=1)
    if not np.all(done > 0) or not np.all(batches.minutes > 0):
        raise ValueError("a batch has one piece or more and took more than no time")
    share, marked = batches.pieces / done[:, None], batches.flagged / done[:, None]
    y, noise = np.log(batches.minutes / done), 1.0 + PIECES / done
    beta = np.zeros(1 + categories + len(extra))
    flag2 = (FLAG_LEAST + FLAG_SHARE * extra) ** 2
    category2, batch2, stray = CATEGORY**2, BATCH**2, STRAY
    own = np.flatnonzero(share.sum(axis=0) > 0)  # the others say nothing of how far categories lie apart
    say, left, cov = np.ones(count), np.zeros(count), np.zeros((len(beta), len(beta)))
    for _ in range(_ROUNDS):
        before = beta
        var = batch2 * noise
        expected, slope = _expected(beta, share, marked, assumed, extra)
        precision = np.concatenate([[OWN_PACE**-2], np.full(categories, 1.0 / category2), 1.0 / flag2])
        # A batch's mean lies over its median by half the variance of its log.
        beta, cov = normal_effects(slope, y + var / 2.0 - np.log(expected) + slope @ beta, say / var, precision)
        beta = before + np.clip(beta - before, -1.0, 1.0)
        left = y + var / 2.0 - np.log(_expected(beta, share, marked, assumed, extra)[0])
        spread = np.einsum("np,pq,nq->n", slope, cov, slope)
        batch2 = (np.sum(say * (left**2 + spread) / noise) + _COUNT_BATCH * BATCH**2) / (say.sum() + _COUNT_BATCH)
        sound = (1.0 - stray) * np.exp(-0.5 * left**2 / var) / np.sqrt(2.0 * np.pi * var)
        say = sound / (sound + stray * _ANYWHERE)
        stray = (np.sum(1.0 - say) + _COUNT_STRAY * STRAY) / (count + _COUNT_STRAY)
        between = beta[1 + own] ** 2 + np.diag(cov)[1 + own]
        category2 = (between.sum() + _COUNT_CATEGORY * CATEGORY**2) / (len(own) + _COUNT_CATEGORY)
        if np.max(np.abs(beta - before)) < 1e-6:
            break
    reach = float(stdtrit(say.sum() + _COUNT_BATCH - 1.0, 0.95))  # the variances are estimates as well
    log_sd = np.sqrt(cov[0, 0] + np.diag(cov)[1 : 1 + categories] + 2 * cov[0, 1 : 1 + categories])
    mean = assumed * np.exp(beta[0] + beta[1 : 1 + categories])
    more, more_sd = extra + beta[1 + categories :], np.sqrt(np.diag(cov)[1 + categories :])
    return Minutes(
        mean, mean * np.exp(-reach * log_sd), mean * np.exp(reach * log_sd),
        (batches.pieces > 0).sum(axis=0), batches.pieces.sum(axis=0).astype(np.int64),
        np.maximum(more, 0.0), np.maximum(more - reach * more_sd, 0.0), np.maximum(more + reach * more_sd, 0.0),
        (batches.flagged > 0).sum(axis=0), float(np.sqrt(batch2)), say, left < 0,
    )  # fmt: skip


def normal_effects(design: Floats, target: Floats, weight: Floats, precision: Floats) -> tuple[Floats, Floats]:
    """Posterior mean (p,) and covariance (p, p) of effects with independent normal priors around 0.

    Parameters
    ----------
    design : (n, p). target : (n,). weight : (n,) 1 / variance of each target. precision : (p,) 1 / variance of each
    prior; 0 says nothing beforehand, and then the data must.
    """
    weighted = design * weight[:, None]
    cov = np.linalg.inv(design.T @ weighted + np.diag(precision))
    return np.asarray(cov @ (weighted.T @ target)), np.asarray(cov)


def _expected(beta: Floats, share: Floats, marked: Floats, assumed: Floats, extra: Floats) -> tuple[Floats, Floats]:
    """Minutes a piece of each batch, and how their log moves with each effect: (n,), (n, 1 + K + F)."""
    categories = len(assumed)
    by_category = share * (assumed * np.exp(beta[0] + beta[1 : 1 + categories]))
    expected = by_category.sum(axis=1) + marked @ (extra + beta[1 + categories :])
    expected = np.maximum(expected, _LEAST)
    slope = np.column_stack([by_category.sum(axis=1), by_category, marked]) / expected[:, None]
    return expected, slope


def running_median(values: ArrayLike, width: int = 5) -> Floats:
    """Median of each value and those before it, ``width`` at most: (n,)."""
    x = np.asarray(values, dtype=np.float64)
    return np.array([np.median(x[max(0, at + 1 - width) : at + 1]) for at in range(len(x))])
