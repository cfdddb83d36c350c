"""Draw one market: its parameters, its styles and every listing until they have sold, ended or are still open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.market.config import CATEGORIES, DAYS, Config
from benchmarks.market.shapes import Floats, Ints, ask_camps, draw_speeds
from benchmarks.market.words import Words, draw_words

CONDITIONS = ("new", "new, no box", "used")
_CONDITION_SHARES = np.array([0.62, 0.18, 0.20])
FIRST, LAST = -260, DAYS + 260  # days for which levels are known
SIZES = {
    "shoes": ("7", "8", "8.5", "9", "10", "11"),
    "clothing": ("S", "M", "L", "XL"),
}


@dataclass(frozen=True)
class Constants:
    """The parameters drawn for a seed; arrays (C,) by category unless said."""

    config: Config
    condition: Floats  # (C, 3)
    size: list[Floats]  # (C)(sizes of the category,)
    path: Floats  # (C, days from FIRST to LAST): drift, season and turn of the level; 0 on the as-of day
    season: Floats  # (C, days): log hazard by the calendar
    ask_centre: Floats
    ask_sd: Floats
    haggle: Floats
    haggle_sd: Floats
    cutters: Floats
    cut: Floats
    hazard: Floats
    elasticity: Floats
    leave: Floats
    speed_shape: float
    style_sd: Floats

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the categories."""
        return CATEGORIES[: len(self.hazard)]

    def sizes(self, category: int) -> tuple[str, ...]:
        """Return the sizes a category comes in."""
        return SIZES.get(CATEGORIES[category], ("",))


@dataclass(frozen=True)
class Styles:
    """The styles, arrays (S,): ``expected`` is the level by brand and title words, ``level`` the true one on DAYS."""

    category: Ints
    expected: Floats
    level: Floats
    speed: Floats
    share: Floats  # of the listings
    step_day: Ints  # 0: no step
    step: Floats
    words: Words


@dataclass
class Listings:
    """Listings, arrays (n,); the last five are filled in by `simulate.sell`."""

    style: Ints
    size: Ints
    condition: Ints
    listed: Ints
    offset: Floats  # condition and size
    ask: Floats  # log, when listed
    cuts: Floats  # log of each cut; 0: no cutter
    leave: Floats  # days until taken down
    threshold: Floats  # cumulative hazard at which it sells
    haggle: Floats  # log of paid over asked
    status: Ints  # 0 open, 1 sold, 2 ended unsold
    ended: Ints
    ask_last: Floats  # log asking price in force at the end
    sold: Floats  # log of what the buyer paid in all
    value: Floats  # log level on the last day


@dataclass(frozen=True)
class Market:
    """One seed's market."""

    constants: Constants
    styles: Styles
    listings: Listings

    def level(self, style: Ints, day: Ints | int) -> Floats:
        """Log level of styles on days (broadcast), without condition and size."""
        return level_of(self.constants, self.styles, style, day)


def level_of(constants: Constants, styles: Styles, style: Ints, day: Ints | int) -> Floats:
    """Log level of styles on days (broadcast): as of DAYS, moved along the category's path and the style's step."""
    before = np.asarray(day) < styles.step_day[style]
    path = constants.path[styles.category[style], np.asarray(day) - FIRST]
    return np.asarray(styles.level[style] + path - np.where(before, styles.step[style], 0.0))


def draw_constants(rng: np.random.Generator, config: Config) -> Constants:
    """Draw the market's parameters."""
    count = config.categories

    def each(ends: tuple[float, float]) -> Floats:
        return rng.uniform(*ends, count)

    days = np.arange(FIRST, LAST + 1)
    wave = 2 * np.pi * (days[None, :] / 365.25 + rng.random((count, 1)))
    speed_wave = 2 * np.pi * (days[None, :] / 365.25 + rng.random((count, 1)))
    path = each(config.drift)[:, None] * days / 365.25 + each(config.price_season)[:, None] * np.sin(wave)
    path = path + rng.uniform(*config.turn) * np.maximum(days - 220, 0) / 365.25
    path -= path[:, [DAYS - FIRST]]
    condition = np.stack([np.zeros(count), each(config.no_box), each(config.used)], axis=1)
    size_sd = each(config.size_sd)
    sizes = [rng.normal(0, size_sd[c], len(SIZES.get(CATEGORIES[c], ("",)))) for c in range(count)]
    return Constants(
        config,
        condition,
        [size - size.mean() for size in sizes],
        path,
        each(config.speed_season)[:, None] * np.sin(speed_wave),
        each(config.ask_centre),
        each(config.ask_sd),
        each(config.haggle),
        each(config.haggle_sd),
        each(config.cutters),
        each(config.cut),
        each(config.hazard),
        each(config.elasticity),
        each(config.leave),
        float(rng.uniform(*config.speed_shape)),
        each(config.style_sd),
    )


