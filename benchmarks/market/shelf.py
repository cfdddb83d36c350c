"""The shelf: items to judge, across amounts of evidence, at shelf prices near where a buy turns into a pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.market.config import DAYS, HURDLE
from benchmarks.market.dirt import Spoilt, gtin_of, write_rows
from benchmarks.market.draw import CONDITIONS, Market
from benchmarks.market.shapes import Floats, Ints
from sourcing.forecast import costs_of
from sourcing.settings import default_settings
from sourcing.terms import Terms

BUCKETS = ("0", "1-3", "4-12", "13+")
COLUMNS = ("code", "shelf_price", "brand", "category", "title", "size", "condition")
_SHOWN = 0.97  # what a store takes a resale to bring, as a share of its guess of the level
_GUESS_SD, _TAG_SD = 0.18, 0.15  # of the guess, and of the tag around the price at which a buy turns into a pass


@dataclass(frozen=True)
class Shelf:
    """Items on the shelf, arrays (N,)."""

    style: Ints
    size: Ints
    condition: Ints
    offset: Floats  # of condition and size, log
    price: Floats  # the shelf price, to the cent
    own: Ints  # clean sold comps of the style in the files
    bucket: Ints  # place in BUCKETS
    category: Ints
    by_gtin: np.ndarray  # asked for by barcode, otherwise by style code

    def __len__(self) -> int:
        return len(self.style)


def terms_of(market: Market) -> tuple[Terms, ...]:
    """Return the terms of sale of each category, as of a fresh install."""
    settings = default_settings()
    return tuple(settings.for_category(name).terms for name in market.constants.names)


def draw_shelf(market: Market, spoilt: Spoilt, seed: int) -> Shelf:
    """Draw items so that each bucket of evidence holds as many as any other, as far as there are styles for it."""
    rng = np.random.default_rng([954, seed])
    constants, styles, listings = market.constants, market.styles, market.listings
    count, all_styles = constants.config.shelf, len(styles.share)
    sales = spoilt.clean & (listings.status == 1)
    own = np.bincount(listings.style[sales], minlength=all_styles)
    bucket = np.searchsorted(np.array([0, 3, 12]), own)
    groups = [rng.permutation(np.flatnonzero(bucket == b)) for b in range(len(BUCKETS))]
    groups = [group for group in groups if len(group)]
    # A bucket with fewer styles than places shows them again, in other sizes and conditions.
    style = np.concatenate([np.resize(group, -(-count // len(groups))) for group in groups])[:count]
    category = styles.category[style]
    condition = rng.choice(3, count, p=[0.7, 0.15, 0.15])
    size = np.array([rng.integers(len(constants.size[c])) for c in category], dtype=np.int64)
    offset = constants.condition[category, condition] + np.array(
        [constants.size[c][k] for c, k in zip(category, size, strict=True)]
    )
    guess = market.level(style, DAYS) + offset + rng.normal(0.0, _GUESS_SD, count)
    price = np.empty(count)
    for c, terms in enumerate(terms_of(market)):
        here = category == c
        left = costs_of(terms).net(_SHOWN * np.exp(guess[here])) - float(terms.labour()) - HURDLE
        price[here] = left / (1.0 + float(terms.purchase_tax))
    price = np.maximum(constants.config.tag * price, 2.0) * np.exp(rng.normal(0.0, _TAG_SD, count))
    return Shelf(
        style,
        size,
        condition,
        offset,
        np.round(price, 2),
        own[style],
        bucket[style],
        category,
        rng.random(count) < 0.4,
    )


def query_rows(market: Market, shelf: Shelf) -> list[tuple[str, ...]]:
    """Return the shelf list in the columns a list of items has."""
    words = market.styles.words
    rows: list[tuple[str, ...]] = []
    for i, s in enumerate(shelf.style):
        category, size = int(shelf.category[i]), int(shelf.size[i])
        rows.append(
            (
                gtin_of(int(s), size) if shelf.by_gtin[i] else words.code[s],
                f"{shelf.price[i]:.2f}",
                words.brand[s],
                market.constants.names[category],
                words.title[s],
                market.constants.sizes(category)[size],
                CONDITIONS[shelf.condition[i]],
            )
        )
    return rows


def write_shelf(path: object, market: Market, shelf: Shelf) -> None:
    """Write the shelf list as CSV."""
    from pathlib import Path

    write_rows(Path(str(path)), COLUMNS, query_rows(market, shelf))
