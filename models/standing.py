"""Items that are listed already: the chance of a sale from here, and what each asking price would bring from here.

All N items at once, each with its own day listed and its own asking prices so far. Having stood unsold speaks for a
slow style and for a low level; both are weighed exactly: under a gamma speed with shape a and rate b, unsold through a
cumulative hazard H, the speed is gamma with shape a and rate b + H, and a node of the level weighs (b / (b + H))^a as
much as before. What follows is conditional survival, S(t + d) / S(t) (Kalbfleisch & Prentice 2002, ch. 1; Clayton 1978
for the gamma).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import gammaincinv

from models.costs import Costs
from models.price import Floats, Ints
from models.proceeds import REST_SD, Outcome, Plan, Prospects
from models.response import read
from models.season import pace
from models.speed import CUTS

LEAST_AHEAD = 14.0  # days that are looked ahead at least, though the plan ends sooner
_STEPS = 9  # even edges of what is left of a plan, the cuts beside them
_SPEEDS: Floats = np.array([0.1, 0.3, 0.5, 0.7, 0.9])  # shares at which a speed is taken, for the interval
_SLOPES = ((-np.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (np.sqrt(3.0), 1 / 6))  # Gauss-Hermite, three nodes


@dataclass(frozen=True)
class Spells:
    """N items as they stand; days are numbers since 1970-01-01, amounts include shipping charged.

    Attributes
    ----------
    start : (N,) day listed. listed : (N,) days it has stood. owner, since, until, price : (S,) each stretch of one
    asking price so far: whose, from which day of the listing to which.
    """

    start: Floats
    listed: Floats
    owner: Ints
    since: Floats
    until: Floats
    price: Floats

    @property
    def now(self) -> Floats:
        """Asking price in force: (N,)."""
        found = np.zeros(len(self.start))
        found[self.owner] = self.price  # stretches are in order, so that the last one stays
        return found


@dataclass(frozen=True)
class Pace:
    """Daily base hazard by piece of age and by time of year, for listings begun between two days."""

    rate: Floats
    first: float
    total: Floats  # pace by day, cumulated from ``first``

    @classmethod
    def of(cls, rate: Floats, season: Floats, first: float, last: float) -> Pace:
        """Lay the pace out for days ``first`` to ``last``."""
        day = np.arange(np.floor(first), np.ceil(last) + 1.0)
        return cls(rate, float(day[0]), np.concatenate([[0.0], np.cumsum(pace(season, day + 0.5))]))

    def spent(self, start: Floats, low: Floats, high: Floats) -> Floats:
        """Base hazard spent between two ages of listings begun at ``start``; shapes broadcast."""
        total = np.zeros(np.broadcast(start, low, high).shape)
        for rate, begin, end in zip(self.rate, CUTS, [*CUTS[1:], np.inf], strict=True):
            total += rate * (self._at(start + np.clip(high, begin, end)) - self._at(start + np.clip(low, begin, end)))
        return total

    def _at(self, day: Floats) -> Floats:
        where = day - self.first
        left = np.clip(where.astype(np.int64), 0, len(self.total) - 2)
        found: Floats = self.total[left] + (where - left) * (self.total[left + 1] - self.total[left])
        return found


def unsold_so_far(items: Prospects, spells: Spells, pace_: Pace) -> Prospects:
    """Weigh what is known of N items by their not having sold yet."""
    count, nodes = items.nodes.shape
    base = pace_.spent(spells.start[spells.owner], spells.since, spells.until)
    x = np.log(spells.price)[:, None] - items.nodes[spells.owner]
    each = np.exp(read(items.response, x)) * base[:, None]
    spent = np.column_stack([np.bincount(spells.owner, each[:, node], count) for node in range(nodes)])
    log = np.log(items.weights) - items.a * np.log1p(spent / items.b)
    weights = np.exp(log - log.max(axis=1, keepdims=True))
    return replace(items, weights=weights / weights.sum(axis=1, keepdims=True), b=items.b + spent)


def sells_ahead(items: Prospects, price: Floats, spells: Spells, pace_: Pace, ahead: Floats) -> Floats:
    """Chance of a sale within each of D days ahead at asking prices (N,) held: (N, D).

    ``items`` are those of `unsold_so_far`.
    """
    high = spells.listed[:, None] + ahead
    base = pace_.spent(spells.start[:, None], spells.listed[:, None], high)
    answer = np.exp(read(items.response, np.log(price)[:, None] - items.nodes))
    hazard = answer[:, :, None] * base[:, None, :]
    alive = np.exp(-items.a[..., None] * np.log1p(hazard / items.b[..., None]))
    return np.asarray(1.0 - np.einsum("njd,nj->nd", alive, items.weights))


def sells_within(items: Prospects, ask: Floats, spells: Spells, pace_: Pace, days: float) -> Floats:
    """Chance of a sale within some days from today at each of K asking prices (N, K) held: (N, K)."""
    base = pace_.spent(spells.start, spells.listed, spells.listed + days)
    hazard = np.exp(read(items.response, np.log(ask)[..., None] - items.nodes[:, None])) * base[:, None, None]
    alive = np.exp(-items.a[:, None] * np.log1p(hazard / items.b[:, None]))
    return np.asarray(1.0 - np.einsum("nkj,nj->nk", alive, items.weights))


@dataclass(frozen=True)
class Ahead:
    """What is left of the plan of N items: T + 1 day edges from today, the share of today's price, base hazard."""

    edges: Floats  # (N, T + 1)
    factor: Floats  # (N, T)
    base: Floats  # (N, T), spent in each

    @property
    def left(self) -> Floats:
        """Days until giving up: (N,)."""
        return self.edges[:, -1]


