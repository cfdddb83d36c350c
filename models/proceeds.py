"""What one listing brings: chance sold by day, net proceeds and the asking price that earns most.

For each item and asking price the chance of a sale by day t integrates the gamma frailty in closed form,
(b / (b + H))^a, and the level's uncertainty by five Gauss-Hermite nodes (Abramowitz & Stegun 25.4.46). The sale
price given the day is lognormal around the asking price then in force, so the distribution of net proceeds is a
mixture over day nodes of closed forms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.special import ndtr

from models.costs import Costs
from models.price import Floats, Ints
from models.response import read

REST_SD = 0.1  # spread of what giving up brings around its share of the level, in log price
_ROOT2 = math.sqrt(2.0)
_GRID = 97  # points at which the distribution of proceeds is inverted
STEPS = 21  # asking prices tried between the lowest and highest worth trying
_NODE, _WEIGHT = np.polynomial.hermite_e.hermegauss(5)
_WEIGHT = _WEIGHT / _WEIGHT.sum()


@dataclass(frozen=True)
class Prospects:
    """What is known of N items: level and speed together, on five nodes of the level.

    Attributes
    ----------
    mean, var : (N,) of the log level. nodes, weights : (N, 5) of the level. a, b : (N, 5) gamma of the speed there.
    response : log hazard by log asking price over level, tabulated.
    """

    mean: Floats
    var: Floats
    nodes: Floats
    weights: Floats
    a: Floats
    b: Floats
    response: Floats
    drift: float = 0.0

    def of(self, item: int) -> Prospects:
        """Return what is known of one item, without the others' memory."""
        return self.some(np.array([item]))

    def some(self, items: Ints) -> Prospects:
        """Return what is known of some of the items, in copies."""
        mean, var, nodes, weights, a, b = (
            values[items] for values in (self.mean, self.var, self.nodes, self.weights, self.a, self.b)
        )
        return Prospects(mean, var, nodes, weights, a, b, self.response, self.drift)


def level_nodes(mean: Floats, var: Floats) -> tuple[Floats, Floats]:
    """Nodes and weights (N, 5) of normal levels."""
    nodes = mean[:, None] + np.sqrt(var)[:, None] * _NODE
    return nodes, np.broadcast_to(_WEIGHT, nodes.shape)


@dataclass(frozen=True)
class Plan:
    """Price cuts (day, cumulative share), the day of giving up, and the share of the level got then."""

    cuts: tuple[tuple[int, float], ...]
    give_up: int
    salvage: float

    def nodes(self) -> tuple[Floats, Floats]:
        """Return day edges (T + 1,) and the price factor between them (T,); the arrays are shared, read only."""
        return _nodes(self)


@cache
def _nodes(plan: Plan) -> tuple[Floats, Floats]:
    edges = np.unique(
        np.concatenate([np.linspace(0, plan.give_up, 13), [float(day) for day, _ in plan.cuts if day < plan.give_up]])
    )
    factor = np.ones(len(edges) - 1)
    for day, cut in plan.cuts:
        factor[edges[:-1] >= day] = 1.0 - cut
    edges.flags.writeable = factor.flags.writeable = False
    return edges, factor


@dataclass(frozen=True)
class Outcome:
    """Forecasts of N items at K asking prices under the plan; arrays (N, K) unless said."""

    ask: Floats
    mean_net: Floats
    mean_days: Floats
    by_target: Floats
    sold_by_edge: Floats  # (N, K, T + 1)
    edges: Floats
    rest_mean: Floats  # log of what giving up brings, for it happens where the level is low
    rest_var: Floats

    def of(self, item: int) -> Outcome:
        """Return the forecast of one item, without the others' memory."""
        here = slice(item, item + 1)
        each = ("ask", "mean_net", "mean_days", "by_target", "sold_by_edge", "rest_mean", "rest_var")
        return replace(self, **{name: getattr(self, name)[here].copy() for name in each})


def survive(items: Prospects, ask: Floats, base: Floats, factor: Floats) -> Floats:
    """Chance unsold at each of T days, on each node: (N, K, 5, T).

    Parameters
    ----------
    ask : (N, K) first asking prices. base : (F, T) base hazard spent by each day at each price in force.
    factor : (F,) share of the first asking price then in force.
    """
    x = np.log(ask)[:, :, None] - items.nodes[:, None, :]
    hazard = np.zeros((*x.shape, base.shape[1]))
    for spent, share in zip(base, np.log(factor), strict=True):
        hazard += np.exp(read(items.response, x + share))[..., None] * spent
    hazard /= items.b[:, None, :, None]
    np.log1p(hazard, out=hazard)
    hazard *= -items.a[:, None, :, None]
    return np.exp(hazard, out=hazard)


