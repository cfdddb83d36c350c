"""The whole comps table as arrays for the fits: indices from 0, days, money as floats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints, PriceRows
from sourcing.fitting import fold
from sourcing.oddities import looks_odd, odd_words

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Training:
    """All n comps; nan where a day or an amount is unknown. ``paid`` and ``asked`` include the shipping charged."""

    categories: list[str]
    cells: list[str]  # "category<tab>brand"
    conditions: list[str]
    titles: list[str]  # (products,)
    category: Ints
    cell: Ints
    product: Ints
    variant: Ints
    condition: Ints
    state: Ints
    listed: Floats
    ended: Floats
    seen: Floats
    asked: Floats
    paid: Floats
    cell_category: Ints
    product_cell: Ints
    variant_product: Ints
    rows: Sequence[tuple[Any, ...]] = ()  # that all this was laid out from

    @property
    def sold(self) -> Flags:
        """Sales whose price is known."""
        return np.asarray(~np.isnan(self.paid))

    @property
    def as_of(self) -> int:
        """The newest day the table knows of."""
        return int(np.nanmax(np.concatenate([self.listed, self.ended, self.seen, [0.0]])))

    @property
    def when(self) -> Floats:
        """Day each row's prices are of: ended, last seen where open, else listed."""
        last = np.where(self.state == 0, self.seen, self.ended)
        return np.where(np.isnan(last), self.listed, last)

    @property
    def duration(self) -> Floats:
        """Days on the market, at least half a day; nan where a day is missing."""
        stop = np.where(self.state == 0, self.seen, self.ended)
        return np.asarray(np.maximum(stop - self.listed, 0.5))

    def priced(self, mask: Flags) -> PriceRows:
        """Return the masked sales for the price model."""
        return PriceRows(
            np.log(self.paid[mask]),
            self.category[mask],
            self.cell[mask],
            self.product[mask],
            self.variant[mask],
            self.condition[mask],
            (self.as_of - self.when)[mask],
            self.cell_category,
            self.product_cell,
            self.variant_product,
            len(self.conditions),
            len(self.categories),
        )


def lay_out(rows: Sequence[tuple[Any, ...]]) -> Training:
    """Lay out rows of (root, brand, category, title of the style, status, ask, sold, ship, listed, ended, seen, size,
    condition, own title, note); rows that look like lots or damaged pieces of a style that is none are left out."""
    rows = _sound(rows)
    root, brand, category, title, status, ask, sold, ship, listed, ended, seen, size, condition, _, _ = zip(
        *rows, strict=True
    )
    categories = sorted({fold(name) for name in category})
    number = {name: index for index, name in enumerate(categories)}
    cat = np.array([number[fold(name)] for name in category], dtype=np.int64)
    cells, cell = _index([f"{fold(c)}\t{fold(b)}" for c, b in zip(category, brand, strict=True)])
    roots, product = _index(list(root))
    title_of = dict(zip(root, title, strict=True))
    variants, variant = _index([(r, fold(s)) for r, s in zip(root, size, strict=True)])
    conditions, cond = _index([fold(c) for c in condition])
    state = np.array(status)
    shipping = np.nan_to_num(_numbers(ship) / 100)
    paid, asked = _numbers(sold) / 100 + shipping, _numbers(ask) / 100
    asked = np.where(asked > 0, asked + shipping, np.nan)
    return Training(
        categories,
        cells,
        conditions,
        [title_of[one] for one in roots],
        cat,
        cell,
        product,
        variant,
        cond,
        state,
        _numbers(listed),
        _numbers(ended),
        _numbers(seen),
        asked,
        np.where((state == 1) & (paid > 0), paid, np.nan),
        _parents(cell, cat, len(cells)),
        _parents(product, cell, len(roots)),
        _parents(variant, product, len(variants)),
        rows,
    )


def _sound(rows: Sequence[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    odd = odd_words([f"{row[13]} {row[14]}" for row in rows])
    kept = [row for at, row in enumerate(rows) if at not in odd or looks_odd(row[3])]
    return kept if any(row[4] == 1 for row in kept) else list(rows)


def _index(keys: list[Any]) -> tuple[list[Any], Ints]:
    seen: dict[Any, int] = {}
    index = np.array([seen.setdefault(key, len(seen)) for key in keys], dtype=np.int64)
    return list(seen), index


def _numbers(values: Sequence[int | None]) -> Floats:
    return np.array(values, dtype=np.float64)


def _parents(child: Ints, parent: Ints, count: int) -> Ints:
    found = np.zeros(count, dtype=np.int64)
    found[child] = parent
    return found
