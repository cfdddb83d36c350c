"""What truly becomes of a shelf item: expected profit at any asking price, chances of a sale, and what happened.

Everything is a sum over the days of the price-cut plan with the item's true level and speed; nothing is sampled,
except the rivals of a market in which sellers undercut: there the sum is taken along sampled paths of the rivals'
prices and averaged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.market.config import DAYS, HORIZONS, HURDLE
from benchmarks.market.draw import FIRST, Market
from benchmarks.market.rivals import count_cheaper, rival_asks
from benchmarks.market.shapes import Floats, log_age, log_demand
from benchmarks.market.shelf import Shelf, terms_of
from models.proceeds import Costs, Plan
from sourcing.forecast import costs_of
from sourcing.terms import Terms

_Z, _ZW = np.polynomial.hermite_e.hermegauss(41)
_ZW = _ZW / _ZW.sum()


@dataclass(frozen=True)
class Deal:
    """One category's terms of sale as floats."""

    costs: Costs
    plan: Plan
    landed: float  # landed cost of a shelf price of 1
    labour: float
    capital: float  # cost of cash tied up, a year

    def factor(self) -> Floats:
        """Share of the first asking price in force on each day of the plan, (give_up,)."""
        found = np.ones(self.plan.give_up)
        for day, cut in self.plan.cuts:
            found[day:] = 1.0 - cut
        return found


def deal_of(terms: Terms) -> Deal:
    """Turn terms of sale into floats."""
    plan = Plan(
        tuple((day, float(cut)) for day, cut in terms.plan.cuts), terms.plan.give_up_day, float(terms.plan.salvage)
    )
    landed = (1.0 - float(terms.store_discount)) * (1.0 + float(terms.purchase_tax))
    return Deal(costs_of(terms), plan, landed, float(terms.labour()), float(terms.capital_rate))


def haggled(market: Market) -> Floats:
    """Mean share of the asking price that a buyer pays, (C,)."""
    constants = market.constants
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


