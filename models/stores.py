"""How much an hour each store brings, learnt from runs: partial pooling over stores and over days of the week.

A run's profit an hour is its store's level plus its weekday's plus chance. A run of h hours is a sum of h hours of
luck, so its profit an hour has variance s2 / h: long runs count more, as they must for levels times hours to add up to
the profit there was. Stores lean on the mean of all stores, weekdays on the mean of all weekdays, each by as much as
the data say they differ: the ratios of the two variances to s2 are integrated over a grid instead of being put at one
value, for with few stores a best value of 0 would make them all alike (Gelman 2006, Bayesian Analysis 1:515; Gelman et
al. 2013, Bayesian Data Analysis, ch. 5 and 15). Given the ratios everything is conjugate: normal effects, inverse
gamma s2 (ibid., ch. 14), with a flat prior on the common mean and on log s2, so that the intervals have the wider tails
of a t where runs are few.

Means are wanted, not typical values: a rare great find is part of what a store brings, so that no run is set aside and
errors are taken as normal; what that costs in coverage is measured by ``benchmarks/stores.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints

DAYS = 7
DRAWS = 4_000
_RATIOS = np.concatenate([[0.0], np.geomspace(0.01, 30.0, 23)])  # variance of stores over that of one hour's luck
_DAY_RATIOS = np.concatenate([[0.0], np.geomspace(0.01, 3.0, 7)])
_PRIOR = 0.5  # scale of the half-Cauchy prior on the ratios of standard deviations


@dataclass(frozen=True)
class Levels:
    """Draws of what an hour brings: (D, S) by store on a usual day, (D, 7) by weekday at a usual store, Monday first.

    ``spread`` (D,) is the standard deviation between stores, ``luck`` (D,) that of one hour.
    """

    stores: Floats
    days: Floats
    spread: Floats
    luck: Floats

    def interval(self, share: float = 0.9) -> tuple[Floats, Floats]:
        """Return the central interval of every store."""
        low, high = np.quantile(self.stores, [(1 - share) / 2, (1 + share) / 2], axis=0)
        return np.asarray(low), np.asarray(high)

    def day_interval(self, share: float = 0.9) -> tuple[Floats, Floats]:
        """Return the central interval of every weekday."""
        low, high = np.quantile(self.days, [(1 - share) / 2, (1 + share) / 2], axis=0)
        return np.asarray(low), np.asarray(high)

    def best(self) -> Floats:
        """Return each store's chance of being the best of them; they come to 1."""
        count = self.stores.shape[1]
        return np.bincount(self.stores.argmax(axis=1), minlength=count) / len(self.stores)

    def over(self, other: Floats | float) -> Floats:
        """Return each store's chance of bringing more an hour than an amount, or than the store of each in (S,)."""
        return np.asarray((self.stores > other).mean(axis=0))

    def ahead(self, order: NDArray[np.integer]) -> Floats:
        """Return the chance that each store in an order is really ahead of the next one: (S - 1,)."""
        ranked = self.stores[:, order]
        return np.asarray((ranked[:, :-1] > ranked[:, 1:]).mean(axis=0))


