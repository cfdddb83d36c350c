"""Occasions drawn where there is no history: items the comps show, at shelf prices as the user describes the stores.

The description is three shares of an item's usual sale price: one tag in ten asks less than the first, half ask less
than the second, nine in ten less than the third. Between them prices are drawn from two half normals in logs that meet
in the middle (two-piece normal, Wallis 2014, Statistical Science 29:106).
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import numpy as np

from models.price import Floats
from models.robust import Z80
from sourcing.answer import Item
from sourcing.comps import lookup
from sourcing.fitting import fold
from sourcing.oddities import looks_odd, odd_words
from sourcing.settings import Settings
from sourcing.storage import Store
from sourcing.tuning.known import Row
from sourcing.tuning.occasions import Found, Occasion

EACH = 800  # occasions a category
_SEED = 952
_FIRST_PART = 0.35  # of the days in the table, before which too little was known to judge anything
_FOLLOWED = 60  # days an occasion must lie back, or nothing can have come of it yet
_APART = 7  # days between two visits
_STOCKED = 60  # days for which a listing says that such items are about
_LISTED = """SELECT p.root, r.category, c.listed, c.size, c.condition, c.title, c.note, r.title
 FROM product p JOIN product r ON r.id = p.root CROSS JOIN comp c ON c.product_id = p.id AND c.out = 0
 WHERE c.listed IS NOT NULL ORDER BY c.listed, p.root, c.key"""


def described(settings: Settings, category: str) -> tuple[Decimal, Decimal, Decimal]:
    """Return the shares of a usual sale price that stores ask, as the settings describe them for a category."""
    own: Mapping[str, Any] = settings.categories.get(fold(category), {})
    low, typical, high = {**settings.default, **own}["rack_prices"]
    return low, typical, high


def draw(store: Store, settings: Settings, categories: set[str]) -> Found:
    """Draw visits to stores on days spread over the later part of the table, for the (folded) categories named."""
    rng = np.random.default_rng(_SEED)
    rows = [row for row in store.read(_LISTED) if fold(row[1]) in categories]
    if not rows:
        return Found((), (), {})
    odd = odd_words([f"{row[5]} {row[6]}" for row in rows])
    rows = [row for at, row in enumerate(rows) if at not in odd or looks_odd(row[7])]
    listed = np.array([row[2] for row in rows], dtype=np.int64)
    newest = _newest(store)
    first = int(np.quantile(listed, 0.02)) if len(listed) else newest
    start, end = first + int(_FIRST_PART * (newest - first)), newest - _FOLLOWED
    visits = np.arange(start, end + 1, _APART)
    if not len(visits):
        return Found((), (), {})
    category = np.array([fold(row[1]) for row in rows])
    drawn: list[tuple[int, Row, float]] = []
    for name in sorted(categories):
        here = np.flatnonzero(category == name)
        shares = _shares(rng, described(settings, name), EACH)
        days = np.sort(rng.choice(visits, EACH))
        low, high = (np.searchsorted(listed[here], bound, side="right") for bound in (days - _STOCKED, days))
        pick = low + np.floor(rng.random(EACH) * (high - low)).astype(np.int64)
        for day, at, some, share in zip(days, pick, high > low, shares, strict=True):
            if some:
                drawn.append((int(day), rows[here[at]], float(share)))
    return _found(store, drawn)


def _shares(rng: np.random.Generator, shares: tuple[Decimal, Decimal, Decimal], count: int) -> Floats:
    low, middle, high = (float(np.log(float(share))) for share in shares)
    z = rng.standard_normal(count) / Z80
    return np.exp(middle + np.where(z < 0, z * (middle - low), z * (high - middle)))


def _newest(store: Store) -> int:
    found = store.read("SELECT max(coalesce(ended, listed, 0)), max(coalesce(seen, 0)) FROM comp WHERE out = 0")[0]
    return max(value or 0 for value in found)


def _found(store: Store, drawn: list[tuple[int, Row, float]]) -> Found:
    roots = {row[0] for _, row, _ in drawn}
    products = lookup.products_of_many(store, roots)
    by_root: dict[int, list[Row]] = {}
    for row in lookup.rows_of_many(store, roots):
        by_root.setdefault(row[0], []).append(row[1:])
    occasions = []
    for day, (root, category, _, size, condition, _, _, title), share in drawn:
        one = products[root]
        label = title or " ".join(part for part in (one.brand, one.style_code) if part)
        item = Item(label, True, root, "", one.style_code, one.brand, category, title, size, condition)
        occasions.append(Occasion(day, item, "drawn", share=share))
    return Found(tuple(occasions), tuple(by_root[one.item.root or 0] for one in occasions), {})
