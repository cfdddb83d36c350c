"""Time to sell: piecewise-exponential hazard with a flexible response to the asking price and a frailty by style.

The log hazard of a listing at age t, calendar day d and log asking price over its level x is

    shape[piece of t] + category + g[category](x) + season(d) + walk(d) + log u[product],

g a power law (slope times x) that hinges may bend, falling everywhere; u the style's speed. Unsold listings are
right-censored. Everything shrinks towards the textbook: normal priors at the power law, one slope for all
categories, no season. Sources: Holford 1980 and Laird & Olivier 1981 for the Poisson form; Clayton 1991 for frailty
by EM; Eilers & Marx 1996 for penalised splines.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from models.blocks import Blocks
from models.contrast import SLOPE, SLOPE_SD, Contrast
from models.effects import WALK_PERIODS, Layout
from models.frailty import Mixture, fit_shape, gamma_mixture
from models.price import Floats, Ints
from models.response import EDGES, GRID, Response, average_slope, basis
from models.season import PERIOD, harmonics

CUTS = np.array([0.0, 7.0, 14.0, 30.0, 60.0, 120.0])


@dataclass(frozen=True)
class Listings:
    """Listings as arrays of length n.

    Attributes
    ----------
    duration : days on the market. sold : 1, or 0 when censored. x : (n,) log asking price over level. listed : day
    listed, any origin. extra : (n, p) further covariates, or None. weight : (n,) how many such listings a row stands
    for, or None for one each.
    """

    duration: Floats
    sold: Floats
    x: Floats
    category: Ints
    product: Ints
    categories: int
    listed: Floats
    extra: Floats | None = None
    weight: Floats | None = None


@dataclass
class SpeedModel:
    """Fit the hazard; fitted values end in an underscore.

    ``rate_`` (categories, pieces) is the daily hazard at x = 0, speed 1 and no season, at the market's latest pace;
    ``responses_`` one `Response` a category; ``slope_`` and ``slope_se_`` the common power law and its standard error,
    ``slopes_`` and ``slopes_se_`` (categories,) each category's;
    ``season_`` (categories, 4) harmonics; ``mixture_`` the speeds; ``extra_`` (p,) effects of further covariates.
    """

    rounds: int = 12
    cuts: Floats = field(default_factory=lambda: CUTS)
    rate_: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    responses_: list[Response] = field(default_factory=list)
    slope_: float = SLOPE
    slope_se_: float = SLOPE_SD
    slopes_: Floats = field(default_factory=lambda: np.zeros(0))
    slopes_se_: Floats = field(default_factory=lambda: np.zeros(0))
    season_: Floats = field(default_factory=lambda: np.zeros((0, 4)))
    season_se_: Floats = field(default_factory=lambda: np.zeros((0, 4)))
    shape_: float = 2.0
    mixture_: Mixture = field(default_factory=lambda: gamma_mixture(2.0))
    extra_: Floats = field(default_factory=lambda: np.zeros(0))
    speeds_: Floats = field(default_factory=lambda: np.zeros(0))

    def fit(self, rows: Listings, told: Contrast | None = None) -> SpeedModel:
        """Fit on listings; ``told`` gives the response to the asking price from outside.

        Raises
        ------
        ValueError
            No listing sold: there is no hazard to fit.
        """
        if rows.sold.sum() == 0:
            raise ValueError("no sold listing with a duration")
        from scipy.sparse import csr_array

        cell, design, layout = self._cells(rows)
        if told is not None:
            layout.take(told)
        weight = np.ones(len(rows.duration)) if rows.weight is None else rows.weight
        exposure = pieces_exposure(rows.duration, self.cuts) * weight[:, None]
        spent = exposure > 0
        # Counted, not sorted: cells are few beside the rows, and most pieces of age are never reached.
        live = np.flatnonzero(np.bincount(cell[spent]))
        place = np.zeros(int(cell.max()) + 1, dtype=np.int32)
        place[live] = np.arange(len(live))
        number = place[cell]
        products = int(rows.product.max()) + 1
        # A row a listing, in their order: put together by product it would have to be sorted, which takes longer.
        reached = np.append(0, np.cumsum(spent.sum(axis=1)))
        by_listing = csr_array((exposure[spent], number[spent], reached), shape=(len(number), len(live)))
        last = np.searchsorted(self.cuts, np.maximum(rows.duration, 1e-9), side="left") - 1
        events = np.bincount(number[np.arange(len(last)), last], rows.sold, len(live)).astype(np.float64)
        product_events = np.bincount(rows.product, rows.sold, products).astype(np.float64)
        matrix = design(live)
        beta = np.zeros(layout.width)
        beta[layout.pieces] = np.log(max(rows.sold.sum() / rows.duration.sum(), 1e-6))
        beta[layout.slope] = SLOPE
        speeds = np.ones(products)
        for round_ in range(self.rounds):
            expected = np.asarray(by_listing.T @ speeds[rows.product])
            likelihood = _Likelihood(matrix, events, expected, layout)
            beta = _maximise(likelihood, beta)
            found = by_listing @ np.exp(matrix.times(beta))
            hazard = np.bincount(rows.product, found, products).astype(np.float64)
            self.shape_ = fit_shape(product_events, hazard)
            start = gamma_mixture(self.shape_)
            self.mixture_ = start
            if round_ >= self.rounds // 2:
                for _ in range(5):
                    self.mixture_ = self.mixture_.bent(product_events, hazard, start)
            speeds = self.mixture_.posterior(product_events, hazard)[0]
        self.speeds_ = speeds
        whole = np.asarray(np.linalg.inv(likelihood.curvature(beta)), dtype=np.float64)
        self.season_se_ = layout.season_error(whole)
        self._keep(beta, whole if told is None else layout.spread(told), layout, rows)
        return self

    def _cells(self, rows: Listings) -> tuple[Ints, Callable[[Ints], Blocks], Layout]:
        """Group exposure into cells of like hazard: numbers (n, pieces), and the design of the live ones."""
        pieces, n = len(self.cuts), len(rows.duration)
        middle = self.cuts + np.append(np.diff(self.cuts), self.cuts[-1]) / 2
        # In place: at a million listings each pass over all pieces of their ages shows.
        period = rows.listed[:, None] + middle
        period /= PERIOD
        np.floor(period, out=period)
        period[np.isnan(rows.listed)] = 0.0
        # Beyond the newest day there is no time on the market, so no cell either.
        newest = np.nanmax(np.append(rows.listed + rows.duration, 0.0))
        first = int(min(period[:, 0].min(initial=np.inf), newest // PERIOD))
        periods = max(int(newest // PERIOD) - first + 1, 1)
        period -= first
        np.clip(period, 0, periods - 1, out=period)
        x_bin = np.clip(np.digitize(np.clip(rows.x, EDGES[0], EDGES[-1] - 1e-9), EDGES) - 1, 0, len(EDGES) - 2)
        bins = len(EDGES) - 1
        unit = rows.category if rows.extra is None else np.arange(n)
        cell = period.astype(np.int64)
        cell += np.arange(pieces) * periods
        cell += ((unit * bins + x_bin) * (pieces * periods))[:, None]
        total = np.bincount(x_bin, rows.x, bins)
        count = np.bincount(x_bin, minlength=bins)
        centre = np.where(count > 0, np.clip(total / np.maximum(count, 1), EDGES[:-1], EDGES[1:]), GRID)
        layout = Layout.of(pieces, rows.categories, periods, 0 if rows.extra is None else rows.extra.shape[1])
        layout.first = first

        def laid_out(live: Ints) -> Floats:
            at_period = live % periods
            piece = live // periods % pieces
            at_x = live // (periods * pieces) % bins
            who = live // (periods * pieces * bins)
            category = who if rows.extra is None else rows.category[who]
            found = np.zeros((len(live), layout.width))
            each = np.arange(len(live))
            found[each, piece] = 1.0
            found[each, layout.categories.start + category] = 1.0
            shape = basis(centre[at_x])
            found[:, layout.slope] = shape[:, 0]
            found[each, layout.own_slopes.start + category] = shape[:, 0]
            found[:, layout.hinges] = shape[:, 1:]
            found[:, layout.season] = harmonics(np.asarray((at_period + first + 0.5) * PERIOD, dtype=np.float64))
            for wave in range(4):
                found[each, layout.own_season.start + 4 * category + wave] = found[:, layout.season.start + wave]
            found[each, layout.walk.start + at_period // WALK_PERIODS] = 1.0
            if rows.extra is not None:
                found[:, layout.extra] = rows.extra[who]
            return found

        def design(live: Ints) -> Blocks:
            who = live // (periods * pieces * bins)
            category = who if rows.extra is None else rows.category[who]
            return Blocks.of(category, layout.width, lambda some: laid_out(live[some]))

        return cell, design, layout

    def _keep(self, beta: Floats, covariance: Floats, layout: Layout, rows: Listings) -> None:
        pace = beta[layout.walk][-1]
        self.rate_ = np.exp(beta[layout.categories][:, None] + beta[layout.pieces][None, :] + pace)
        self.season_ = beta[layout.season] + beta[layout.own_season].reshape(-1, 4)
        known = rows.x
        line = average_slope(*np.quantile(known, [0.05, 0.95]))
        own = slice(layout.slope, layout.slope + 1), layout.hinges
        columns = np.concatenate([np.arange(part.start, part.stop) for part in own])
        self.slope_ = float(line @ beta[columns])
        self.slope_se_ = float(np.sqrt(line @ covariance[np.ix_(columns, columns)] @ line))
        self.slopes_ = self.slope_ + beta[layout.own_slopes]
        # A category's own slope is the common one and its departure, which pull against each other.
        each = np.zeros((rows.categories, layout.width))
        each[:, columns] = line
        each[np.arange(rows.categories), np.arange(layout.own_slopes.start, layout.own_slopes.stop)] = 1.0
        self.slopes_se_ = np.sqrt(np.einsum("cw,wv,cv->c", each, covariance, each))
        # The common slope is the listings' mean one: with few categories their departures hold part of it.
        self.slope_ = float(np.mean(self.slopes_[rows.category]))
        self.extra_ = beta[layout.extra]
        self.responses_ = []
        for category in range(rows.categories):
            here = rows.category == category
            first = float(beta[layout.slope] + beta[layout.own_slopes][category])
            self.responses_.append(
                Response.of(first, beta[layout.hinges], float(self.slopes_[category]), self.slope_se_, known[here])
            )


class _Likelihood:
    """The Poisson likelihood of the cells times the normal priors: loss, gradient and curvature by the effects.

    ``near`` is the length of the gradient from which on the effects are taken for the best.
    """

    def __init__(self, matrix: Blocks, events: Floats, expected: Floats, layout: Layout) -> None:
        self._matrix, self._events, self._expected, self._layout = matrix, events, expected, layout
        # A gradient is known to about the root of the events: of that a ten-thousandth is small beside every error.
        self.near = max(1e-4, 1e-4 * float(np.sqrt(events.sum())))
        self._beta = self._rate = self._gradient = np.zeros(0)
        self._loss = 0.0
        self._last: Floats | None = None  # the curvature that was worked out last

    def loss(self, beta: Floats) -> tuple[float, Floats]:
        """Return what is least at the best effects, and its gradient."""
        if not np.array_equal(beta, self._beta):  # it is asked for at one place more than once
            log, away = self._matrix.times(beta), beta - self._layout.mean
            pull = self._layout.precision @ away
            self._beta, self._rate = beta.copy(), self._expected * np.exp(np.minimum(log, 30.0))
            self._loss = float(self._rate.sum() - self._events @ log + 0.5 * away @ pull)
            self._gradient = self._matrix.back(self._rate - self._events) + pull
        return self._loss, self._gradient

    def curvature(self, beta: Floats) -> Floats:
        """Return the second derivatives of the loss."""
        self.loss(beta)
        return self._matrix.squared(self._rate) + self._layout.precision

    def on_the_way(self, beta: Floats) -> Floats:
        """Return the curvature; where the search ends, that of the step before, as it asks for one and does nothing."""
        if self._last is None or float(np.linalg.norm(self.loss(beta)[1])) >= self.near:
            self._last = self.curvature(beta)
        return self._last


def _maximise(likelihood: _Likelihood, start: Floats) -> Floats:
    """Return the effects at which the likelihood is greatest."""
    from scipy.optimize import minimize

    found = minimize(
        likelihood.loss, start, jac=True, hess=likelihood.on_the_way, method="trust-exact",
        options={"maxiter": 50, "gtol": likelihood.near},
    )  # fmt: skip
    return np.asarray(found.x)


def pieces_exposure(duration: Floats, cuts: Floats = CUTS) -> Floats:
    """Split n durations in days into time spent in each piece between ``cuts``: shape (n, pieces)."""
    upper = np.append(cuts[1:], np.inf)
    spent: Floats = np.clip(duration[:, None] - cuts[None, :], 0.0, (upper - cuts)[None, :])
    return spent


def cumulative(rate: Floats, days: Floats) -> Floats:
    """Return the cumulative hazard at ``days`` (T,) for rates (..., pieces): shape (..., T)."""
    return rate @ pieces_exposure(days).T
