"""What the market will do with each item, whatever the shelf price: level, time to sell, asking price, proceeds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from models.level import Level, item_levels
from models.price import Floats
from models.proceeds import Costs, Outcome, Plan, net_quantiles, outcomes, share_below, survive
from models.speed import CUTS, cumulative
from sourcing.answer import Item
from sourcing.evidence import looks_odd
from sourcing.fitting import BUCKETS, CategoryFit, Fit, fold
from sourcing.rules import Rules
from sourcing.terms import Terms

Z80 = 1.2815515655446004
DAYS = np.array([0, 3, 7, 10, 14, 21, 30, 45, 60, 75, 90, 120, 150, 180, 240, 300, 365], dtype=float)
QUANTILES = np.array([0.1, 0.5, 0.9])


@dataclass(frozen=True)
class Forecast:
    """One item's forecast. Money as floats; ``weight`` and ``aside`` follow the item's comps rows."""

    mean: float
    var: float
    spread: float  # of the next comparable sale, conformalised, in log price
    evidence: float
    weight: Floats
    aside: tuple[str, ...]
    asks: Floats
    chosen: int
    mean_net: Floats
    by_target: Floats
    tied_days: float
    net_quantiles: Floats  # at QUANTILES
    loss_net: float
    speed_basis: str  # "" when the time to sell is the settings' assumption
    sold_share: Floats  # at DAYS, asking price held
    horizon: float
    outcome: Outcome
    index: int  # row of ``outcome``
    plan: Plan
    costs: Costs
    haggle: tuple[float, float]

    def sold_by(self, day: float) -> float:
        """Chance sold within ``day`` days with the asking price held."""
        return float(np.interp(day, DAYS, self.sold_share))

    def days_for(self, share: float) -> int | None:
        """Days until ``share`` is sold; None when that is not reached within what the data can speak of."""
        if self.sold_by(min(self.horizon, DAYS[-1])) < share:
            return None
        return max(1, round(float(np.interp(share, self.sold_share, DAYS))))

    def days_half(self, choice: int) -> int | None:
        """Days until half is sold at one of the asking prices under the plan; None: not reached."""
        sold = self.outcome.sold_by_edge[self.index, choice]
        return round(float(np.interp(0.5, sold, self.outcome.edges))) if sold[-1] >= 0.5 else None

    def chance_of_loss(self, spent: float) -> float:
        """Chance that net proceeds fall short of all that was ``spent``, labour included."""
        total = self.costs.total_for(np.array([[spent]]))
        one = np.array([self.mean]), np.array([self.var])
        chance = share_below(
            total, np.array([self.chosen]), _row(self.outcome, self.index), *one, self.plan, self.haggle
        )
        return float(np.clip(chance[0, 0], 0.0, 1.0))


def forecast_group(
    fit: Fit, category: str, items: list[Item], rows: list[list[tuple[Any, ...]]], terms: Terms, rules: Rules
) -> list[Forecast]:
    """Forecast items of one category in one vectorised pass."""
    kin = fit.categories.get(category) or _pooled(fit)
    prior = np.array([_prior(fit, category, kin, item) for item in items])
    owner, z, noise, same, variant, suspect, words = _observations(fit, kin, items, rows)
    level = item_levels(
        prior[:, 0],
        prior[:, 1],
        np.full(len(items), kin.tau_variant2),
        owner,
        z,
        noise,
        same,
        variant,
        suspect,
    )
    rate = np.array(kin.rate if kin.rate is not None else [1.0 / terms.assumed_days] * len(CUTS))
    a, b = _frailty(fit, kin, items, rows, level, rate)
    plan = Plan(
        tuple((day, float(cut)) for day, cut in terms.plan.cuts),
        terms.plan.give_up_day,
        float(terms.plan.salvage),
    )
    costs = costs_of(terms)
    result = outcomes(
        level.mean, level.var, rate, fit.slope, a, b, plan, costs, kin.haggle, rules.target_days, kin.asks_seen
    )
    chosen = _choose(result, terms, rules)
    shares = np.append(QUANTILES, float(rules.most_loss_chance) if rules.most_loss_chance is not None else 0.5)
    quantiles = net_quantiles(chosen, result, level.mean, level.var, plan, costs, kin.haggle, shares)
    each = np.arange(len(items))
    alive = survive(level.mean, level.var, result.ask[each, chosen][:, None], cumulative(rate, DAYS), fit.slope, a, b)
    is_sale = np.array([row[0] == 1 for few in rows for row in few if log_price(row) is not None], dtype=bool)
    sold = np.bincount(owner[(level.weight > 0) & is_sale], minlength=len(items))
    answers = []
    for i in each:
        mine = slice(*np.searchsorted(owner, [i, i + 1]))
        reasons = tuple(
            _reason(word, bool(aside), float(distance))
            for word, aside, distance in zip(words[mine], level.aside[mine], level.distance[mine], strict=True)
        )
        factor = fit.factors[int(np.searchsorted(np.array(BUCKETS), sold[i]))]
        answers.append(
            Forecast(
                float(level.mean[i]),
                float(level.var[i]),
                factor * float(np.sqrt(level.var[i] + kin.sigma2)),
                kin.sigma2 / float(level.var[i]),
                level.weight[mine],
                reasons,
                result.ask[i],
                int(chosen[i]),
                result.mean_net[i],
                result.by_target[i],
                float(result.mean_days[i, chosen[i]]),
                quantiles[i, :3],
                float(quantiles[i, 3]),
                kin.speed_basis if kin.rate is not None else "",
                1.0 - alive[i, 0],
                kin.horizon,
                result,
                int(i),
                plan,
                costs,
                kin.haggle,
            )
        )
    return answers


def costs_of(terms: Terms) -> Costs:
    """Turn the terms of sale into floats."""
    fixed = terms.fee_fixed + terms.postage + terms.supplies + terms.return_rate * terms.postage
    cap = float("inf") if terms.fee_cap is None else float(terms.fee_cap)
    return Costs(float(terms.fee_rate), cap, float(fixed), float(terms.return_rate * terms.return_value_lost))


def _choose(result: Outcome, terms: Terms, rules: Rules) -> Any:
    """Choose the asking price: most expected proceeds less the cost of cash tied up, among those quick enough."""
    outlay = np.maximum(result.mean_net.max(axis=1, keepdims=True), 0.0)
    value = result.mean_net - float(terms.capital_rate) * result.mean_days / 365.0 * outlay
    if rules.wanted_chance is not None:
        quick = result.by_target >= float(rules.wanted_chance)
        value = np.where(quick | ~quick.any(axis=1, keepdims=True), value, -np.inf)
    return value.argmax(axis=1)


def _prior(fit: Fit, category: str, kin: CategoryFit, item: Item) -> tuple[float, float]:
    condition = kin.conditions.get(fold(item.condition or kin.base_condition), 0.0)
    cell = fit.cells.get(f"{category}\t{fold(item.brand)}")
    if cell is not None and (item.brand or item.known):
        return cell[0] + condition, cell[1] + kin.tau_style2
    if category in fit.categories:
        return kin.mu + condition, kin.mu_var + kin.tau_brand2 + kin.tau_style2
    return fit.grand[0] + condition, fit.grand[1] + kin.tau_brand2 + kin.tau_style2


def _pooled(fit: Fit) -> CategoryFit:
    """Stand in for an unknown category: the average of the known ones, weighted by their sales."""
    kinds = list(fit.categories.values())
    weight = np.array([max(kind.sold, 1) for kind in kinds], dtype=float)
    weight /= weight.sum()

    def mean(name: str) -> float:
        return float(sum(w * getattr(kind, name) for w, kind in zip(weight, kinds, strict=True)))

    rates = [kind.rate for kind in kinds if kind.rate is not None]
    return CategoryFit(
        fit.grand[0],
        fit.grand[1],
        mean("sigma2"),
        mean("tau_variant2"),
        mean("tau_style2"),
        mean("tau_brand2"),
        0.0,
        kinds[0].base_condition,
        {},
        kinds[0].haggle,
        kinds[0].ask,
        tuple(float(v) for v in np.mean(rates, axis=0)) if rates else None,
        min(kind.horizon for kind in kinds),
        0,
        0,
        "all categories together",
        (max(kind.asks_seen[0] for kind in kinds), min(kind.asks_seen[1] for kind in kinds)),
    )


def log_price(row: tuple[Any, ...]) -> float | None:
    """Log of what a row says in money: paid when sold, asked when not; None when it says nothing."""
    amount = (row[3] if row[0] == 1 else row[2]) or 0
    total = amount + (row[4] or 0)
    return float(np.log(total / 100.0)) if amount and total > 0 else None


def _age(fit: Fit, row: tuple[Any, ...]) -> float:
    when = row[6] if row[6] is not None else row[5]
    return 0.5 if when is None else max(fit.as_of - when, 0) / 365.25


def _observations(fit: Fit, kin: CategoryFit, items: list[Item], rows: list[list[tuple[Any, ...]]]) -> Any:
    """Bring every usable row to today, to the item's condition, and to the footing of a sale."""
    owner, z, noise, same, variant, suspect, words = [], [], [], [], [], [], []
    groups: dict[tuple[int, str], int] = {}
    for i, (item, few) in enumerate(zip(items, rows, strict=True)):
        wanted = kin.conditions.get(fold(item.condition or kin.base_condition), 0.0)
        size = fold(item.size)
        for row in few:
            price = log_price(row)
            if price is None:
                continue
            age = _age(fit, row)
            moved = price - kin.conditions.get(fold(row[9]), 0.0) + wanted
            if row[0] == 1:
                moved, variance = moved + kin.drift * age, kin.sigma2 + fit.walk2 * age
            else:
                moved, variance = moved - kin.ask[0], kin.ask[1]
            word = looks_odd(row[11], row[12], item.title if item.title != row[11] else "")
            owner.append(i)
            z.append(moved)
            noise.append(variance)
            same.append(bool(size) and fold(row[8]) == size)
            variant.append(groups.setdefault((i, fold(row[8])), len(groups)))
            suspect.append(bool(word))
            words.append(word)
    return (
        np.array(owner, dtype=np.int64),
        np.array(z),
        np.array(noise),
        np.array(same, dtype=bool),
        np.array(variant, dtype=np.int64),
        np.array(suspect, dtype=bool),
        words,
    )