class Truth:
    """The truth about a shelf; ``level`` (N,) is the log level on the as-of day, condition and size included."""

    def __init__(self, market: Market, shelf: Shelf, seed: int) -> None:
        self.market, self.shelf = market, shelf
        constants, styles = market.constants, market.styles
        self.deals = [deal_of(terms) for terms in terms_of(market)]
        self.give_up = max(deal.plan.give_up for deal in self.deals)
        days = DAYS + np.arange(1, self.give_up + 1)
        self._values = market.level(shelf.style[:, None], days[None, :]) + shelf.offset[:, None]  # (N, D)
        self.level = market.level(shelf.style, DAYS) + shelf.offset
        self._base = (
            np.log(constants.hazard[shelf.category] * styles.speed[shelf.style])[:, None]
            + constants.season[shelf.category][:, days - FIRST]
            + log_age(constants.config.age, np.arange(self.give_up) + 0.5)
        )
        self._haggled, self._gap = haggled(market)[shelf.category], usual_gap(market)[shelf.category]
        rng = np.random.default_rng([955, seed])
        self.threshold = rng.exponential(1.0, len(shelf))
        self._rivals = rival_asks(market, shelf, self.give_up, rng) if constants.config.undercut else None
        self.best_ask, self.best = self._best()

    def _alive(self, ask: Floats, factor: Floats, rows: slice) -> Floats:
        """Chance unsold after each day, (n, K, D), at first asking prices (n, K) and factors (n, D)."""
        constants = self.market.constants
        here = self.shelf.category[rows]
        x = np.log(ask)[:, :, None] + np.log(factor)[:, None, :] - self._values[rows, None, : factor.shape[1]]
        log = log_demand(constants.config.demand, x, constants.elasticity[here][:, None, None])
        hazard = np.exp(log + self._base[rows, None, : factor.shape[1]])
        if self._rivals is None:
            return np.asarray(np.exp(-np.cumsum(hazard, axis=2)))
        alive = np.zeros_like(hazard)
        paths = self._rivals.shape[1]
        for path in range(paths):
            count = count_cheaper(self._rivals[rows, path, : factor.shape[1]], x)
            alive += np.exp(-np.cumsum(hazard * np.exp(-constants.config.undercut * count), axis=2))
        return alive / paths

    def profit(self, ask: Floats) -> Floats:
        """True expected profit after labour at first asking prices (N, K), following the plan: shape (N, K).

        Shelf price, tax, fees, postage, supplies, expected returns, labour and the cost of the cash tied up are
        taken off; a listing given up brings the plan's salvage share of the item's usual sale price on that day.
        """
        found = np.empty_like(ask)
        for rows in self._blocks(ask.shape[1]):
            category = self.shelf.category[rows]
            factor = np.array([self._padded(self.deals[c].factor()) for c in category])
            alive = self._alive(ask[rows], factor, rows)
            before = np.concatenate([np.ones_like(alive[:, :, :1]), alive[:, :, :-1]], axis=2)
            mass = before - alive
            days = np.arange(1, alive.shape[2] + 1)
            for at, c in enumerate(category):
                deal, i = self.deals[c], rows.start + at
                end = deal.plan.give_up
                total = ask[i, :, None] * factor[at, :end] * self._haggled[i]
                left = alive[at, :, end - 1]
                salvage = deal.plan.salvage * np.exp(self._values[i, end - 1] + self._gap[i])
                net = (mass[at, :, :end] * deal.costs.net(total)).sum(axis=1) + left * deal.costs.net(salvage)
                tied = mass[at, :, :end] @ days[:end] + left * end
                landed = self.shelf.price[i] * deal.landed
                found[i] = net - deal.labour - landed * (1.0 + deal.capital * tied / 365.0)
        return found

    def chance(self, ask: Floats) -> Floats:
        """True chance sold within HORIZONS at asking prices (N,) that are held: shape (N, 4)."""
        cumulative = self._held(ask)
        return 1.0 - np.exp(-cumulative)

    def happened(self, ask: Floats) -> Floats:
        """Whether it sold within HORIZONS at asking prices (N,) that are held, 0 or 1: (N, 4).

        The same luck for every reader: an item's threshold is drawn once.
        """
        return np.asarray(self._held(ask) >= self.threshold[:, None], dtype=np.float64)

    def _held(self, ask: Floats) -> Floats:
        at = np.array(HORIZONS) - 1
        found = np.empty((len(ask), len(at)))
        for rows in self._blocks(1):
            flat = np.ones((rows.stop - rows.start, max(HORIZONS)))
            alive = self._alive(ask[rows, None], flat, rows)[:, 0]
            found[rows] = -np.log(np.maximum(alive[:, at], 1e-300))
        return found

    def _best(self) -> tuple[Floats, Floats]:
        """Find the best asking price, by a search in two rounds over a factor of 2.2 either way."""
        steps = np.linspace(-0.8, 0.8, 33)
        centre = self.level
        for _ in range(2):
            ask = np.exp(centre[:, None] + steps)
            profit = self.profit(ask)
            pick = profit.argmax(axis=1)
            centre = centre + steps[pick]
            steps = np.linspace(-0.05, 0.05, 11)
        return np.exp(centre), profit.max(axis=1)

    def surplus(self) -> Floats:
        """What perfect foresight earns above the hurdle on each item, (N,)."""
        return np.maximum(self.best - HURDLE, 0.0)

    def _padded(self, factor: Floats) -> Floats:
        return np.pad(factor, (0, self.give_up - len(factor)), mode="edge")

    def _blocks(self, asks: int) -> list[slice]:
        size = max(1, 2_000_000 // (asks * self.give_up))
        return [slice(low, min(low + size, len(self.shelf))) for low in range(0, len(self.shelf), size)]
