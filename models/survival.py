"""Time to sell with unsold listings: survival curve, rates, flow. An unsold listing is censored, never dropped.

Throughout, ``duration`` is (n,) days (or any unit) on the market and ``event`` (n,) is 1 when sold and 0 when still
unsold. Sources: Kaplan & Meier 1958 (JASA 53:457); Greenwood 1926 for the standard error; Holford 1980 (Biometrics
36:299) for piecewise rates; Little 1961 (Oper Res 9:383), 2011 (Oper Res 59:536) for flow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from models.price import Floats


@dataclass(frozen=True)
class SurvivalCurve:
    """Share unsold after each time with a sale; arrays (t,). ``se`` is nan where the curve has reached 0."""

    times: Floats
    at_risk: Floats
    events: Floats
    survival: Floats
    se: Floats
    last: float  # the longest time watched: the curve says nothing beyond it

    def at(self, time: ArrayLike) -> Floats:
        """Return the share unsold after ``time`` (any shape); the last step is carried on, never dropped to 0."""
        steps = np.concatenate([[1.0], self.survival])
        return np.asarray(steps[np.searchsorted(self.times, np.asarray(time, dtype=np.float64), side="right")])

    def quantile(self, share: float) -> float | None:
        """Return the time by which ``share`` have sold, or None when it was not reached."""
        reached = np.flatnonzero(self.survival <= 1.0 - share + 1e-12)
        return float(self.times[reached[0]]) if len(reached) else None

    def median(self) -> float | None:
        """Return the time by which half have sold, or None when it was not reached."""
        return self.quantile(0.5)

    def restricted_mean(self, until: float) -> float:
        """Return the mean time up to ``until``: the area under the curve (beyond ``last``, its last step's)."""
        edges = np.concatenate([[0.0], self.times[self.times < until], [until]])
        return float(np.sum(np.diff(edges) * self.at(edges[:-1])))


@dataclass(frozen=True)
class PieceRates:
    """Sales, time watched and rate in each piece; ``rate`` is nan in a piece nobody was watched in."""

    events: Floats
    exposure: Floats
    rate: Floats


@dataclass(frozen=True)
class LogRank:
    """Log-rank test of two groups: chi-square on 1 degree of freedom; counts are of the group marked 1."""

    chi2: float
    p: float
    observed: float
    expected: float
    variance: float


def kaplan_meier(duration: ArrayLike, event: ArrayLike) -> SurvivalCurve:
    """Estimate the share unsold after each time. Censored at the time of a sale counts as at risk there."""
    time, sold = _listings(duration, event)
    times = np.unique(time[sold])
    at_risk = len(time) - np.searchsorted(np.sort(time), times, side="left").astype(np.float64)
    at = np.sort(time[sold])
    events = (np.searchsorted(at, times, side="right") - np.searchsorted(at, times, side="left")).astype(np.float64)
    survival = np.asarray(np.cumprod(1.0 - events / at_risk), dtype=np.float64)
    left = at_risk - events
    term = np.divide(events, at_risk * left, out=np.full(len(times), np.nan), where=left > 0)
    se = np.asarray(survival * np.sqrt(np.cumsum(term)), dtype=np.float64)
    return SurvivalCurve(times, at_risk, events, survival, se, float(time.max()))


def piecewise_rates(duration: ArrayLike, event: ArrayLike, cuts: ArrayLike) -> PieceRates:
    """Return sales over time watched in the pieces between ``cuts``.

    Parameters
    ----------
    cuts : (c,) rising and above 0; gives c + 1 pieces, the last one open. A sale on a cut belongs to the piece that
        ends there. A piece without a sale has rate 0.
    """
    time, sold = _listings(duration, event)
    edge = np.asarray(cuts, dtype=np.float64)
    if np.any(edge <= 0) or np.any(np.diff(edge) <= 0):
        raise ValueError("cuts must rise and be above 0")
    lower = np.concatenate([[0.0], edge])
    upper = np.concatenate([edge, [np.inf]])
    exposure = np.clip(time[:, None] - lower, 0.0, upper - lower).sum(axis=0)
    piece = np.searchsorted(edge, time[sold], side="left")
    events = np.bincount(piece, minlength=len(lower)).astype(np.float64)
    rate = np.divide(events, exposure, out=np.full(len(lower), np.nan), where=exposure > 0)
    return PieceRates(events, exposure, rate)


def exponential_rate(duration: ArrayLike, event: ArrayLike) -> tuple[float, float]:
    """Return sales over time watched, and the standard error of its logarithm (infinite without a sale)."""
    time, sold = _listings(duration, event)
    count, exposure = int(sold.sum()), float(time.sum())
    if exposure <= 0:
        raise ValueError("no time was watched: every duration is 0")
    return count / exposure, float(1.0 / np.sqrt(count)) if count else float("inf")


def mean_time(duration: ArrayLike, event: ArrayLike) -> float:
    """Return the mean time to sell under a constant rate: time watched over sales; infinite without a sale.

    The mean of the sold alone is no estimate of it: the 6-MP data give 12.1 that way instead of 39.9.
    """
    time, sold = _listings(duration, event)
    return float(time.sum() / sold.sum()) if sold.any() else float("inf")


def sold_by(rate: ArrayLike, time: ArrayLike) -> Floats:
    """Return the chance sold by ``time`` at a constant rate; shapes broadcast."""
    return np.asarray(-np.expm1(-np.asarray(rate, dtype=np.float64) * np.asarray(time, dtype=np.float64)))


def exponential_median(rate: float) -> float:
    """Return the time by which half have sold at a constant rate above 0."""
    if not rate > 0:
        raise ValueError(f"rate of sale is {rate}; a median needs one above 0")
    return float(np.log(2.0) / rate)


def conditional_survival(curve: SurvivalCurve, waited: float, further: ArrayLike) -> Floats:
    """Return the chance of staying unsold for ``further`` time, given unsold after ``waited``.

    Raises
    ------
    ValueError
        The curve has reached 0 by then: nothing was still unsold.
    """
    now = float(curve.at(waited))
    if now <= 0:
        raise ValueError(f"nothing was still unsold after {waited}")
    return np.asarray(curve.at(waited + np.asarray(further, dtype=np.float64)) / now)


def gamma_frailty_survival(a: ArrayLike, b: ArrayLike, hazard: ArrayLike) -> Floats:
    """Return (b / (b + H))^a: chance unsold at cumulative hazard H under a Gamma(shape a, rate b) frailty."""
    ratio = np.asarray(hazard, dtype=np.float64) / np.asarray(b, dtype=np.float64)
    return np.asarray(np.exp(-np.asarray(a, dtype=np.float64) * np.log1p(ratio)))


def log_rank(duration: ArrayLike, event: ArrayLike, group: ArrayLike) -> LogRank:
    """Test whether two groups sell equally fast; ``group`` (n,) is 0 or 1 (Mantel 1966, hypergeometric variance)."""
    time, sold = _listings(duration, event)
    one = np.asarray(group) == 1
    if one.shape != time.shape or one.all() or not one.any():
        raise ValueError("two groups, marked 0 and 1, are needed")
    whole = kaplan_meier(time, sold)
    n, d = whole.at_risk, whole.events
    n1 = one.sum() - np.searchsorted(np.sort(time[one]), whole.times, side="left").astype(np.float64)
    expected = float(np.sum(d * n1 / n))
    variance = float(np.sum(d * n1 / n * (1.0 - n1 / n) * (n - d) / np.maximum(n - 1.0, 1.0)))
    observed = float((sold & one).sum())
    chi2 = (observed - expected) ** 2 / variance if variance > 0 else 0.0
    return LogRank(chi2, float(chdtrc(1, chi2)), observed, expected, variance)


def littles_law(on_hand: ArrayLike, per_day: ArrayLike) -> Floats:
    """Return the mean time on the market, in the time unit of the flow: listings on hand over sales per unit."""
    stock, flow = np.asarray(on_hand, dtype=np.float64), np.asarray(per_day, dtype=np.float64)
    if not (np.all(stock >= 0) and np.all(flow > 0)):
        raise ValueError("listings on hand cannot be negative, and the flow of sales must be above 0")
    return np.asarray(stock / flow)


def months_of_inventory(listings: ArrayLike, sales: ArrayLike, months: int = 12) -> Floats:
    """Return listings over the mean of the last ``months`` months' sales, this month's among them.

    Parameters
    ----------
    listings, sales : (m,) one area's consecutive months; nan where unknown. The answer is nan where any of the
        months is unknown or missing, and infinite where none of them saw a sale.
    """
    stock, sold = np.asarray(listings, dtype=np.float64), np.asarray(sales, dtype=np.float64)
    if stock.ndim != 1 or stock.shape != sold.shape or months < 1:
        raise ValueError("expected as many months of sales as of listings")
    answer = np.full(len(stock), np.nan)
    if len(sold) >= months:
        pace = np.lib.stride_tricks.sliding_window_view(sold, months).mean(axis=1)
        tail = stock[months - 1 :]
        answer[months - 1 :] = np.divide(
            tail, pace, out=np.where(np.isnan(pace + tail), np.nan, np.inf), where=pace > 0
        )
    return answer


def _listings(duration: ArrayLike, event: ArrayLike) -> tuple[Floats, np.ndarray]:
    time, sold = np.asarray(duration, dtype=np.float64), np.asarray(event)
    if time.ndim != 1 or time.shape != sold.shape or not len(time):
        raise ValueError("expected as many events as durations, one or more")
    if not np.isfinite(time).all() or np.any(time < 0):
        raise ValueError("durations must be finite and not negative")
    if not np.isin(sold, (0, 1)).all():
        raise ValueError("an event is 1 when sold and 0 when unsold")
    return time, sold.astype(bool)
