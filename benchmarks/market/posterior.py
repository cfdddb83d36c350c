"""What a style's own clean comps say of its level and speed, to one who knows the market's constants and shapes.

A grid over the level (and over the step's day, where levels step) times the speed; each listing's likelihood sums over
whether its seller cuts: the density of the first asking price, the chance of no sale so far, the hazard on the day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.market.config import DAYS
from benchmarks.market.dirt import Spoilt
from benchmarks.market.draw import FIRST, Constants, Listings, Market
from benchmarks.market.selection import log_kept
from benchmarks.market.shapes import Floats, Ints, ask_camps, cut_so_far, log_age, log_demand, speed_points
from benchmarks.market.simulate import MOST_CHEAPER, cheaper

_LEVELS = 25
_SPEEDS = 81
_STEP_DAYS = tuple(range(70, DAYS - 20, 20))


@dataclass(frozen=True)
class Own:
    """A style's clean comps, arrays (n,), and for each day of each one its comp, age, day and cheaper rivals (m,)."""

    sold: Floats
    ask: Floats  # the last one, log
    offset: Floats
    listed: Ints
    cuts: Ints  # made by the end, if its seller cuts
    last: Ints  # place of each comp's last day
    comp: Ints
    age: Ints
    day: Ints
    rivals: Floats


