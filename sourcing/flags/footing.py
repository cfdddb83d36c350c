"""Comps and items on one footing: a comp that names a flag, beside an item that has it or has not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from sourcing.answer import Item
from sourcing.fitting import CategoryFit, Fit, fold
from sourcing.flags.words import find_flags, without_flags


@dataclass(frozen=True)
class Footing:
    """Which of K flags that move the price M comps name and N items have.

    Attributes
    ----------
    effect, var : (K,) on log price of a style, and its variance. named : (M, K). marked : (N, K).
    """

    effect: Floats
    var: Floats
    named: NDArray[np.bool_]
    marked: NDArray[np.bool_]

    def gap(self, owner: Ints) -> Floats:
        """How far each comp lies above its item for its flags, in log price: (M,)."""
        return np.asarray((self.named.astype(float) - self.marked[owner]) @ self.effect)

    @property
    def of_items(self) -> Floats:
        """What their flags do to the items' level: (N,)."""
        return np.asarray(self.marked @ self.effect)

    def carried(self, owner: Ints, precision: Floats, prior_precision: Floats) -> Floats:
        """Variance of the items' level that comes of not knowing the effects exactly: (N,).

        Parameters
        ----------
        precision : (M,) of each comp. prior_precision : (N,).

        Notes
        -----
        A level that rests on comps with the flag themselves needs no moving, so that only the difference counts.
        """
        count = len(prior_precision)
        whole = prior_precision + np.bincount(owner, precision, count)
        apart = self.marked.astype(float)
        for k in range(len(self.effect)):
            apart[:, k] -= np.bincount(owner, precision * self.named[:, k], count) / whole
        return np.asarray(apart**2 @ self.var)


def said_by_condition(kin: CategoryFit, condition: str, phrases: Mapping[str, Sequence[str]]) -> int:
    """Return the bits of the flags that a condition, "" the usual one, says itself and was learnt with."""
    return _said_by_conditions(kin, phrases).get(fold(condition or kin.base_condition), 0)


def _said_by_conditions(kin: CategoryFit, phrases: Mapping[str, Sequence[str]]) -> dict[str, int]:
    return {name: without_flags(name, phrases)[1] for name in kin.conditions}


def footing(
    fit: Fit,
    category: str,
    kin: CategoryFit,
    items: Sequence[Item],
    rows: Sequence[list[tuple[Any, ...]]],
    suspect: NDArray[np.bool_],
) -> Footing | None:
    """Find the flags of comps (rows of `lookup.COLUMNS_READ`) and items; None where none moves a price.

    A condition that says the flag itself was learnt as a condition and moves the price as one; so it is not counted
    again. What looks like a lot or damaged (``suspect``) stays where it is.
    """
    effects = {name: found for name, one in fit.flags.items() if (found := one.of(category)).claimed}
    if not effects:
        return None
    phrases = {name: fit.flags[name].words for name in effects}
    flat = [row for few in rows for row in few]
    known = _said_by_conditions(kin, phrases)
    bits = np.zeros(len(flat), dtype=np.int64)
    for at, one in find_flags([f"{row[11]}; {row[12]}" for row in flat], phrases).items():
        bits[at] = one & ~known.get(fold(flat[at][9]), 0)
    bits[suspect] = 0
    marked = np.array(
        [
            [name in item.flags and not known.get(fold(item.condition or kin.base_condition), 0) >> k & 1
             for k, name in enumerate(effects)]
            for item in items
        ]
    )  # fmt: skip
    named = (bits[:, None] >> np.arange(len(effects))) & 1 == 1
    if not named.any() and not marked.any():
        return None
    moved = np.array([one.mean for one in effects.values()])
    var = np.array([one.var + fit.flags[name].style2 for name, one in effects.items()])
    return Footing(moved, var, named, marked)
