"""Score forecasts against what happened: probabilities, quantiles, distributions, and levels of price.

Sources: Brier 1950 (Mon Weather Rev 78:1); Murphy 1973 (J Appl Meteorol 12:595); Gneiting & Raftery 2007 (JASA
102:359); Gneiting et al. 2005 (Mon Weather Rev 133:1098) for the normal CRPS; Ferro 2014 (Q J R Meteorol Soc 140:1917)
for its fair form; IAAO Standard on Ratio Studies, 2013.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtrit, xlog1py, xlogy

from models.price import Floats


@dataclass(frozen=True)
class Murphy:
    """Brier score = reliability - resolution + uncertainty; ``skill`` beats the base rate (nan if that is 0 or 1)."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    skill: float


@dataclass(frozen=True)
class RatioStudy:
    """Predicted over sold prices. ``cod`` is in percent of the median; ``prb_low`` to ``prb_high`` is a 95 % interval.

    Acceptable by the standard: level 0.90 to 1.10, COD 5 to 15, PRD 0.98 to 1.03, PRB -0.05 to 0.05. PRD above or PRB
    below its range: dear items are under-predicted.
    """

    level: float
    mean: float
    weighted_mean: float
    cod: float
    prd: float
    prb: float
    prb_low: float
    prb_high: float


def brier(forecast: ArrayLike, outcome: ArrayLike) -> float:
    """Return the mean squared distance of (n,) forecast chances from outcomes 0 or 1."""
    p, o = _chances(forecast, outcome)
    return float(np.mean((p - o) ** 2))


def murphy(forecast: ArrayLike, outcome: ArrayLike) -> Murphy:
    """Split the Brier score; exact, because forecasts are grouped by their very value, not binned."""
    p, o = _chances(forecast, outcome)
    value, group = np.unique(p, return_inverse=True)
    count = np.bincount(group)
    rate = np.bincount(group, o) / count
    base = float(o.mean())
    score = float(np.mean((p - o) ** 2))
    uncertainty = base * (1.0 - base)
    reliability = float(np.sum(count * (value - rate) ** 2) / len(o))
    resolution = float(np.sum(count * (rate - base) ** 2) / len(o))
    skill = 1.0 - score / uncertainty if uncertainty > 0 else float("nan")
    return Murphy(score, reliability, resolution, uncertainty, skill)


def log_loss(forecast: ArrayLike, outcome: ArrayLike) -> float:
    """Return the mean negative log chance given to what happened; infinite when that was 0."""
    p, o = _chances(forecast, outcome)
    return float(np.mean(-xlogy(o, p) - xlog1py(1.0 - o, -p)))


def pinball(actual: ArrayLike, forecast: ArrayLike, level: ArrayLike) -> float:
    """Return the mean quantile loss, in the unit of ``actual``; shapes broadcast, 0 < level < 1."""
    share = np.asarray(level, dtype=np.float64)
    if not np.all((share > 0) & (share < 1)):
        raise ValueError("level of a quantile must lie between 0 and 1")
    miss = np.asarray(actual, dtype=np.float64) - np.asarray(forecast, dtype=np.float64)
    return float(np.mean(np.maximum(share * miss, (share - 1.0) * miss)))


def interval_score(low: ArrayLike, high: ArrayLike, actual: ArrayLike, alpha: float) -> Floats:
    """Return width plus 2 / alpha times the miss, for central 1 - alpha intervals; shapes broadcast."""
    if not 0 < alpha < 1:
        raise ValueError(f"miss rate is {alpha}; it must lie between 0 and 1")
    lower, upper, y = (np.asarray(each, dtype=np.float64) for each in (low, high, actual))
    if np.any(upper < lower):
        raise ValueError("an interval's upper end lies below its lower end")
    miss = np.maximum(lower - y, 0.0) + np.maximum(y - upper, 0.0)
    return np.asarray(upper - lower + 2.0 / alpha * miss)