class Reader:
    """Draws levels and speeds of styles from their posteriors, as ``told``: the constants with the shapes believed."""

    def __init__(self, told: Constants, market: Market, spoilt: Spoilt) -> None:
        self.told, self.styles = told, market.styles
        self._clean = np.flatnonzero(spoilt.clean)
        self._listings = market.listings
        self._by_style = self._clean[np.argsort(market.listings.style[self._clean], kind="stable")]
        self._starts = np.searchsorted(market.listings.style[self._by_style], np.arange(len(market.styles.share) + 1))
        self._rivals = rivals_met(market.listings) if told.config.undercut else None
        self._log_speed, weight = speed_points(told.config.speeds, told.speed_shape, _SPEEDS)
        self._prior = np.log(weight)
        self._kept = log_kept(told, self._log_speed) if told.config.sold_only or told.config.open_only else None

    def draws(self, style: int, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Draw ``count`` pairs of log level on the as-of day (condition and size aside) and log speed."""
        own = self._own(style)
        logs, levels = [], []
        for day, step, chance in self._steps():
            level = self._grid(style, own, day, step)
            logs.append(self._log_posterior(style, own, level, day, step) + np.log(chance * (level[1] - level[0])))
            levels.append(level)
        log = np.stack(logs)  # (hypotheses, levels, speeds)
        mass = np.exp(log - log.max())
        # Systematic draws along the grid: an even spread over the posterior.
        edges = np.cumsum(mass.ravel())
        at = np.searchsorted(edges, (np.arange(count) + rng.random()) / count * edges[-1], side="right")
        which, row, column = np.unravel_index(np.minimum(at, mass.size - 1), mass.shape)
        level = np.stack(levels)
        width = (level[:, 1] - level[:, 0])[which]
        jitter = (rng.permutation(count) + 0.5) / count - 0.5
        return level[which, row] + jitter * width, self._log_speed[column]

    def _steps(self) -> list[tuple[int, float, float]]:
        """Return the steps to reckon with: day, size and prior chance."""
        config = self.told.config
        if not config.steps:
            return [(0, 0.0, 1.0)]
        share = config.steps / (2 * len(_STEP_DAYS))
        found = [(day, sign * config.step, share) for day in _STEP_DAYS for sign in (-1.0, 1.0)]
        return [(0, 0.0, 1.0 - config.steps), *found]

    def _own(self, style: int) -> Own:
        rows = self._by_style[self._starts[style] : self._starts[style + 1]]
        if self.told.config.undated:
            rows = rows[:0]
        picked = self._listings
        status, listed = picked.status[rows], picked.listed[rows]
        length = np.where(status == 0, DAYS, picked.ended[rows]) - listed
        comp = np.repeat(np.arange(len(rows)), length)
        last = np.cumsum(length) - 1
        age = np.arange(len(comp)) - np.repeat(last - length + 1, length) + 1
        rivals = np.zeros(len(comp))
        if self._rivals is not None and len(rows):
            rivals = np.concatenate([self._rivals[row] for row in rows])
        return Own(
            (status == 1).astype(float),
            picked.ask_last[rows],
            picked.offset[rows],
            listed,
            cut_so_far(length - 1),
            last,
            comp,
            age,
            listed[comp] + age,
            rivals,
        )

    def _path(self, style: int, day: Ints, step_day: int, step: float) -> Floats:
        path = self.told.path[self.styles.category[style], day - FIRST]
        return np.asarray(path - np.where(day < step_day, step, 0.0))

    def _grid(self, style: int, own: Own, step_day: int, step: float) -> Floats:
        """Return levels around where the asking prices put the style, wide enough for all that is likely."""
        c, sd = self.styles.category[style], float(self.told.style_sd[self.styles.category[style]])
        if not len(own.ask):
            return np.asarray(self.styles.expected[style] + np.linspace(-4.5, 4.5, _LEVELS) * sd)
        camps = ask_camps(self.told.config.asks, float(self.told.ask_centre[c]), float(self.told.ask_sd[c]))
        centre = sum(p * m for p, m, _ in camps)
        noise = sum(p * (s**2 + (m - centre) ** 2) for p, m, s in camps) + float(self.told.cut[c]) ** 2
        cut = self.told.cutters[c] * self.told.cut[c] * own.cuts
        y = own.ask + cut - centre - own.offset - self._path(style, own.listed, step_day, step)
        precision = 1.0 / sd**2 + len(y) / noise
        mean = (self.styles.expected[style] / sd**2 + y.sum() / noise) / precision
        return np.asarray(mean + np.linspace(-5.5, 5.5, _LEVELS) / np.sqrt(precision))

    def _log_posterior(self, style: int, own: Own, level: Floats, step_day: int, step: float) -> Floats:
        """Log of prior times likelihood, up to a constant: (levels, speeds)."""
        told, c = self.told, self.styles.category[style]
        z = (level - self.styles.expected[style]) / told.style_sd[c]
        log = -(z[:, None] ** 2) / 2 + self._prior[None, :]
        if not len(own.ask):
            return np.asarray(log)
        speed = np.exp(self._log_speed)
        value = self._path(style, own.day, step_day, step) + own.offset[own.comp]
        base = (
            np.log(told.hazard[c])
            + told.season[c, own.day - FIRST]
            + log_age(told.config.age, own.age - 0.5)
            - told.config.undercut * own.rivals
        )
        first = own.last + 1 - np.bincount(own.comp)
        still_to_come = own.cuts[own.comp] - cut_so_far(own.age - 1)
        parts = []
        for cut, chance in ((0.0, 1.0 - told.cutters[c]), (float(told.cut[c]), told.cutters[c])):
            x = (own.ask[own.comp] + cut * still_to_come - value)[:, None] - level
            hazard = np.exp(base[:, None] + log_demand(told.config.demand, x, told.elasticity[c]))
            total = np.add.reduceat(hazard, first, axis=0) - 0.5 * own.sold[:, None] * hazard[own.last]
            start = self._path(style, own.listed, step_day, step) + own.offset
            asked = (own.ask + cut * own.cuts - start)[:, None] - level
            density = sum(
                p / s * np.exp(-(((asked - m) / s) ** 2) / 2)
                for p, m, s in ask_camps(told.config.asks, float(told.ask_centre[c]), float(told.ask_sd[c]))
            )
            parts.append(np.log(chance * density + 1e-300)[:, :, None] - total[:, :, None] * speed)
        log = log + np.logaddexp(*parts).sum(axis=0)
        x = (own.ask - value[own.last])[:, None] - level
        event = base[own.last][:, None] + log_demand(told.config.demand, x, told.elasticity[c])
        log = log + (own.sold[:, None] * event).sum(axis=0)[:, None] + own.sold.sum() * self._log_speed
        if self._kept is not None:
            log = log - self._kept[c][:, DAYS - own.listed].sum(axis=1)
        return np.asarray(log)


def rivals_met(listings: Listings) -> list[Floats]:
    """Return for each listing how many cheaper ones of its style were open on each of its days, up to five."""
    end = np.where(listings.status == 0, DAYS, listings.ended)
    found = [np.zeros(length) for length in end - listings.listed]
    for day in range(1, DAYS + 1):
        active = np.flatnonzero((listings.listed < day) & (day <= end))
        ages = day - listings.listed[active]
        total_cuts = cut_so_far(end[active] - listings.listed[active] - 1)
        ask = listings.ask_last[active] + listings.cuts[active] * (total_cuts - cut_so_far(ages - 1))
        count = np.minimum(cheaper(listings.style[active], ask - listings.offset[active]), MOST_CHEAPER)
        for row, age, number in zip(active, ages, count, strict=True):
            found[row][age - 1] = number
    return found
