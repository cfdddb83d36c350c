"""Learn what flags do to the price from the comps that name them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from models.flags import LikeSales, fit_effects
from models.price import Ints, PriceModel
from sourcing.flags.words import MOST_FLAGS, find_flags, without_flags
from sourcing.training import Training


def learn_flags(table: Training, model: PriceModel, phrases: Mapping[str, Sequence[str]]) -> dict[str, Any]:
    """Set marked sales beside unmarked ones of the same style, condition and other flags.

    Parameters
    ----------
    table, model : the sales, and the price model fitted on them. phrases : words in comps by flag.

    Returns
    -------
    A JSON-able mapping by flag, with the fields of `sourcing.flags.effects.FlagFit`.
    """
    phrases = {name: tuple(few) for name, few in list(phrases.items())[:MOST_FLAGS] if few}
    if not phrases:
        return {}
    sold = table.sold
    bits, plain = _marks(table, model, phrases)
    bits, plain, product, category = bits[sold], plain[sold], table.product[sold], table.category[sold]
    y = np.log(table.paid[sold]) - model.trend_.of_rows()
    var = (model.sigma2_ + model.tau_variant2_)[category]
    parts: list[tuple[Any, ...]] = []
    flags, kinds, groups = [], [], 0
    for k in range(len(phrases)):
        marked = (bits >> k) & 1 == 1
        with_it = np.zeros(len(table.titles), dtype=bool)
        with_it[product[marked]] = True
        near = np.flatnonzero(with_it[product])
        like = np.column_stack([product[near], plain[near], bits[near] & ~(1 << k)])
        found, group = np.unique(like, axis=0, return_inverse=True)
        parts.append((y[near], var[near], group.reshape(-1) + groups, marked[near]))
        flags.append(np.full(len(found), k))
        kinds.append(table.cell_category[table.product_cell[found[:, 0]]])
        groups += len(found)
    sales = LikeSales(*(np.concatenate(part) for part in zip(*parts, strict=True)))
    count = len(table.categories)
    effects = fit_effects(sales, np.concatenate(flags), np.concatenate(kinds), len(phrases), count)
    return {
        name: {
            "words": list(few),
            "mean": float(effects.all_mean[k]),
            "var": float(effects.all_var[k]),
            "between2": float(effects.between2[k]),
            "style2": float(effects.style2[k]),
            "effects": {
                category: [float(effects.mean[k, c]), float(effects.var[k, c]), int(effects.count[k, c])]
                for c, category in enumerate(table.categories)
            },
        }
        for k, (name, few) in enumerate(phrases.items())
    }


def _marks(table: Training, model: PriceModel, phrases: Mapping[str, Sequence[str]]) -> tuple[Ints, Ints]:
    """Flags of each row as bits, and the number of its condition with their words taken out: (n,), (n,).

    A condition that says nothing else stands for the category's usual one, as it does where none is asked for.
    """
    stripped = [without_flags(name, phrases) for name in table.conditions]
    number: dict[str, int] = {}
    base = np.array([number.setdefault(name, len(number)) for name, _ in stripped], dtype=np.int64)
    said = np.array([bits for _, bits in stripped], dtype=np.int64)
    nothing_else = np.array([not name and bits > 0 for name, bits in stripped])
    plain = base[table.condition]
    usual = base[model.condition_base_][table.category]
    plain = np.where(nothing_else[table.condition], usual, plain)
    bits = said[table.condition]
    for at, one in find_flags([f"{row[13]}; {row[14]}" for row in table.rows], phrases).items():
        bits[at] |= one
    return bits, plain
