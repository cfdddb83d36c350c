"""Other sellers' listings after the as-of day: the rivals an item meets, and the next comparable sale."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from benchmarks.market.config import DAYS
from benchmarks.market.draw import Listings, Market, Styles, draw_listings, listings_of
from benchmarks.market.shapes import Floats, Ints
from benchmarks.market.shelf import Shelf
from benchmarks.market.simulate import MOST_CHEAPER, sell

PATHS = 64  # sampled paths of the rivals' prices; along each the chance of a sale is a closed form
_BEFORE, _AFTER, _SELLERS = 200, 120, 60


def worlds(styles: Styles, style: Ints) -> Styles:
    """Return the styles named as styles of their own, so that listings of one meet none of another."""
    arrays = {
        field.name: getattr(styles, field.name)[style] for field in dataclasses.fields(styles) if field.name != "words"
    }
    return dataclasses.replace(styles, **arrays)


def rival_asks(market: Market, shelf: Shelf, days: int, rng: np.random.Generator) -> np.ndarray:
    """Sample the lowest open asking prices, log over value, each item meets: (N, PATHS, days, MOST_CHEAPER)."""
    constants, styles, listings = market.constants, market.styles, market.listings
    asked, inverse = np.unique(shelf.style, return_inverse=True)
    expanded = worlds(styles, np.repeat(asked, PATHS))
    still: Ints = np.flatnonzero(listings.status == 0)
    place = np.full(len(styles.share), -1)
    place[asked] = np.arange(len(asked))
    still = still[place[listings.style[still]] >= 0]
    # Who is open now is open on every path; luck still to come is drawn anew, as thresholds have no memory.
    again = np.repeat(still, PATHS)
    now = _take(listings, again)
    now.style = place[listings.style[again]] * PATHS + np.tile(np.arange(PATHS), len(still))
    now.threshold = rng.exponential(1.0, len(again))
    more = rng.exponential(constants.leave[expanded.category[now.style]])
    now.leave = np.asarray(DAYS - now.listed + np.ceil(more), dtype=np.float64)
    rate = len(listings.style) / DAYS * expanded.share
    arrivals = np.repeat(np.arange(len(rate)), rng.poisson(rate * days))
    later = draw_listings(rng, constants, expanded, arrivals, DAYS + rng.integers(0, days, len(arrivals)))
    lowest = np.full((days, len(rate), MOST_CHEAPER), np.inf, dtype=np.float32)

    def watch(day: int, style: Ints, x: Floats) -> None:
        order = np.lexsort((x, style))
        groups = style[order]
        rank = np.arange(len(groups)) - np.searchsorted(groups, groups)
        keep = rank < MOST_CHEAPER
        lowest[day - DAYS - 1, groups[keep], rank[keep]] = x[order][keep]

    sell(constants, expanded, _joined(now, later), DAYS + days, since=DAYS, watch=watch)
    paths = lowest.reshape(days, len(asked), PATHS, MOST_CHEAPER).transpose(1, 2, 0, 3)
    return np.ascontiguousarray(paths[inverse])


def count_cheaper(rivals: np.ndarray, x: Floats) -> Floats:
    """Count the cheaper rivals: rivals (n, D, m) against log asking prices over value (n, K, D)."""
    count = np.zeros_like(x)
    for place in range(rivals.shape[2]):
        count += rivals[:, None, :, place] < x
    return count


@dataclass(frozen=True)
class Flow:
    """Sales after the as-of day, arrays (n,) in the order of their days: log of the price paid and of the value."""

    item: Ints  # which of the styles asked for
    category: Ints
    speed: Floats  # log
    sold: Floats
    value: Floats


def sale_flow(
    market: Market,
    style: Ints,
    seed: int,
    size: Ints | None = None,
    condition: Ints | None = None,
) -> Flow:
    """Let sellers of the styles named go on, and return their sales after the as-of day.

    Sellers come as often as the style's own do, in as many separate worlds as it takes for about sixty of them. So a
    quick and cheap listing is met as often as in the market itself. Size and condition are the first ones unless given.
    """
    rng = np.random.default_rng([956, seed])
    constants, styles = market.constants, market.styles
    rate = len(market.listings.style) / DAYS * styles.share[style]
    copies = np.clip(np.ceil(_SELLERS / (rate * (_BEFORE + _AFTER))), 1, _SELLERS).astype(np.int64)
    start = np.cumsum(copies) - copies
    expanded = worlds(styles, np.repeat(style, copies))
    item = np.repeat(np.arange(len(style)), _SELLERS)
    world = start[item] + np.tile(np.arange(_SELLERS), len(style)) % copies[item]
    listed = rng.integers(DAYS - _BEFORE, DAYS + _AFTER, len(item))
    plain = np.zeros(len(style), dtype=np.int64)
    sizes, conditions = plain if size is None else size, plain if condition is None else condition
    listings = listings_of(rng, constants, expanded, world, sizes[item], conditions[item], listed)
    sell(constants, expanded, listings, DAYS + _AFTER)
    order = np.flatnonzero((listings.status == 1) & (listings.ended > DAYS))
    order = order[np.argsort(listings.ended[order], kind="stable")]
    sold, value = listings.sold[order], listings.value[order]
    rows = style[item[order]]
    return Flow(item[order], styles.category[rows], np.log(styles.speed[rows]), sold, value)


def next_sales(market: Market, shelf: Shelf, seed: int) -> Floats:
    """Draw each item's next comparable sale: log of what the buyer pays another seller, (N,); nan where none sold."""
    flow = sale_flow(market, shelf.style, seed, shelf.size, shelf.condition)
    first, where = np.unique(flow.item, return_index=True)
    found = np.full(len(shelf), np.nan)
    found[first] = flow.sold[where]
    return found


def _take(listings: Listings, rows: Ints) -> Listings:
    return Listings(*(getattr(listings, field.name)[rows] for field in dataclasses.fields(listings)))


def _joined(one: Listings, other: Listings) -> Listings:
    names = [field.name for field in dataclasses.fields(one)]
    return Listings(*(np.concatenate([getattr(one, name), getattr(other, name)]) for name in names))
