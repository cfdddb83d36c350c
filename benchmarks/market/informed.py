"""The informed reader: every constant and shape of the market is known, and only an item's level and speed inferred.

It shows what the evidence allows. Its expectations are over the posterior, so what it promises is what it gets. The
textbook reader is the same with the shapes of a textbook, and constants that fit them best.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from benchmarks.market.answers import CHANCES, blank
from benchmarks.market.config import HORIZONS, HURDLE
from benchmarks.market.dirt import Spoilt
from benchmarks.market.draw import Constants, Market
from benchmarks.market.posterior import Reader
from benchmarks.market.prospect import Prospect, deals_of, usual_gap
from benchmarks.market.rivals import PATHS, sale_flow
from benchmarks.market.shapes import Floats, Ints
from benchmarks.market.shelf import Shelf

_DRAWS, _SALES = 128, 2048
_SPEED_BINS = 5
QUANTILES = {"q05": 0.05, "q10": 0.10, "q50": 0.50, "q90": 0.90, "q95": 0.95}


def answer(
    market: Market,
    spoilt: Spoilt,
    shelf: Shelf,
    seed: int,
    rivals: np.ndarray | None = None,
    told: Constants | None = None,
    draws: int = _DRAWS,
) -> pd.DataFrame:
    """Answer the list; ``told`` replaces the true constants and shapes, ``rivals`` are the paths to reckon with."""
    told = told or market.constants
    rng = np.random.default_rng([957, seed])
    if not told.config.undercut:
        rivals = None
    count = PATHS if rivals is not None else draws
    reader = Reader(told, market, spoilt)
    styles, inverse = np.unique(shelf.style, return_inverse=True)
    pairs = [reader.draws(int(style), count, rng) for style in styles]
    # One order for all, at random: rivals' paths are taken one a draw.
    order = rng.permutation(count)
    level = np.stack([pair[0] for pair in pairs])[inverse][:, order] + shelf.offset[:, None]
    speed = np.stack([pair[1] for pair in pairs])[inverse][:, order]
    n = len(shelf)
    prospect = Prospect(
        told,
        deals_of(market),
        usual_gap(market),
        np.repeat(shelf.category, count),
        np.repeat(shelf.price, count),
        level.ravel(),
        speed.ravel(),
        None if rivals is None else rivals.reshape(n * count, 1, *rivals.shape[2:]),
    )
    ask, profit = _best(prospect, level, n, count)
    found = blank(n)
    found["ask"], found["profit"] = ask, profit
    found["decision"] = np.where(profit >= HURDLE, "buy", "pass")
    unsold = prospect.unsold(np.repeat(ask, count), HORIZONS).reshape(n, count, len(HORIZONS))
    found[list(CHANCES)] = 1.0 - unsold.mean(axis=1)
    sales = _sales(market, told, shelf.category, level, speed, rng, seed)
    for name, share in QUANTILES.items():
        found[name] = np.exp(np.quantile(sales, share, axis=1))
    return found


def _best(prospect: Prospect, level: Floats, n: int, count: int) -> tuple[Floats, Floats]:
    """Find the asking price of the greatest expected profit over each item's draws."""
    rows, centre = np.arange(n), level.mean(axis=1)
    for steps in (np.linspace(-0.5, 1.0, 17), np.linspace(-0.07, 0.07, 5)):
        ask = np.exp(centre[:, None] + steps)
        profit = prospect.profit(np.repeat(ask, count, axis=0)).reshape(n, count, len(steps)).mean(axis=1)
        pick = profit.argmax(axis=1)
        centre, best = centre + steps[pick], profit[rows, pick]
    return np.exp(centre), best


def _sales(
    market: Market, told: Constants, category: Ints, level: Floats, speed: Floats, rng: np.random.Generator, seed: int
) -> Floats:
    """Draw next comparable sales, log: levels from the posterior, and over them what sales of such speeds show."""
    believed = dataclasses.replace(market, constants=told)
    style = rng.integers(len(market.styles.share), size=len(level) + 600)
    shown = sale_flow(believed, style, seed)
    gap, kind = shown.sold - shown.value, shown.category
    found = np.empty((len(level), _SALES))
    each = np.resize(np.arange(level.shape[1]), _SALES)
    for c in np.unique(category):
        pool, pool_speed = gap[kind == c], shown.speed[kind == c]
        edges = np.quantile(pool_speed, np.linspace(0, 1, _SPEED_BINS + 1)[1:-1])
        sorted_pool = [pool[np.searchsorted(edges, pool_speed) == b] for b in range(_SPEED_BINS)]
        for i in np.flatnonzero(category == c):
            bins = np.searchsorted(edges, speed[i, each])
            luck = rng.random(_SALES)
            for b in np.unique(bins):
                here = bins == b
                found[i, here] = level[i, each[here]] + _picked(sorted_pool[b], pool, luck[here])
    return found


def _picked(some: Floats, otherwise: Floats, luck: Floats) -> Floats:
    values = some if len(some) >= 30 else otherwise
    return np.asarray(values[(luck * len(values)).astype(np.int64)])
