"""What the market will do with each item, whatever the shelf price: level, time to sell, asking price, proceeds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.costs import Costs
from models.frailty import Mixture
from models.level import Level, item_levels
from models.price import Floats, Ints
from models.proceeds import (
    Outcome,
    Plan,
    Prospects,
    Total,
    by_price,
    level_nodes,
    net_quantiles,
    outcomes,
    share_short,
    survive,
    total_of,
)
from models.response import read
from models.season import spent, usual_pace
from models.speed import CUTS, pieces_exposure
from models.trend import carried_var, curve_at, slope_now
from sourcing.answer import Item
from sourcing.fitting import BUCKETS, CategoryFit, Fit
from sourcing.flags.footing import Footing, footing
from sourcing.kin import category_alone, pooled, prior_level
from sourcing.objective import choose
from sourcing.observations import Observations, observe
from sourcing.rules import Rules
from sourcing.terms import Terms

DAYS = np.array([0, 3, 7, 10, 14, 21, 30, 45, 60, 75, 90, 120, 150, 180, 240, 300, 365], dtype=float)
QUANTILES = np.array([0.1, 0.5, 0.9])
_NEVER = -1
_NO_PRICE_OF_IT = 0.5  # log distance from the usual asking price beyond which a row's speed says nothing of the item
_NEXT_SALE = 20.0  # days ahead for which the next comparable sale is foretold


_BY_ROW = ("weight", "distance", "aside")
_BY_ITEM = (
    "mean", "var", "spread", "wide_spread", "evidence", "chosen", "dearer", "net_quantiles", "loss_net", "sold_share",
)  # fmt: skip


@dataclass(frozen=True)
class Forecasts:
    """Forecasts of N items of one category; money as floats, arrays of length N unless said.

    Attributes
    ----------
    mean, var : posterior of the level, log price. spread, wide_spread : of the next comparable sale in log price, as
    its 80 % and its 90 % interval need it, conformalised.
    evidence : worth how many sales of the very item, beyond what its category alone tells.
    weight, distance : (M,) of the comps, 0 where they have no part.
    aside : (M,) set aside. chosen : index of the asking price to list at. net_quantiles : (N, 3) at `QUANTILES`.
    loss_net : net proceeds at the largest acceptable chance of loss. sold_share : (N, len(DAYS)), asking price held.
    base : base hazard spent by each day edge of the plan. rate, season : daily base hazard by piece of age, harmonics.
    """

    seen: Observations
    mean: Floats
    var: Floats
    spread: Floats
    wide_spread: Floats
    ahead: float  # log price by which the level moves until the next sale
    evidence: Floats
    weight: Floats
    distance: Floats
    aside: NDArray[np.bool_]
    chosen: Ints
    dearer: NDArray[np.bool_]  # whether the chosen asking price lies over those the market has shown
    net_quantiles: Floats
    loss_net: Floats
    speed_basis: str  # "" when the time to sell is the settings' assumption
    sold_share: Floats
    horizon: float
    outcome: Outcome
    plan: Plan
    costs: Costs
    haggle: tuple[float, float]
    prospects: Prospects
    base: Floats
    rate: Floats
    season: Floats
    as_of: int
    dearest_seen: float  # log over the level of the dearest asking prices the market has shown

    def of(self, item: int) -> Forecasts:
        """Return the forecast of one item as if it had been made alone, without the others' memory."""
        rows, here = slice(int(self.seen.start[item]), int(self.seen.start[item + 1])), slice(item, item + 1)
        own = {name: getattr(self, name)[rows].copy() for name in _BY_ROW}
        own |= {name: getattr(self, name)[here].copy() for name in _BY_ITEM}
        own |= {name: getattr(self, name).of(item) for name in ("seen", "outcome", "prospects")}
        return replace(self, **own)

    def of_choice(self, values: Floats) -> Floats:
        """Pick from (N, K) the figures of each item's chosen asking price."""
        picked: Floats = values[np.arange(len(self.mean)), self.chosen]
        return picked

    def sold_by(self, days: Sequence[float]) -> Floats:
        """Chance sold within each of D days with the asking price held: (N, D)."""
        return np.column_stack([_at(day, self.sold_share) for day in days])

    def days_for(self, share: float) -> Ints:
        """Days until ``share`` is sold; -1 where that is not reached within what the data can speak of."""
        reached = self.sold_share >= share
        right = np.clip(reached.argmax(axis=1), 1, None)
        each = np.arange(len(self.mean))
        low, high = self.sold_share[each, right - 1], self.sold_share[each, right]
        part = np.clip((share - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
        days = DAYS[right - 1] + part * (DAYS[right] - DAYS[right - 1])
        never = _at(min(self.horizon, float(DAYS[-1])), self.sold_share) < share
        return np.where(never, _NEVER, np.maximum(1, np.rint(days))).astype(np.int64)

    def days_half(self, item: int, choice: int) -> int | None:
        """Days until half is sold at one of the asking prices under the plan; None: not reached."""
        sold = self.outcome.sold_by_edge[item, choice]
        return round(float(np.interp(0.5, sold, self.outcome.edges))) if sold[-1] >= 0.5 else None

    def sells_next(self, item: int, asked: Sequence[tuple[int, float]], listed: int, ahead: Sequence[int]) -> Floats:
        """Chance that a listing of one item that has not sold yet sells within each of some days ahead: (D,).

        Parameters
        ----------
        asked : (day since it was listed, asking price from then on), the first of day 0, in order. listed : days it has
        stood. ahead : days ahead, ascending.

        Notes
        -----
        Conditional survival, 1 - S(listed + ahead) / S(listed). Having stood so long speaks for a slow style and for a
        low level: both are weighed, for S sums over the nodes of the level and over the gamma of the speed. The age of
        the listing counts in the hazard, the season by the calendar.
        """
        edges = np.array(sorted({0, listed, *(day for day, _ in asked), *(listed + day for day in ahead)}), dtype=float)
        base = spent(self.rate, self.season, self.as_of - listed, edges, CUTS)
        prices = np.array([price for _, price in asked])
        since = np.array([day for day, _ in asked])
        in_force = np.searchsorted(since, edges[:-1], side="right") - 1
        steps = np.zeros((len(prices), len(edges)))
        steps[in_force, np.arange(1, len(edges))] = np.diff(base)
        one = self.prospects.of(item)
        by_node = survive(one, prices[:1][None, :], np.cumsum(steps, axis=1), prices / prices[0])[0, 0]
        alive = one.weights[0] @ by_node
        now = alive[np.searchsorted(edges, listed)]
        return np.asarray(1.0 - alive[np.searchsorted(edges, [listed + day for day in ahead])] / max(now, 1e-300))

    def total_of(self, item: int) -> Total:
        """What the buyer of one item pays in all at its chosen asking price."""
        return total_of(item, int(self.chosen[item]), self.outcome, self.plan, self.haggle)

    def chance_of_loss(self, spent: Floats) -> Floats:
        """Chance that net proceeds fall short of all that was ``spent`` (N,), labour included."""
        net = np.asarray(spent, dtype=np.float64)[:, None]
        short = share_short(net, self.chosen, self.outcome, self.plan, self.costs, self.haggle)
        return np.clip(short[:, 0], 0.0, 1.0)


def forecast_group(
    fit: Fit, category: str, items: list[Item], rows: list[list[tuple[Any, ...]]], terms: Terms, rules: Rules
) -> Forecasts:
    """Forecast items of one category in one vectorised pass."""
    kin = fit.categories.get(category) or pooled(fit)
    seen = observe(fit, kin, items, rows)
    prior = np.array([prior_level(fit, category, kin, item) for item in items])
    flags = footing(fit, category, kin, items, rows, seen.suspect)
    if flags is not None:
        seen = replace(seen, gap=seen.gap + flags.gap(seen.owner))
        prior[:, 0] += flags.of_items
    level = _levels(fit, kin, seen, prior, flags)
    prospects, rate = _prospects(fit, kin, seen, level, terms.assumed_days)
    shift, factor = fit.correction(category)
    if shift or factor != 1.0:
        # Of what you will get, not of what the market shows: the comps have been weighed by now.
        level, rate = replace(level, mean=level.mean + shift), rate * factor
        prospects = replace(prospects, mean=prospects.mean + shift, nodes=prospects.nodes + shift)
    plan = Plan(
        tuple((day, float(cut)) for day, cut in terms.plan.cuts), terms.plan.give_up_day, float(terms.plan.salvage)
    )
    costs = costs_of(terms)
    season = np.array(kin.season)
    base = spent(rate, season, fit.as_of, plan.nodes()[0], CUTS)
    asks = (kin.asks_seen[0], kin.asks_seen[1] + fit.beyond)
    result = outcomes(prospects, base, plan, costs, kin.haggle, rules.target_days, asks)
    chosen = choose(result, terms, rules)
    quantiles = net_quantiles(chosen, result, plan, costs, kin.haggle, shares_wanted(rules))
    ask = result.ask[np.arange(len(items)), chosen]
    sales = np.bincount(seen.owner[(level.weight > 0) & seen.sold], minlength=len(items))
    bucket = np.searchsorted(np.array(BUCKETS), sales)
    nominal = np.sqrt(level.var + kin.sigma2)
    return Forecasts(
        seen,
        level.mean,
        level.var,
        np.array(fit.factors)[bucket] * nominal,
        np.array(fit.wide_factors)[bucket] * nominal,
        prospects.drift * _NEXT_SALE,
        np.maximum(kin.sigma2 * (1.0 / level.var - 1.0 / category_alone(kin)), 0.0),
        level.weight,
        level.distance,
        level.aside,
        chosen,
        np.log(ask) - level.mean > kin.asks_seen[1] + 0.01,
        quantiles[:, :3],
        quantiles[:, 3],
        kin.speed_words() if kin.rate is not None else "",
        share_held(prospects, ask, rate, season, fit.as_of),
        kin.horizon,
        result,
        plan,
        costs,
        kin.haggle,
        prospects,
        base,
        rate,
        season,
        fit.as_of,
        kin.asks_seen[1],
    )


def shares_wanted(rules: Rules) -> Floats:
    """Return the shares at which net proceeds are wanted: `QUANTILES`, then the largest acceptable chance of loss."""
    return np.append(QUANTILES, float(rules.most_loss_chance) if rules.most_loss_chance is not None else 0.5)


def share_held(prospects: Prospects, ask: Floats, rate: Floats, season: Floats, as_of: int) -> Floats:
    """Share sold by each of `DAYS` with each item's asking price (N,) held: (N, len(DAYS))."""
    held = by_price(spent(rate, season, as_of, DAYS, CUTS), DAYS, np.ones(len(DAYS) - 1), prospects.drift)
    alive = np.einsum("njt,nj->nt", survive(prospects, ask[:, None], *held)[:, 0], prospects.weights)
    return np.asarray(1.0 - alive)


def costs_of(terms: Terms) -> Costs:
    """Turn the terms of sale into floats."""
    lines = terms.net_lines
    starts, slopes, fixed = (tuple(float(line[at]) for line in lines) for at in range(3))
    return Costs(starts, slopes, fixed)


def _levels(fit: Fit, kin: CategoryFit, seen: Observations, prior: Floats, flags: Footing | None = None) -> Level:
    """Bring every priced row to today, to the item's condition and flags and to the footing of a sale; then pool."""
    moved = seen.price - seen.gap + np.where(seen.sold, -curve_at(np.array(kin.trend), seen.age), -kin.ask[0])
    noise = np.where(seen.sold, kin.sigma2, kin.ask[1])
    if fit.own_weight != 1.0:
        noise = np.where(seen.sold & seen.own, noise / fit.own_weight, noise)
    use = seen.priced
    suspect = seen.suspect[use]
    count = len(prior)
    # Groups without a priced row would leave gaps in the numbering.
    variant = np.unique(seen.variant[use], return_inverse=True)[1].astype(np.int64)
    found = item_levels(
        prior[:, 0], prior[:, 1], np.full(count, kin.tau_variant2), seen.owner[use], moved[use], noise[use],
        seen.same_size[use], variant, suspect, seen.age[use], fit.walk2,
    )  # fmt: skip
    weight, distance, aside = np.zeros(len(use)), np.zeros(len(use)), np.zeros(len(use), dtype=bool)
    weight[use], distance[use], aside[use] = found.weight, found.distance, found.aside
    var = found.var + carried_var(
        kin.errors.get("drift", 0.0), seen.age, weight / noise, seen.owner, 1.0 / prior[:, 1]
    )  # fmt: skip
    if flags is not None:
        var = var + flags.carried(seen.owner, weight / noise, 1.0 / prior[:, 1])
    return Level(found.mean, var, weight, aside, distance)


def _prospects(
    fit: Fit, kin: CategoryFit, seen: Observations, level: Level, assumed_days: float
) -> tuple[Prospects, Floats]:
    """Update each style's speed by its own listings, on each node of its level; and the daily base hazard.

    Listings that sold soon though asked dear speak for a quick style and for a higher level alike, so that the two are
    weighed together: each node of the level gets its own speed, and its weight by how well it explains them.
    """
    nodes, weights = level_nodes(level.mean, level.var)
    response, mixture = np.array(kin.response), Mixture(np.array(fit.mixture))
    count, zero = len(level.mean), np.zeros(nodes.shape)
    drift = slope_now(np.array(kin.trend)) / 365.25
    rate = np.array(kin.rate if kin.rate is not None else [1.0 / assumed_days] * len(CUTS))
    # A damaged piece asked at a fraction of the level would spend the hazard of ten sound ones.
    use = ~np.isnan(seen.days) & ~level.aside & ~seen.suspect
    use &= ~(np.abs(seen.asked - seen.gap - level.mean[seen.owner] - kin.ask[0]) > _NO_PRICE_OF_IT)
    if kin.rate is None or not use.any():
        a, b, _ = mixture.gamma(zero, zero)
        return Prospects(level.mean, level.var, nodes, weights, a, b, response, drift), rate
    owner = seen.owner[use]
    then = curve_at(np.array(kin.trend), seen.age)
    asked = (seen.asked - seen.gap - then)[use][:, None] - nodes[owner]
    asked = np.where(np.isnan(asked), kin.ask[0], asked)
    days = seen.days[use]
    listed = seen.listed[use]
    usual = pieces_exposure(days) @ rate * usual_pace(np.array(kin.season), listed, listed + days)
    log = read(response, asked)
    sold = seen.sold[use].astype(np.float64)
    hazard, fits = zero.copy(), zero.copy()
    for node in range(nodes.shape[1]):
        hazard[:, node] = np.bincount(owner, usual * np.exp(log[:, node]), count)
        fits[:, node] = np.bincount(owner, sold * log[:, node], count)
    events = np.repeat(np.bincount(owner, sold, count).astype(np.float64)[:, None], nodes.shape[1], axis=1)
    a, b, likelihood = mixture.gamma(events, hazard)
    fits += likelihood
    weights = weights * np.exp(fits - fits.max(axis=1, keepdims=True))
    weights = weights / weights.sum(axis=1, keepdims=True)
    return Prospects(level.mean, level.var, nodes, weights, a, b, response, drift), rate


def _at(day: float, shares: Floats) -> Floats:
    """Interpolate each row of shares (N, len(DAYS)) at one day."""
    right = int(np.clip(np.searchsorted(DAYS, day), 1, len(DAYS) - 1))
    part = min(max((day - DAYS[right - 1]) / (DAYS[right] - DAYS[right - 1]), 0.0), 1.0)
    found: Floats = shares[:, right - 1] * (1 - part) + shares[:, right] * part
    return found