def by_price(base: Floats, edges: Floats, factor: Floats, drift: float) -> tuple[Floats, Floats]:
    """Share out the base hazard spent by each day edge (T + 1,) by the price then in force, relative to the level.

    Returns
    -------
    spent : (F, T + 1) by each edge at each relative price. factor : (F,) of the first asking price over the level.
    """
    middle = (edges[:-1] + edges[1:]) / 2
    # Steps of 2 % are fine enough, and keep the prices few.
    relative = np.log(factor) - drift * middle
    if drift:
        relative = np.round(relative / 0.02) * 0.02
    prices, which = np.unique(relative, return_inverse=True)
    spent = np.zeros((len(prices), len(edges)))
    spent[which, np.arange(1, len(edges))] = np.diff(base)
    return np.cumsum(spent, axis=1), np.exp(prices)


def outcomes(
    items: Prospects,
    base: Floats,
    plan: Plan,
    costs: Costs,
    haggle: tuple[float, float],
    target: float,
    asks: tuple[float, float],
) -> Outcome:
    """Forecast every asking price of the trade-off for items of one category under one plan.

    ``base`` (T + 1,) is the base hazard spent by each day edge of the plan; ``asks`` bounds the asking prices tried, as
    logs over the level.
    """
    ask = np.asarray(np.round(np.exp(items.mean[:, None] + np.linspace(*asks, STEPS)), 2), dtype=np.float64)
    return outcomes_at(items, np.maximum(ask, 0.01), base, plan, costs, haggle, target)


def outcomes_at(
    items: Prospects, ask: Floats, base: Floats, plan: Plan, costs: Costs, haggle: tuple[float, float], target: float
) -> Outcome:
    """Do as `outcomes` at given asking prices (N, K), each above 0."""
    edges, factor = plan.nodes()
    by_node = survive(items, ask, *by_price(base, edges, factor, items.drift))
    alive = np.einsum("nkjt,nj->nkt", by_node, items.weights)
    mass = alive[:, :, :-1] - alive[:, :, 1:]
    # Between two cuts the price is one, and so is what a sale leaves.
    first = np.flatnonzero(np.diff(factor, prepend=np.nan) != 0)
    total = ask[:, :, None] * factor[first] * np.exp(haggle[0] + haggle[1] ** 2 / 2)
    # What is left unsold is so more often where the level is low, so it is valued node by node.
    rest = costs.mean_net(plan.salvage * np.exp(items.nodes + items.drift * plan.give_up), REST_SD)
    mean_net = (np.add.reduceat(mass, first, axis=2) * costs.mean_net(total, haggle[1])).sum(axis=2)
    mean_net += np.einsum("nkj,nj,nj->nk", by_node[..., -1], items.weights, rest)
    rest_mean, rest_var = _rest(items, by_node[..., -1])
    middle = (edges[:-1] + edges[1:]) / 2
    days = (mass * middle).sum(axis=2) + alive[:, :, -1] * plan.give_up
    sold = 1.0 - alive
    rest_mean += np.log(plan.salvage) + items.drift * plan.give_up
    return Outcome(ask, mean_net, days, sold_by(target, sold, edges), sold, edges, rest_mean, rest_var)


def sold_by(day: float, sold_by_edge: Floats, edges: Floats) -> Floats:
    """Chance sold by a day, linear between the day edges of the plan and held beyond them: (N, K)."""
    at = float(np.clip(day, edges[0], edges[-1]))
    right = int(np.clip(np.searchsorted(edges, at), 1, len(edges) - 1))
    share = (at - edges[right - 1]) / (edges[right] - edges[right - 1])
    found: Floats = sold_by_edge[:, :, right - 1] * (1 - share) + sold_by_edge[:, :, right] * share
    return found