def plan_ahead(plan: Plan, spells: Spells, pace_: Pace) -> Ahead:
    """Lay out what is left of a plan; one that is over goes on for `LEAST_AHEAD` days at today's price."""
    left = np.maximum(plan.give_up - spells.listed, LEAST_AHEAD)[:, None]
    days = np.array([float(day) for day, _ in plan.cuts])
    edges = np.sort(np.hstack([np.linspace(0, 1, _STEPS) * left, np.clip(days - spells.listed[:, None], 0, left)]), 1)
    kept = np.concatenate([[1.0], [1.0 - cut for _, cut in plan.cuts]])
    middle = spells.listed[:, None] + (edges[:, 1:] + edges[:, :-1]) / 2
    factor = kept[np.searchsorted(days, middle, side="right")]
    factor = factor / kept[np.searchsorted(days, spells.listed, side="right")][:, None]
    age = spells.listed[:, None] + edges
    return Ahead(edges, factor, pace_.spent(spells.start[:, None], age[:, :-1], age[:, 1:]))


def outcomes_ahead(
    items: Prospects, ask: Floats, ahead: Ahead, plan: Plan, costs: Costs, haggle: tuple[float, float], wanted: Floats
) -> Outcome:
    """Forecast asking prices (N, K) from today on, under what is left of the plan.

    Parameters
    ----------
    items : those of `unsold_so_far`. wanted : (N, K) chance of a sale in the time the user wants one in.

    Returns
    -------
    Outcome with ``edges`` (N, T + 1); what giving up brings is in ``mean_net`` alone.
    """
    count, several = ask.shape
    spent = np.zeros((count, several, items.nodes.shape[1]))
    alive = np.ones((count, several))
    mean_net, mean_days = np.zeros(ask.shape), np.zeros(ask.shape)
    sold = [np.zeros(ask.shape)]
    by_node = np.ones(spent.shape)
    above = np.log(ask)[:, :, None] - items.nodes[:, None, :]
    for step in range(ahead.base.shape[1]):
        middle = (ahead.edges[:, step] + ahead.edges[:, step + 1]) / 2
        factor = ahead.factor[:, step]
        shift = np.log(factor) - items.drift * middle
        spent += np.exp(read(items.response, above + shift[:, None, None])) * ahead.base[:, step, None, None]
        by_node = np.exp(-items.a[:, None] * np.log1p(spent / items.b[:, None]))
        after = np.einsum("nkj,nj->nk", by_node, items.weights)
        total = ask * factor[:, None] * np.exp(haggle[0] + haggle[1] ** 2 / 2)
        mean_net += (alive - after) * costs.mean_net(total, haggle[1])
        mean_days += (alive - after) * middle[:, None]
        alive = after
        sold.append(1.0 - alive)
    rest = _rest(items, ahead, plan, costs)
    mean_net += np.einsum("nkj,nj,nj->nk", by_node, items.weights, rest)
    mean_days += alive * ahead.left[:, None]
    shares = np.stack(sold, axis=2)
    none = np.zeros(ask.shape)
    return Outcome(ask, mean_net, mean_days, wanted, shares, ahead.edges, none, none)


