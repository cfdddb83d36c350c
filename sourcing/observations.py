"""Comps rows as arrays: money, days, ages and sizes of many items' comps at once, and the words that look odd."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from sourcing.answer import Item
from sourcing.fitting import CategoryFit, Fit, fold
from sourcing.oddities import looks_odd, odd_words
from sourcing.outcomes.mark import is_own

Flags = NDArray[np.bool_]
SOLD = 1
UNDATED_AGE = 0.5  # years: an undated comp counts like one of half a year ago


@dataclass(frozen=True)
class Observations:
    """The M comps of N items, items' rows one after the other; money as floats, days since 1970-01-01, nan unknown.

    Attributes
    ----------
    owner : (M,) item of each row. start : (N + 1,) where each item's rows begin. price : log of what was paid, of what
    was asked where unsold, nan where the row names no price. asked : log of asking price and shipping. gap : how far
    the row's condition lies above the item's, in log price. age : years before the fit's day. days : on the market.
    variant : number of the row's (item, size) group.
    """

    owner: Ints
    start: Ints
    status: Ints
    price: Floats
    asked: Floats
    gap: Floats
    age: Floats
    when: Floats
    listed: Floats
    days: Floats
    same_code: Flags
    same_size: Flags
    variant: Ints
    words: list[str]
    own: Flags  # whether the listing was the user's own

    def of(self, item: int) -> Observations:
        """Return the comps of one item, without the others' memory."""
        mine = slice(int(self.start[item]), int(self.start[item + 1]))
        own: dict[str, Any] = {
            one.name: values[mine].copy() if isinstance(values := getattr(self, one.name), np.ndarray) else values[mine]
            for one in fields(self)
        }
        count = len(own["owner"])
        return Observations(**{**own, "owner": np.zeros(count, dtype=np.int64), "start": np.array([0, count])})

    @property
    def priced(self) -> Flags:
        """Which rows say anything in money."""
        return ~np.isnan(self.price)

    @property
    def suspect(self) -> Flags:
        """Which rows look like lots or damaged pieces."""
        return np.array([bool(word) for word in self.words], dtype=bool)

    @property
    def sold(self) -> Flags:
        """Which rows are sales."""
        return np.asarray(self.status == SOLD)


def observe(fit: Fit, kin: CategoryFit, items: Sequence[Item], rows: Sequence[list[tuple[Any, ...]]]) -> Observations:
    """Lay out the rows of `lookup.COLUMNS_READ` of every item as arrays."""
    size = [len(few) for few in rows]
    start = np.concatenate([[0], np.cumsum(size)]).astype(np.int64)
    owner = np.repeat(np.arange(len(rows)), size)
    flat = list(chain.from_iterable(rows))
    columns = list(zip(*flat, strict=True)) if flat else [()] * 14
    status = np.array(columns[0], dtype=np.int64)
    ask, paid, ship, listed, ended, seen = (np.array(columns[k], dtype=np.float64) for k in (2, 3, 4, 5, 6, 7))
    ship = np.nan_to_num(ship)
    sale = status == SOLD
    amount = np.where(sale, paid, ask)
    with np.errstate(divide="ignore", invalid="ignore"):
        price = np.where((amount > 0) & (amount + ship > 0), np.log((amount + ship) / 100.0), np.nan)
        asked = np.where(ask > 0, np.log((ask + ship) / 100.0), np.nan)
    stop = np.where(status == 0, seen, ended)
    when = np.where(np.isnan(stop), listed, stop)
    wanted = [kin.conditions.get(fold(item.condition or kin.base_condition), 0.0) for item in items]
    own = np.array([kin.conditions.get(fold(text), 0.0) for text in columns[9]], dtype=np.float64)
    number: dict[str, int] = {}
    sizes = np.array([number.setdefault(fold(text), len(number)) for text in columns[8]], dtype=np.int64)
    asked_size = np.array([number.get(fold(item.size), -1) if item.size.strip() else -1 for item in items])
    code = np.array([int(item.gtin) if item.gtin else -1 for item in items], dtype=np.int64)
    codes = np.array([value or 0 for value in columns[1]], dtype=np.int64)
    variant = np.unique(owner * (len(number) + 1) + sizes, return_inverse=True)[1] if flat else sizes
    return Observations(
        owner,
        start,
        status,
        price,
        asked,
        own - np.array(wanted)[owner] if flat else own,
        np.where(np.isnan(when), UNDATED_AGE, np.maximum(fit.as_of - when, 0.0) / 365.25),
        when,
        listed,
        np.maximum(stop - listed, 0.5),
        codes == code[owner],
        sizes == asked_size[owner],
        np.asarray(variant, dtype=np.int64),
        _odd_words(columns[11], columns[12], owner, items),
        np.array([is_own(note) for note in columns[12]], dtype=bool),
    )


def _odd_words(titles: Sequence[str], notes: Sequence[str], owner: Ints, items: Sequence[Item]) -> list[str]:
    """Find the word by which a listing looks like a lot or a damaged piece, unless the item itself says so."""
    words = [""] * len(titles)
    for at, word in odd_words([f"{title} {note}" for title, note in zip(titles, notes, strict=True)]).items():
        item = items[owner[at]]
        if item.title == titles[at] or not looks_odd(item.title):
            words[at] = word
    return words