def _rest(items: Prospects, left: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the level where it stays unsold, for chances unsold by node (N, K, 5): (N, K) each."""
    weight = left * items.weights[:, None, :]
    total = np.maximum(weight.sum(axis=2), 1e-300)
    mean = np.einsum("nkj,nj->nk", weight, items.nodes) / total
    square = (weight * (items.nodes[:, None, :] - mean[:, :, None]) ** 2).sum(axis=2) / total
    return mean, square


def net_quantiles(
    chosen: Ints,
    outcome: Outcome,
    plan: Plan,
    costs: Costs,
    haggle: tuple[float, float],
    shares: Floats,
) -> Floats:
    """Quantiles of net proceeds at the chosen asking prices: shape (N, len(shares))."""
    rows = np.arange(len(chosen))
    ask = outcome.ask[rows, chosen]
    top = np.log(ask) + haggle[0] + 3 * haggle[1] + 0.02
    rest = outcome.rest_mean[rows, chosen] - 3 * np.sqrt(outcome.rest_var[rows, chosen])
    low = np.minimum(rest - 0.2, top - 1.0)
    part = np.linspace(0, 1, _GRID)
    grid = low[:, None] + (top - low)[:, None] * part
    if costs.rises:
        return costs.net(np.exp(_inverted(grid, share_below(np.exp(grid), chosen, outcome, plan, haggle), shares)))
    # More paid may be less left: the distribution of what is left is inverted itself.
    seen = costs.net(np.exp(grid))
    least, most = seen.min(axis=1, keepdims=True), seen.max(axis=1, keepdims=True)
    nets = least + (most - least) * part
    return _inverted(nets, share_short(nets, chosen, outcome, plan, costs, haggle), shares)


def _inverted(grid: Floats, share: Floats, wanted: Floats) -> Floats:
    """Invert distributions tabulated at rising grids (N, G): quantiles (N, len(wanted))."""
    rows = np.arange(len(grid))
    answer = np.empty((len(rows), len(wanted)))
    for at, one in enumerate(wanted):
        right = np.clip((share < one).sum(axis=1), 1, _GRID - 1)
        under, over = share[rows, right - 1], share[rows, right]
        step = np.clip((one - under) / np.maximum(over - under, 1e-12), 0.0, 1.0)
        answer[:, at] = grid[rows, right - 1] + step * (grid[rows, right] - grid[rows, right - 1])
    return answer


def share_short(
    net: Floats,
    chosen: Ints,
    outcome: Outcome,
    plan: Plan,
    costs: Costs,
    haggle: tuple[float, float],
) -> Floats:
    """Chance that less than ``net`` (N, G) is left of a sale, giving up included."""
    if costs.rises:
        return share_below(costs.total_for(net), chosen, outcome, plan, haggle)
    lows, highs = costs.short_of(net)
    found = np.zeros(net.shape)
    for piece in range(lows.shape[-1]):
        found += share_below(highs[..., piece], chosen, outcome, plan, haggle)
        found -= share_below(lows[..., piece], chosen, outcome, plan, haggle)
    return found


def share_below(
    total: Floats,
    chosen: Ints,
    outcome: Outcome,
    plan: Plan,
    haggle: tuple[float, float],
) -> Floats:
    """Chance that the buyer's total stays below ``total`` (N, G), giving up included."""
    rows = np.arange(len(chosen))
    sold = outcome.sold_by_edge[rows, chosen]
    _, factor = plan.nodes()
    # Between two cuts the price is one: a closed form for each price in force, not for each day node.
    first = np.flatnonzero(np.diff(factor, prepend=np.nan) != 0)
    mass = np.add.reduceat(np.diff(sold, axis=1), first, axis=1)
    ask = outcome.ask[rows, chosen]
    centre = np.log(ask)[:, None] + np.log(factor[first]) + haggle[0]
    below = ndtr((np.log(total)[:, :, None] - centre[:, None, :]) / max(haggle[1], 0.01))
    part = np.einsum("ngf,nf->ng", below, mass)
    spread = np.sqrt(outcome.rest_var[rows, chosen] + REST_SD**2)
    salvage = ndtr((np.log(total) - outcome.rest_mean[rows, chosen][:, None]) / spread[:, None])
    below_all: Floats = part + salvage * (1.0 - sold[:, -1])[:, None]
    return below_all


@dataclass(frozen=True)
class Total:
    """What the buyer of one item pays in all, giving up included, as a mixture of lognormals in plain floats.

    `share_below` for one item at one amount, at a fiftieth of its cost: arrays of three do not pay.
    """

    parts: tuple[tuple[float, float, float], ...]  # share, centre and spread of the log

    def below(self, total: float) -> float:
        """Chance that it stays below ``total``, which is above 0."""
        log = math.log(total)
        # The normal distribution function by the error function: Abramowitz & Stegun 26.2.29.
        return sum(share * 0.5 * math.erfc((centre - log) / (spread * _ROOT2)) for share, centre, spread in self.parts)


def total_of(item: int, choice: int, outcome: Outcome, plan: Plan, haggle: tuple[float, float]) -> Total:
    """Return what `share_below` sums over, for one item at one of its asking prices."""
    sold = outcome.sold_by_edge[item, choice]
    _, factor = plan.nodes()
    first = np.flatnonzero(np.diff(factor, prepend=np.nan) != 0)
    mass = np.add.reduceat(np.diff(sold), first).tolist()
    centre = (math.log(outcome.ask[item, choice]) + np.log(factor[first]) + haggle[0]).tolist()
    spread = math.sqrt(outcome.rest_var[item, choice] + REST_SD**2)
    rest = (1.0 - float(sold[-1]), float(outcome.rest_mean[item, choice]), spread)
    return Total((*((m, c, max(haggle[1], 0.01)) for m, c in zip(mass, centre, strict=True)), rest))
