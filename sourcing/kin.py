"""What an item's kin tell of it before its own comps: its brand, its category, or all categories together."""

from __future__ import annotations

import numpy as np

from models.features import title_offset
from sourcing.answer import Item
from sourcing.fitting import CategoryFit, Fit, fold


def prior_level(fit: Fit, category: str, kin: CategoryFit, item: Item) -> tuple[float, float]:
    """Mean and variance of an item's level before its own comps: its condition, brand, category and title's words."""
    shift = kin.conditions.get(fold(item.condition or kin.base_condition), 0.0)
    shift += title_offset(fit.words, item.title, category)
    style2 = kin.tau_style2 if item.known else kin.tau_unseen2
    cell = fit.cells.get(f"{category}\t{fold(item.brand)}")
    if cell is not None and (item.brand or item.known):
        return cell[0] + shift, cell[1] + style2
    if category in fit.categories:
        return kin.mu + shift, kin.mu_var + kin.tau_brand2 + style2
    return fit.grand[0] + shift, fit.grand[1] + kin.tau_brand2 + style2


def category_alone(kin: CategoryFit) -> float:
    """Variance of the level of an item of which nothing but the category is known."""
    return kin.mu_var + kin.tau_brand2 + kin.tau_unseen2 + kin.tau_variant2


def pooled(fit: Fit) -> CategoryFit:
    """Stand in for an unknown category: the average of the known ones, weighted by their sales."""
    kinds = list(fit.categories.values())
    weight = np.array([max(kind.sold, 1) for kind in kinds], dtype=float)
    weight /= weight.sum()

    def mean(name: str) -> float:
        return float(sum(w * getattr(kind, name) for w, kind in zip(weight, kinds, strict=True)))

    def means(name: str) -> tuple[float, float]:
        both = weight @ np.array([getattr(kind, name) for kind in kinds], dtype=float)
        return float(both[0]), float(both[1])

    # Only what every category has shown counts as seen; where they share nothing, a middle of them must do.
    low, high = max(kind.asks_seen[0] for kind in kinds), min(kind.asks_seen[1] for kind in kinds)
    rates = [kind.rate for kind in kinds if kind.rate is not None]
    return CategoryFit(
        fit.grand[0],
        fit.grand[1],
        mean("sigma2"),
        mean("tau_variant2"),
        mean("tau_style2"),
        mean("tau_unseen2"),
        mean("tau_brand2"),
        (0.0,),
        kinds[0].base_condition,
        {},
        means("haggle"),
        means("ask"),
        tuple(float(v) for v in np.mean(rates, axis=0)) if rates else None,
        min(kind.horizon for kind in kinds),
        0,
        0,
        "all categories together",
        tuple(float(v) for v in np.mean([kind.season for kind in kinds], axis=0)),
        tuple(float(v) for v in np.mean([kind.response for kind in kinds], axis=0)),
        (low, high) if low < high else means("asks_seen"),
    )