def crps_normal(mean: ArrayLike, sd: ArrayLike, actual: ArrayLike) -> Floats:
    """Return the CRPS of normal forecasts, in the unit of ``actual``; shapes broadcast, sd > 0."""
    spread = np.asarray(sd, dtype=np.float64)
    if not np.all(spread > 0):
        raise ValueError("standard deviation must be above 0")
    w = (np.asarray(actual, dtype=np.float64) - np.asarray(mean, dtype=np.float64)) / spread
    density = np.exp(-(w**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(spread * (w * (2 * ndtr(w) - 1) + 2 * density - 1 / np.sqrt(np.pi)))


def crps_lognormal(log_mean: ArrayLike, log_sd: ArrayLike, actual: ArrayLike) -> Floats:
    """Return the CRPS of lognormal forecasts at values above 0, in their unit (Baran & Lerch 2015); broadcasts."""
    m, s, y = (np.asarray(each, dtype=np.float64) for each in (log_mean, log_sd, actual))
    if not (np.all(s > 0) and np.all(y > 0)):
        raise ValueError("standard deviation and actual value must be above 0")
    w = (np.log(y) - m) / s
    return np.asarray(y * (2 * ndtr(w) - 1) - 2 * np.exp(m + s**2 / 2) * (ndtr(w - s) + ndtr(s / np.sqrt(2.0)) - 1))


def crps_exponential(rate: ArrayLike, actual: ArrayLike) -> Floats:
    """Return the CRPS of exponential forecasts at values not below 0, in their unit; broadcasts."""
    r, y = np.asarray(rate, dtype=np.float64), np.asarray(actual, dtype=np.float64)
    if not (np.all(r > 0) and np.all(y >= 0)):
        raise ValueError("rate must be above 0 and the actual value not negative")
    return np.asarray(y + 2.0 * np.expm1(-r * y) / r + 0.5 / r)


def crps_sample(sample: ArrayLike, actual: float, *, fair: bool = False) -> float:
    """Return the CRPS of a forecast given as m draws, in their unit.

    Parameters
    ----------
    fair : divide the spread term by 2 m (m - 1) instead of 2 m^2, so that few draws are not favoured; needs m >= 2.
    """
    x = np.sort(np.asarray(sample, dtype=np.float64))
    m = len(x)
    if m < (2 if fair else 1):
        raise ValueError("too few draws for this score")
    spread = float(np.sum((2 * np.arange(1, m + 1) - m - 1) * x))  # half the sum of all pairs' distances
    return float(np.mean(np.abs(x - actual)) - spread / (m * (m - 1) if fair else m**2))


def ratio_study(predicted: ArrayLike, sold: ArrayLike) -> RatioStudy:
    """Measure whether predicted prices are level, even, and unbiased by price.

    Parameters
    ----------
    predicted, sold : (n,) prices above 0 in one currency, n >= 3.
    """
    p, s = np.asarray(predicted, dtype=np.float64), np.asarray(sold, dtype=np.float64)
    if p.ndim != 1 or p.shape != s.shape or len(p) < 3 or not (np.all(p > 0) and np.all(s > 0)):
        raise ValueError("expected three or more pairs of prices above 0")
    ratio = p / s
    level = float(np.median(ratio))
    mean, weighted = float(ratio.mean()), float(p.sum() / s.sum())
    cod = 100.0 * float(np.mean(np.abs(ratio - level))) / level
    x = np.log2((p / level + s) / 2)
    y = (ratio - level) / level
    x, y = x - x.mean(), y - y.mean()
    squares = float(np.sum(x**2))
    if squares <= 1e-12 * len(p):  # all items worth the same: no slope to speak of
        return RatioStudy(level, mean, weighted, cod, mean / weighted, float("nan"), float("nan"), float("nan"))
    prb = float(np.sum(x * y)) / squares
    error = float(np.sqrt(np.sum((y - prb * x) ** 2) / (len(p) - 2) / squares))
    reach = float(stdtrit(len(p) - 2, 0.975)) * error
    return RatioStudy(level, mean, weighted, cod, mean / weighted, prb, prb - reach, prb + reach)


def _chances(forecast: ArrayLike, outcome: ArrayLike) -> tuple[Floats, Floats]:
    p, o = np.asarray(forecast, dtype=np.float64), np.asarray(outcome, dtype=np.float64)
    if p.ndim != 1 or p.shape != o.shape or not len(p):
        raise ValueError("expected as many outcomes as forecasts, one or more")
    if not np.all((p >= 0) & (p <= 1)) or not np.isin(o, (0.0, 1.0)).all():
        raise ValueError("a forecast chance is from 0 to 1 and an outcome is 0 or 1")
    return p, o