def _frailty(
    fit: Fit,
    kin: CategoryFit,
    items: list[Item],
    rows: list[list[tuple[Any, ...]]],
    level: Level,
    rate: Floats,
) -> tuple[Floats, Floats]:
    """Update each style's frailty by its own listings: gamma(shape + events, shape + cumulative hazard)."""
    a, b = np.full(len(items), fit.shape), np.full(len(items), fit.shape)
    if kin.rate is None:
        return a, b
    owner, days, asked, event = [], [], [], []
    for i, few in enumerate(rows):
        for row in few:
            stop = row[7] if row[0] == 0 else row[6]
            if row[5] is None or stop is None:
                continue
            gap = kin.conditions.get(fold(row[9]), 0.0) - kin.conditions.get(
                fold(items[i].condition or kin.base_condition), 0.0
            )
            owner.append(i)
            days.append(max(stop - row[5], 0.5))
            asked.append(np.log((row[2] + (row[4] or 0)) / 100) - gap if row[2] else np.nan)
            event.append(float(row[0] == 1))
    if not owner:
        return a, b
    index = np.array(owner)
    x = np.clip(np.nan_to_num(np.array(asked) - level.mean[index], nan=0.0), -0.75, 0.75)
    hazard = cumulative(rate, np.array(days)) * np.exp(fit.slope * x)
    return a + np.bincount(index, event, len(items)), b + np.bincount(index, hazard, len(items))


def _reason(word: str, aside: bool, distance: float) -> str:
    if not aside:
        return ""
    where = "above" if distance > 0 else "below"
    if word:
        return f"its text says “{word}” and its price lies {where} the others"
    return f"its price lies far {where} the others ({abs(distance):.1f} times the usual spread)"


def _row(outcome: Outcome, index: int) -> Outcome:
    one = slice(index, index + 1)
    return Outcome(
        outcome.ask[one],
        outcome.mean_net[one],
        outcome.mean_days[one],
        outcome.by_target[one],
        outcome.sold_by_edge[one],
        outcome.edges,
    )