def levels(each_hour: Floats, hours: Floats, store: Ints, weekday: Ints, count: int, seed: int = 1) -> Levels:
    """Learn what an hour brings, by store and by weekday.

    Parameters
    ----------
    each_hour : (n,) profit an hour of each run. hours : (n,) above 0. store : (n,) from 0 to ``count`` - 1; a store
    without a run gets what stores of the kind are expected to bring. weekday : (n,) Monday is 0.

    Raises
    ------
    ValueError
        No run; hours that are not above 0; values that are no numbers.
    """
    each_hour, hours = np.asarray(each_hour, dtype=np.float64), np.asarray(hours, dtype=np.float64)
    if not len(each_hour) or not np.all(hours > 0) or not np.all(np.isfinite(each_hour)):
        raise ValueError("at least one run, each with hours above 0 and a profit that is a number")
    scale = float(np.std(each_hour)) or max(abs(float(each_hour[0])), 1.0)
    if len(each_hour) < 3:  # no spread can be told from so few: a guess of the scale, so that intervals are wide
        scale = max(scale, float(np.abs(each_hour).max()), 1.0)
    centre = float(np.average(each_hour, weights=hours))
    y = (each_hour - centre) / scale
    width = 1 + count + DAYS
    design = np.zeros((len(y), width))
    design[:, 0] = 1.0
    design[np.arange(len(y)), 1 + store] = 1.0
    design[np.arange(len(y)), 1 + count + weekday] = 1.0
    cross = design.T @ (hours[:, None] * design)
    right = design.T @ (hours * y)
    total = float(hours @ y**2)
    # A weak prior on the luck of an hour, worth two runs at the spread there is: two like runs prove no certainty.
    nu0, typical = 2.0, float(np.average(y**2, weights=hours) * np.mean(hours)) or 1.0
    rng = np.random.default_rng(seed)
    cells = []
    for a in _RATIOS:
        for b in _DAY_RATIOS:
            cells.append(_cell(a, b, cross, right, total, len(y), count, nu0, typical))
    weight = np.array([cell.log_weight for cell in cells])
    chance = np.exp(weight - weight.max())
    chance /= chance.sum()
    taken = rng.multinomial(DRAWS, chance)
    effects, luck, spread = [], [], []
    for cell, many in zip(cells, taken.tolist(), strict=True):
        if many:
            s2 = cell.rest / rng.chisquare(cell.freedom, many)
            noise = np.linalg.solve(cell.root.T, rng.standard_normal((width, many)))
            effects.append((cell.mean[:, None] + np.sqrt(s2) * noise).T)
            luck.append(np.sqrt(s2))
            spread.append(np.sqrt(cell.ratio * s2))
    drawn = np.concatenate(effects)
    by_day = drawn[:, 1 + count :]
    usual_day = by_day.mean(axis=1, keepdims=True)
    by_store = drawn[:, 1 : 1 + count]
    usual_store = by_store.mean(axis=1, keepdims=True) if count else 0.0
    mean = drawn[:, :1]
    return Levels(
        centre + scale * (mean + by_store + usual_day),
        centre + scale * (mean + usual_store + by_day),
        scale * np.concatenate(spread),
        scale * np.concatenate(luck),
    )


@dataclass(frozen=True)
class _Cell:
    """Given the ratios of the variances: normal effects around ``mean``, precision root' root over s2."""

    ratio: float
    log_weight: float
    mean: Floats
    root: Floats  # lower Cholesky factor's transpose solves for draws
    rest: float
    freedom: float


def _cell(
    a: float, b: float, cross: Floats, right: Floats, total: float, runs: int, count: int, nu0: float, typical: float
) -> _Cell:
    tiny = 1e-9  # a ratio of 0: the effects are held at 0
    prior = np.concatenate([[0.0], np.full(count, 1.0 / max(a, tiny)), np.full(DAYS, 1.0 / max(b, tiny))])
    precision = cross + np.diag(prior)
    lower = np.asarray(np.linalg.cholesky(precision), dtype=np.float64)
    mean = np.linalg.solve(lower.T, np.linalg.solve(lower, right))
    rest = max(total - float(right @ mean), 0.0) + nu0 * typical
    freedom = runs - 1 + nu0
    half_log = float(np.log(np.diag(lower)).sum()) - 0.5 * float(np.log(prior[1:]).sum())
    log_weight = -half_log - 0.5 * freedom * float(np.log(rest)) + _log_prior(a) + _log_prior(b)
    return _Cell(a, log_weight, mean, lower, rest, freedom)


def _log_prior(ratio: float) -> float:
    """Half-Cauchy on the ratio of standard deviations, as mass of a cell of the geometric grid; 0 has some of it."""
    sd = float(np.sqrt(ratio))
    if sd == 0.0:
        return float(np.log(0.1))  # as good as alike
    return float(np.log(sd / _PRIOR / (1 + (sd / _PRIOR) ** 2)))
