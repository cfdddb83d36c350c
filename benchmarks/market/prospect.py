"""What becomes of an item on offer with a known level and speed: sums over the days of the price-cut plan."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from benchmarks.market.config import DAYS
from benchmarks.market.draw import FIRST, Constants, Market
from benchmarks.market.rivals import count_cheaper
from benchmarks.market.shapes import Floats, Ints, log_age, log_demand
from benchmarks.market.shelf import terms_of
from models.proceeds import Plan
from sourcing.forecast import costs_of

_Z, _ZW = np.polynomial.hermite_e.hermegauss(41)
_ZW = _ZW / _ZW.sum()
_BLOCK = 200_000  # numbers held at once: they stay in the cache


@dataclass(frozen=True)
class Deals:
    """Terms of sale by category, arrays (C,), and the plan they share."""

    slope: Floats  # what is left of each unit the buyer pays
    fixed: Floats  # what a sale leaves or costs besides
    landed: Floats  # landed cost of a shelf price of 1
    labour: Floats
    capital: Floats  # cost of cash tied up, a year
    plan: Plan

    def factor(self) -> Floats:
        """Share of the first asking price in force on each day of the plan, (D,)."""
        found = np.ones(self.plan.give_up)
        for day, cut in self.plan.cuts:
            found[day:] = 1.0 - cut
        return found

    def net(self, total: Floats, category: Ints) -> Floats:
        """Net proceeds of sales at totals (N, ...) by category (N,), before labour and purchase."""
        c = category.reshape(-1, *([1] * (total.ndim - 1)))
        return np.asarray(total * self.slope[c] + self.fixed[c])


def deals_of(market: Market) -> Deals:
    """Turn the categories' terms of sale into floats.

    Raises
    ------
    ValueError
        The categories have different price-cut plans, or fees by bracket.
    """
    terms = terms_of(market)
    if len({each.plan for each in terms}) > 1:
        raise ValueError("one price-cut plan for all categories is expected")
    costs, plan = [costs_of(each) for each in terms], terms[0].plan
    if any(len(cost.starts) > 1 for cost in costs):
        raise ValueError("one fee share for each category is expected")
    return Deals(
        np.array([cost.slopes[0] for cost in costs]),
        np.array([cost.fixed[0] for cost in costs]),
        np.array([float(each.landed(Decimal(1000))) / 1000 for each in terms]),
        np.array([float(each.labour()) for each in terms]),
        np.array([float(each.capital_rate) for each in terms]),
        Plan(tuple((day, float(cut)) for day, cut in plan.cuts), plan.give_up_day, float(plan.salvage)),
    )


def haggled(constants: Constants) -> Floats:
    """Mean share of the asking price that a buyer pays, (C,)."""
    log = np.minimum(constants.haggle[:, None] + constants.haggle_sd[:, None] * _Z, 0.0)
    return np.asarray(np.exp(log) @ _ZW)


def usual_gap(market: Market) -> Floats:
    """Mean log of a sale over the item's level, (C,): the usual sale price lies so far from the level."""
    listings = market.listings
    sold = listings.status == 1
    category = market.styles.category[listings.style[sold]]
    count = np.bincount(category, minlength=len(market.constants.hazard))
    total = np.bincount(category, (listings.sold - listings.value)[sold], len(count))
    return np.asarray(total / np.maximum(count, 1))


class Prospect:
    """Items on offer from the as-of day on, arrays (N,): ``level`` their log level on that day, ``speed`` log speeds.

    ``rivals`` (N, P, D, m) are sampled paths of the rivals' lowest asking prices; chances are averaged over them.
    """

    def __init__(
        self,
        constants: Constants,
        deals: Deals,
        gap: Floats,
        category: Ints,
        price: Floats,
        level: Floats,
        speed: Floats,
        rivals: np.ndarray | None = None,
    ) -> None:
        self.constants, self.deals, self.category, self.price = constants, deals, category, price
        self._level, self._speed, self._rivals = level, speed, rivals
        self._gap, self._haggled = gap[category], haggled(constants)[category]
        self._days = np.arange(1, deals.plan.give_up + 1)

    def __len__(self) -> int:
        return len(self.category)

    def profit(self, ask: Floats) -> Floats:
        """Expected profit after labour at first asking prices (N, K), following the plan: shape (N, K).

        Shelf price, tax, fees, postage, supplies, expected returns, labour and the cost of the cash tied up are
        taken off; a listing given up brings the plan's salvage share of the item's usual sale price on that day.
        """
        deals, found = self.deals, np.empty_like(ask)
        factor = deals.factor()
        for rows in self._blocks(ask.shape[1]):
            c = self.category[rows]
            alive = self._alive(ask[rows], factor, rows)
            before = np.concatenate([np.ones_like(alive[:, :, :1]), alive[:, :, :-1]], axis=2)
            mass, left = before - alive, alive[:, :, -1]
            total = ask[rows, :, None] * (factor * self._haggled[rows, None])[:, None, :]
            salvage = deals.plan.salvage * np.exp(self._values(rows, len(factor))[:, -1] + self._gap[rows])
            net = (mass * deals.net(total, c)).sum(axis=2) + left * deals.net(salvage, c)[:, None]
            tied = mass @ self._days + left * deals.plan.give_up
            landed = (self.price[rows] * deals.landed[c])[:, None]
            found[rows] = net - deals.labour[c][:, None] - landed * (1.0 + deals.capital[c][:, None] * tied / 365.0)
        return found

    def unsold(self, ask: Floats, horizons: tuple[int, ...]) -> Floats:
        """Chance unsold after ``horizons`` days at asking prices (N,) that are held: shape (N, H)."""
        found = np.empty((len(ask), len(horizons)))
        flat = np.ones(max(horizons))
        for rows in self._blocks(1):
            found[rows] = self._alive(ask[rows, None], flat, rows)[:, 0, np.array(horizons) - 1]
        return found

    def _values(self, rows: slice, days: int) -> Floats:
        path = self.constants.path[self.category[rows], DAYS - FIRST + 1 : DAYS - FIRST + 1 + days]
        return np.asarray(self._level[rows, None] + path)

    def _alive(self, ask: Floats, factor: Floats, rows: slice) -> Floats:
        """Chance unsold after each day, (n, K, D), at first asking prices (n, K) and factors (D,)."""
        constants, days, c = self.constants, len(factor), self.category[rows]
        season = constants.season[c, DAYS - FIRST + 1 : DAYS - FIRST + 1 + days]
        age = log_age(constants.config.age, np.arange(days) + 0.5)
        base = (np.log(constants.hazard[c]) + self._speed[rows])[:, None] + season + age
        x = np.log(ask)[:, :, None] + np.log(factor) - self._values(rows, days)[:, None, :]
        log = log_demand(constants.config.demand, x, constants.elasticity[c][:, None, None])
        hazard = np.exp(log + base[:, None, :])
        if self._rivals is None:
            return np.asarray(np.exp(-np.cumsum(hazard, axis=2)))
        alive, paths = np.zeros_like(hazard), self._rivals.shape[1]
        for path in range(paths):
            count = count_cheaper(self._rivals[rows, path, :days], x)
            alive += np.exp(-np.cumsum(hazard * np.exp(-constants.config.undercut * count), axis=2))
        return np.asarray(alive / paths)

    def _blocks(self, asks: int) -> list[slice]:
        size = max(1, _BLOCK // (asks * len(self._days)))
        return [slice(low, min(low + size, len(self))) for low in range(0, len(self), size)]