def gains(
    items: Prospects,
    now: Floats,
    then: Floats,
    ahead: Ahead,
    plan: Plan,
    costs: Costs,
    haggle: tuple[float, float],
    day_cost: Floats,
    slope_se: float,
) -> tuple[Floats, Floats]:
    """Say what moving from one asking price (N,) to another brings, in the states of the world that may be.

    Parameters
    ----------
    day_cost : (N,) of cash tied up a day. slope_se : standard error of the response to the asking price.

    Returns
    -------
    gain : (N, W) expected proceeds less cash tied up, after less before, given each state: a node of the level, a
    speed, a response somewhat steeper or gentler. weight : (N, W), summing to 1.
    """
    speeds = gammaincinv(items.a[..., None], _SPEEDS) / items.b[..., None]  # (N, 5, 5)
    rest = _rest(items, ahead, plan, costs)[..., None]
    found, weights = [], []
    for bend, share in _SLOPES:
        value = [_given(items, price, ahead, costs, haggle, day_cost, speeds, rest, bend * slope_se)
                 for price in (now, then)]  # fmt: skip
        found.append((value[1] - value[0]).reshape(len(now), -1))
        each = np.broadcast_to(items.weights[..., None] / len(_SPEEDS), speeds.shape)
        weights.append(share * each.reshape(len(now), -1))
    return np.hstack(found), np.hstack(weights)


def quantiles(values: Floats, weights: Floats, levels: tuple[float, ...]) -> Floats:
    """Weighted quantiles of each row (N, W), between values by the middle of their weights: (N, len(levels))."""
    order = np.argsort(values, axis=1)
    rows = np.arange(len(values))[:, None]
    x, w = values[rows, order], weights[rows, order]
    at = np.cumsum(w, axis=1) - w / 2
    answer = np.empty((len(values), len(levels)))
    for place, level in enumerate(levels):
        right = np.clip((at < level).sum(axis=1), 1, x.shape[1] - 1)[:, None]
        low, high = np.take_along_axis(at, right - 1, 1), np.take_along_axis(at, right, 1)
        part = np.clip((level - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
        below, above = np.take_along_axis(x, right - 1, 1), np.take_along_axis(x, right, 1)
        answer[:, place] = (below + part * (above - below))[:, 0]
    return answer


def _given(
    items: Prospects,
    price: Floats,
    ahead: Ahead,
    costs: Costs,
    haggle: tuple[float, float],
    day_cost: Floats,
    speeds: Floats,
    rest: Floats,
    bend: float,
) -> Floats:
    """Expected proceeds less cash tied up at asking prices (N,), given level and speed: (N, 5, 5)."""
    spent = np.zeros(items.nodes.shape)
    alive, value = np.ones(speeds.shape), np.zeros(speeds.shape)
    above = np.log(price)[:, None] - items.nodes
    for step in range(ahead.base.shape[1]):
        middle = (ahead.edges[:, step] + ahead.edges[:, step + 1]) / 2
        factor = ahead.factor[:, step]
        x = above + (np.log(factor) - items.drift * middle)[:, None]
        spent += np.exp(read(items.response, x) + bend * x) * ahead.base[:, step, None]
        after = np.exp(-speeds * spent[..., None])
        net = costs.mean_net(price * factor * np.exp(haggle[0] + haggle[1] ** 2 / 2), haggle[1]) - day_cost * middle
        value += (alive - after) * net[:, None, None]
        alive = after
    return np.asarray(value + alive * (rest - (day_cost * ahead.left)[:, None, None]))


def _rest(items: Prospects, ahead: Ahead, plan: Plan, costs: Costs) -> Floats:
    """Return what giving up brings by node of the level: (N, 5)."""
    return costs.mean_net(plan.salvage * np.exp(items.nodes + items.drift * ahead.left[:, None]), REST_SD)
