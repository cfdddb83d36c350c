"""Forecast chances of a sale against what happened, where some items are still unsold: no item is left out.

An item that is still listed is right-censored: it is known not to have sold so far. Chances are therefore compared with
Kaplan & Meier's share sold (1958, JASA 53:457) bin by bin, and scored by the Brier score whose observed part is
weighted by the inverse chance of having been watched so long (Graf, Schmoor, Sauerbrei & Schumacher 1999, Stat Med
18:2529). Intervals of shares by the log-log transform (Kalbfleisch & Prentice 1980), exact where nothing or all sold
(Clopper & Pearson 1934). Decomposition: Murphy 1973 (J Appl Meteorol 12:595).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from models.price import Floats
from models.survival import SurvivalCurve, kaplan_meier


@dataclass(frozen=True)
class Bin:
    """Items whose forecast chance is alike: what was forecast, and the share sold with its interval.

    ``sold`` is None where nobody was watched up to the day, for then the share is not known.
    """

    count: int
    events: int  # sold by the day
    reached: int  # sold by the day, or still watched on it
    forecast: float  # mean chance
    sold: float | None
    low: float
    high: float


@dataclass(frozen=True)
class Parts:
    """Brier score of binned forecasts in its parts; ``skill`` is nan where all or none sold.

    reliability - resolution + uncertainty is the score of the bins' mean forecasts; what the bins hide is ``within``.
    """

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float
    skill: float


def share_by(curve: SurvivalCurve, day: float, count: int, level: float = 0.9) -> tuple[float, float, float]:
    """Return the share sold by a day and its interval.

    Parameters
    ----------
    count : for the exact ends of 0 and 1: items at risk on the day where none sold, sales where all did.
    """
    unsold = float(curve.at(day))
    tail = (1.0 - level) / 2
    if unsold >= 1.0:
        return 0.0, 0.0, float(1.0 - tail ** (1.0 / max(count, 1)))
    if unsold <= 0.0:
        return 1.0, float(tail ** (1.0 / max(count, 1))), 1.0
    error = float(curve.se[np.searchsorted(curve.times, day, side="right") - 1])
    # Standard error of log(-log S): Greenwood's over S |log S|.
    reach = -float(ndtri(tail)) * error / (unsold * -np.log(unsold))
    low, high = unsold ** np.exp(reach), unsold ** np.exp(-reach)
    return 1.0 - unsold, float(1.0 - high), float(1.0 - low)


def reliability(
    chance: ArrayLike, duration: ArrayLike, event: ArrayLike, day: float, bins: int = 8, level: float = 0.9
) -> tuple[Bin, ...]:
    """Compare forecast chances of a sale within ``day`` days with the shares sold.

    Parameters
    ----------
    chance : (n,) forecast. duration, event : (n,) days watched, 1 where they end with a sale.
    bins : as many items in each as in another, as far as equal forecasts, which stay together, allow.
    level : of the intervals of the shares.
    """
    p, time, sold = _items(chance, duration, event)
    order = np.argsort(p, kind="stable")
    value, first = np.unique(p[order], return_index=True)
    if len(value) <= bins:
        starts = first
    else:  # each cut moves on to where the forecast changes
        wanted = np.arange(1, bins) * len(p) / bins
        starts = np.unique([0, *(first[min(np.searchsorted(first, at), len(first) - 1)] for at in wanted)])
    found = []
    for begin, end in zip(starts, [*starts[1:], len(p)], strict=True):
        mine = order[begin:end]
        found.append(_bin(p[mine], time[mine], sold[mine], day, level))
    return tuple(found)


def brier_watched(chance: ArrayLike, duration: ArrayLike, event: ArrayLike, day: float) -> float:
    """Return the Brier score of chances of a sale within ``day`` days, weighted for items not watched so long.

    (1 - p)^2 of those sold by then over the chance of being watched until just before their sale, p^2 of those still
    unsold then over the chance of being watched until then, nothing of the others; over all n. nan where nobody was
    watched up to the day and not all had sold.
    """
    p, time, sold = _items(chance, duration, event)
    weight = weights_at(time, sold, day)
    if weight is None:
        return float("nan")
    outcome = sold & (time <= day)
    return float(np.mean(weight * (p - outcome) ** 2))


def weights_at(duration: ArrayLike, event: ArrayLike, day: float) -> Floats | None:
    """Return inverse-probability-of-censoring weights (n,) of what is known on a day, 0 where it is not known.

    None where nobody was watched so long, though some had not sold.
    """
    _, time, sold = _items(np.zeros(len(np.asarray(duration))), duration, event)
    by_then = sold & (time <= day)
    unsold = time > day
    if not unsold.any() and not by_then.all():
        return None
    watched = _Watched(time, sold)
    weight = np.zeros(len(time))
    weight[by_then] = 1.0 / watched.before(time[by_then])
    if unsold.any():
        weight[unsold] = 1.0 / watched.after(np.array([day]))[0]
    return weight


def weights_ended(duration: ArrayLike, event: ArrayLike) -> Floats:
    """Return weights (n,) that let those that ended speak for those still going on; 0 for these.

    Quick ends are seen at once, slow ones only of the oldest items, so that a plain mean over what has ended speaks for
    the quick ones. What takes longer than any item was watched nobody can speak for.
    """
    _, time, ended = _items(np.zeros(len(np.asarray(duration))), duration, event)
    weight = np.zeros(len(time))
    if ended.any():
        weight[ended] = 1.0 / _Watched(time, ended).before(time[ended])
    return weight


def parts(chance: ArrayLike, duration: ArrayLike, event: ArrayLike, day: float, bins: tuple[Bin, ...]) -> Parts:
    """Split the score of forecasts by their bins, those without a known share left out."""
    score = brier_watched(chance, duration, event, day)
    known = [one for one in bins if one.sold is not None]
    count = sum(one.count for one in known)
    if not count:
        return Parts(score, *[float("nan")] * 5)
    share = np.array([one.count / count for one in known])
    forecast = np.array([one.forecast for one in known])
    rate = np.array([one.sold for one in known], dtype=np.float64)
    base = float(share @ rate)
    unsure = base * (1.0 - base)
    off, apart = float(share @ (forecast - rate) ** 2), float(share @ (rate - base) ** 2)
    skill = 1.0 - score / unsure if unsure > 0 else float("nan")
    return Parts(score, off, apart, unsure, score - (off - apart + unsure), skill)


class _Watched:
    """The chance of being still watched: Kaplan & Meier with the parts of sale and censoring changed."""

    def __init__(self, time: Floats, sold: np.ndarray) -> None:
        self.times = np.unique(time[~sold])
        # A sale on the day of a censoring comes first: it is no longer at risk of being lost from sight.
        at_risk = len(time) - np.searchsorted(np.sort(time), self.times, side="left").astype(np.float64)
        gone = np.sort(time[sold])
        at_risk -= np.searchsorted(gone, self.times, side="right") - np.searchsorted(gone, self.times, side="left")
        lost = np.sort(time[~sold])
        count = np.searchsorted(lost, self.times, side="right") - np.searchsorted(lost, self.times, side="left")
        self.share = np.concatenate([[1.0], np.cumprod(1.0 - count / at_risk)])

    def before(self, time: Floats) -> Floats:
        return np.asarray(self.share[np.searchsorted(self.times, time, side="left")])

    def after(self, time: Floats) -> Floats:
        return np.asarray(self.share[np.searchsorted(self.times, time, side="right")])


def _bin(p: Floats, time: Floats, sold: np.ndarray, day: float, level: float) -> Bin:
    events = int((sold & (time <= day)).sum())
    still = int((time >= day).sum())
    reached = int((time > day).sum()) + events
    curve = kaplan_meier(time, sold)
    # The curve ends before the day, unless it has come down to nothing.
    if still == 0 and events < len(p) and float(curve.at(day)) > 0:
        return Bin(len(p), events, reached, float(p.mean()), None, 0.0, 1.0)
    share, low, high = share_by(curve, day, still if events == 0 else events, level)
    return Bin(len(p), events, reached, float(p.mean()), share, low, high)


def _items(chance: ArrayLike, duration: ArrayLike, event: ArrayLike) -> tuple[Floats, Floats, np.ndarray]:
    p, time, sold = (np.asarray(each, dtype=np.float64) for each in (chance, duration, event))
    if p.ndim != 1 or not (p.shape == time.shape == sold.shape) or not len(p):
        raise ValueError("expected as many chances, durations and events, one or more")
    if not np.all((p >= 0) & (p <= 1)) or not np.isin(sold, (0.0, 1.0)).all():
        raise ValueError("a forecast chance is from 0 to 1 and an event is 0 or 1")
    if not np.isfinite(time).all() or np.any(time < 0):
        raise ValueError("durations must be finite and not negative")
    return p, time, sold.astype(bool)
