"""What truly becomes of a shelf: expected profit at any asking price, chances of a sale, and what happened.

Nothing is sampled, except the rivals of a market in which sellers undercut: there the sum over the days is taken along
sampled paths of the rivals' prices and averaged.
"""

from __future__ import annotations

import numpy as np

from benchmarks.market.config import DAYS, HORIZONS, HURDLE
from benchmarks.market.draw import Market
from benchmarks.market.prospect import Prospect, deals_of, usual_gap
from benchmarks.market.rivals import rival_asks
from benchmarks.market.shapes import Floats
from benchmarks.market.shelf import Shelf


class Truth:
    """The truth about a shelf; ``level`` (N,) is the log level on the as-of day, condition and size included."""

    def __init__(self, market: Market, shelf: Shelf, seed: int) -> None:
        self.market, self.shelf = market, shelf
        rng = np.random.default_rng([955, seed])
        self.threshold = rng.exponential(1.0, len(shelf))
        self.level = market.level(shelf.style, DAYS) + shelf.offset
        deals = deals_of(market)
        undercut = market.constants.config.undercut > 0
        self.rivals = rival_asks(market, shelf, deals.plan.give_up, rng) if undercut else None
        self.prospect = Prospect(
            market.constants,
            deals,
            usual_gap(market),
            shelf.category,
            shelf.price,
            self.level,
            np.log(market.styles.speed[shelf.style]),
            self.rivals,
        )
        self.best_ask, self.best = self._best()

    def profit(self, ask: Floats) -> Floats:
        """Return the true expected profit at first asking prices (N, K), as `Prospect.profit` has it: (N, K)."""
        return self.prospect.profit(ask)

    def chance(self, ask: Floats) -> Floats:
        """Return the true chance sold within HORIZONS at asking prices (N,) that are held: shape (N, 4)."""
        return np.asarray(1.0 - self.prospect.unsold(ask, HORIZONS))

    def happened(self, ask: Floats) -> Floats:
        """Whether it sold within HORIZONS at asking prices (N,) that are held, 0 or 1: (N, 4).

        The same luck for every reader: an item's threshold is drawn once.
        """
        unsold = self.prospect.unsold(ask, HORIZONS)
        return np.asarray(unsold <= np.exp(-self.threshold)[:, None], dtype=np.float64)

    def surplus(self) -> Floats:
        """Return what perfect foresight earns above the hurdle on each item, (N,)."""
        return np.maximum(self.best - HURDLE, 0.0)

    def _best(self) -> tuple[Floats, Floats]:
        """Find the best asking price, by a search in two rounds over a factor of 2.7 either way."""
        rows, centre = np.arange(len(self.shelf)), self.level
        best = np.full(len(rows), -np.inf)
        for steps in (np.linspace(-1.0, 1.0, 26), np.linspace(-0.07, 0.07, 9)):
            profit = self.profit(np.exp(centre[:, None] + steps))
            pick = profit.argmax(axis=1)
            best, centre = profit[rows, pick], centre + steps[pick]
        return np.exp(centre), best
