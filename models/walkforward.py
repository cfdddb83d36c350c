"""Whether a correction would have helped out of sample: learnt from what was known, judged on what came after.

Time is cut into steps. At the start of each, the correction is learnt from the outcomes known by then and leans towards
none while they are few (normal and gamma priors, Gelman et al., Bayesian Data Analysis, ch. 2); it is then applied to
the forecasts of the step, and its gain there is kept. Given the past these gains have no expectation above 0 unless
there is something to correct, so that their sum over its standard error tells one from luck (prequential, Dawid 1984,
J R Stat Soc A 147:278). Outcomes of one cluster (a style, a piece) are added up before their spread is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from models.price import Floats

STEP = 30.0  # days
USUAL_SHIFT = 0.10  # how far levels are off where nothing is known, in log price
USUAL_SALES = 12.0  # worth of sales that were made as promised
_MEDIAN = 1.2533  # standard error of a median over that of a mean, normal errors


@dataclass(frozen=True)
class Gain:
    """What a correction would have brought out of sample.

    Attributes
    ----------
    value : the correction as all outcomes now tell it: a shift in log price, or a factor of the hazard. low, high : its
    90 % interval. rests_on : outcomes it is learnt from. judged : forecasts it was judged on. gain : mean gain of these
    (absolute log error, or log score in nats), gain_low and gain_high its 90 % interval. before : mean absolute log
    error, or log score per sale, without it. p : chance of such a gain with nothing to correct.
    """

    value: float
    low: float
    high: float
    rests_on: int
    judged: int
    gain: float
    gain_low: float
    gain_high: float
    before: float
    p: float
    by_outcome: Floats  # (n,) the correction in force for each outcome, learnt before it: shift, or nan without one


def shift_of(error: Floats) -> tuple[float, float]:
    """Return the shift that (n,) log errors tell, leaning towards none, and its standard error."""
    if not len(error):
        return 0.0, USUAL_SHIFT
    middle = float(np.median(error))
    spread = 1.4826 * float(np.median(np.abs(error - middle))) if len(error) > 4 else 0.3
    noise = (_MEDIAN * max(spread, 0.02)) ** 2 / len(error)
    share = USUAL_SHIFT**2 / (USUAL_SHIFT**2 + noise)
    return share * middle, float(np.sqrt(share * noise))


def correct_level(error: ArrayLike, made: ArrayLike, known: ArrayLike, cluster: ArrayLike, least: int = 30) -> Gain:
    """Judge a shift of price levels.

    Parameters
    ----------
    error : (n,) log of what was paid over the median that was forecast. made, known : (n,) day the forecast was made,
        day its outcome was known. cluster : (n,) outcomes that may go wrong together.
    least : outcomes from which on a shift is tried at all.
    """
    e, start, end = (np.asarray(each, dtype=np.float64) for each in (error, made, known))
    shift = np.full(len(e), np.nan)
    if len(e):
        step = np.floor((start - start.min()) / STEP)
        for at in np.unique(step):
            past = e[end < start.min() + at * STEP]
            if len(past) >= least:
                shift[step == at] = shift_of(past)[0]
    gain = np.abs(e) - np.abs(e - np.nan_to_num(shift))
    value, error_of = shift_of(e)
    reach = float(ndtri(0.95)) * error_of
    judged = ~np.isnan(shift)
    before = float(np.abs(e[judged]).mean()) if judged.any() else float("nan")
    told = _tell(gain[judged], np.asarray(cluster)[judged])
    return Gain(value, value - reach, value + reach, len(e), int(judged.sum()), *told[:3], before, told[3], shift)


def factor_of(sales: float, promised: float) -> tuple[float, float]:
    """Return the factor that sales over promised ones tell, leaning towards 1, and its standard error as a log."""
    return (sales + USUAL_SALES) / (promised + USUAL_SALES), float(1.0 / np.sqrt(sales + USUAL_SALES))


def correct_speed(
    hazard: ArrayLike, knots: ArrayLike, listed: ArrayLike, duration: ArrayLike, event: ArrayLike, cluster: ArrayLike,
    least: float = 20.0, already: Floats | None = None,
) -> Gain:  # fmt: skip
    """Judge a factor of the hazard of sale.

    The log score of a listing watched over some days is event x log(hazard) - hazard spent, so that a factor f gains
    event x log f - (f - 1) x spent, sold or not.

    Parameters
    ----------
    hazard : (n, k) promised cumulative hazard by each of ``knots`` (k,), the first of both 0. Days beyond the last say
        nothing. listed, duration, event : (n,) day it began, days watched, 1 where they end with a sale.
    cluster : (n,). least : sales promised from which on a factor is tried at all.
    already : (steps + 1,) a factor of another correction in force in each step, from the earliest listing on.
    """
    spent, day, begin = (np.asarray(each, dtype=np.float64) for each in (hazard, knots, listed))
    time = np.asarray(duration, dtype=np.float64)
    sold = (np.asarray(event, dtype=np.float64) == 1) & (time <= day[-1])
    if not len(begin):
        return Gain(1.0, 0.0, float("inf"), 0, 0, 0.0, 0.0, 0.0, float("nan"), 1.0, np.zeros(0))
    first, last = float(begin.min()), float((begin + np.minimum(time, day[-1])).max())
    steps = int((last - first) // STEP) + 1
    ends = np.floor((begin + time - first) / STEP)
    promised, made = np.zeros((len(begin), steps)), np.zeros((len(begin), steps))
    for at in range(steps):
        low, high = (np.clip(first + (at + part) * STEP - begin, 0.0, np.minimum(time, day[-1])) for part in (0, 1))
        promised[:, at] = _spent(spent, day, high) - _spent(spent, day, low)
        made[:, at] = sold & (ends == at)
    if already is not None:
        promised *= already[:steps]
    all_made, all_promised = made.sum(axis=0), promised.sum(axis=0)
    until = np.cumsum(all_promised) - all_promised
    past = np.cumsum(all_made) - all_made
    factor = np.array([factor_of(s, h)[0] if h >= least else np.nan for s, h in zip(past, until, strict=True)])
    f = np.where(np.isnan(factor), 1.0, factor)
    gain = (made * np.log(f) - promised * (f - 1.0)).sum(axis=1)
    tried = ~np.isnan(factor)
    judged = (promised[:, tried] > 0).any(axis=1) if tried.any() else np.zeros(len(begin), dtype=bool)
    value, error = factor_of(float(all_made.sum()), float(all_promised.sum()))
    reach = float(np.exp(ndtri(0.95) * error))
    told = _tell(gain[judged], np.asarray(cluster)[judged])
    return Gain(
        value, value / reach, value * reach, int(all_made.sum()), int(judged.sum()), *told[:3],
        float(all_promised.sum()), told[3], f,
    )  # fmt: skip


def _spent(hazard: Floats, knots: Floats, day: Floats) -> Floats:
    """Interpolate each row of cumulative hazards at its own day: (n,)."""
    right = np.clip(np.searchsorted(knots, day), 1, len(knots) - 1)
    part = (day - knots[right - 1]) / (knots[right] - knots[right - 1])
    each = np.arange(len(day))
    return np.asarray(hazard[each, right - 1] * (1 - part) + hazard[each, right] * part)


def _tell(gain: Floats, cluster: np.ndarray) -> tuple[float, float, float, float]:
    """Return the mean gain, its 90 % interval, and the chance of as much with nothing to gain."""
    if len(gain) < 2:
        return 0.0, 0.0, 0.0, 1.0
    group = np.unique(cluster, return_inverse=True)[1]
    total = np.bincount(group, gain)
    error = float(np.sqrt(np.sum(total**2))) / len(gain)
    mean = float(gain.mean())
    if error <= 0:
        return mean, mean, mean, 1.0
    reach = float(ndtri(0.95)) * error
    return mean, mean - reach, mean + reach, float(1.0 - ndtr(mean / error))