def draw_styles(rng: np.random.Generator, constants: Constants) -> Styles:
    """Draw the styles and the words that carry part of their value."""
    config = constants.config
    count = config.styles
    category = rng.choice(config.categories, count, p=rng.dirichlet(np.full(config.categories, 8.0)))
    words = draw_words(rng, config, category)
    base = rng.uniform(*config.level, config.categories)
    expected = base[category] + words.value
    stepped = rng.random(count) < config.steps
    return Styles(
        category,
        expected,
        expected + constants.style_sd[category] * rng.standard_normal(count),
        draw_speeds(rng, config.speeds, constants.speed_shape, count),
        _shares(rng, config, count),
        np.where(stepped, rng.integers(60, DAYS - 20, count), 0),
        np.where(stepped, rng.choice([-config.step, config.step], count), 0.0),
        words,
    )


def _shares(rng: np.random.Generator, config: Config, count: int) -> Floats:
    share = np.exp(rng.uniform(*config.rate_spread) * rng.standard_normal(count))
    return np.asarray(share / share.sum())


def draw_listings(
    rng: np.random.Generator, constants: Constants, styles: Styles, style: Ints, listed: Ints
) -> Listings:
    """Draw sellers' listings of the styles named, on the days named; not yet sold."""
    category, n = styles.category[style], len(style)
    condition = rng.choice(3, n, p=_CONDITION_SHARES)
    size = np.floor(rng.random(n) * np.array([len(each) for each in constants.size])[category]).astype(np.int64)
    return listings_of(rng, constants, styles, style, size, condition, listed)


def listings_of(
    rng: np.random.Generator,
    constants: Constants,
    styles: Styles,
    style: Ints,
    size: Ints,
    condition: Ints,
    listed: Ints,
) -> Listings:
    """Draw what sellers of given items ask, how they cut and haggle, and when they give up."""
    category, n = styles.category[style], len(style)
    widest = max(len(each) for each in constants.size)
    effects = np.array([np.pad(each, (0, widest - len(each))) for each in constants.size])
    offset = constants.condition[category, condition] + effects[category, size]
    camp, z = rng.random(n), rng.standard_normal(n)
    x = np.empty(n)
    for c in range(len(constants.hazard)):
        here = category == c
        camps = ask_camps(constants.config.asks, constants.ask_centre[c], constants.ask_sd[c])
        which = np.searchsorted(np.cumsum([share for share, _, _ in camps])[:-1], camp[here])
        x[here] = np.array([m for _, m, _ in camps])[which] + np.array([s for _, _, s in camps])[which] * z[here]
    cutter = rng.random(n) < constants.cutters[category]
    blank = np.zeros(n)
    return Listings(
        style,
        size,
        condition,
        listed,
        offset,
        level_of(constants, styles, style, listed) + offset + x,
        np.where(cutter, constants.cut[category], 0.0),
        np.ceil(np.maximum(rng.exponential(constants.leave[category]), 5.0)),
        rng.exponential(1.0, n),
        np.minimum(constants.haggle[category] + constants.haggle_sd[category] * rng.standard_normal(n), 0.0),
        np.zeros(n, dtype=np.int64),
        np.zeros(n, dtype=np.int64),
        blank.copy(),
        blank.copy(),
        blank.copy(),
    )


def draw_market(config: Config, seed: int) -> Market:
    """Draw a market and let it run from its first day to DAYS; the same seed gives the same market."""
    from benchmarks.market.simulate import sell

    rng = np.random.default_rng([952, seed])
    constants = draw_constants(rng, config)
    styles = draw_styles(rng, constants)
    count = int(rng.integers(config.listings[0], config.listings[1] + 1))
    style = rng.choice(len(styles.share), count, p=styles.share)
    listings = draw_listings(rng, constants, styles, style, rng.integers(0, DAYS, count))
    sell(constants, styles, listings, DAYS)
    return Market(constants, styles, listings)
