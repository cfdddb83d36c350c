"""The level of many items at once: prior from their kin, updated by their own comps with robust weights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from models.robust import student_weights
from models.wander import own_levels

SET_ASIDE_AT = 3.5  # standardised distance, the cut-off of Iglewicz & Hoaglin 1993


@dataclass(frozen=True)
class Level:
    """Posterior of log price of N items; ``weight`` and ``aside`` are per comp, ``distance`` is standardised."""

    mean: Floats
    var: Floats
    weight: Floats
    aside: NDArray[np.bool_]
    distance: Floats


def item_levels(
    prior_mean: Floats,
    prior_var: Floats,
    variant_var: Floats,
    item: Ints,
    z: Floats,
    noise_var: Floats,
    same_variant: NDArray[np.bool_],
    variant: Ints,
    suspect: NDArray[np.bool_],
    age: Floats | None = None,
    walk2: float = 0.0,
) -> Level:
    """Update each item's prior by its comps, in closed form given the weights.

    Parameters
    ----------
    prior_mean, prior_var, variant_var : (N,) prior of the style's level; variance between its variants.
    item : (M,) which item each comp speaks for. z : (M,) log price brought to today and the item's condition.
    noise_var : (M,) variance of one such comp. same_variant : (M,) whether it is of the very size asked for.
    variant : (M,) number of the comp's (item, size) group: sales of one other size share one departure from the style.
    suspect : (M,) comps whose text says lot, damaged ...: set aside at a smaller distance.
    age : (M,) years, needed where styles' levels wander by the variance ``walk2`` a year (see ``wander.py``).

    Notes
    -----
    Student weights by iterated reweighting (Lange, Little & Taylor 1989). The start is the median of the item's
    own comps where it has three or more, so that a lone wild one cannot pull the start towards itself.
    """
    count = len(prior_mean)
    total_var = noise_var + np.where(same_variant, 0.0, variant_var[item])
    centre = _start(prior_mean, prior_var, item, z, total_var)
    aside = np.zeros(len(z), dtype=bool)
    weight = np.ones(len(z))
    distance = np.zeros(len(z))
    mean, var = prior_mean, prior_var + variant_var
    groups = int(variant.max()) + 1 if len(variant) else 0
    group_item = np.zeros(groups, dtype=np.int64)
    group_item[variant] = item
    group_same = np.zeros(groups, dtype=bool)
    group_same[variant] = same_variant
    step = variant_var[group_item]
    # A fixed number of rounds, so that an item's answer does not depend on what else is in the list.
    for _ in range(12):
        distance = (z - centre[item]) / np.sqrt(total_var)
        aside = (np.abs(distance) > SET_ASIDE_AT) | (suspect & (np.abs(distance) > 1.5))
        weight = np.where(aside, 0.0, student_weights(distance, 1.0))
        precision = np.bincount(variant, weight / noise_var, groups)
        pull = np.bincount(variant, weight / noise_var * z, groups)
        others = np.where(group_same, 0.0, 1.0 / (1.0 + step * precision))
        style = 1.0 / prior_var + np.bincount(group_item, others * precision, count)
        style_mean = (prior_mean / prior_var + np.bincount(group_item, others * pull, count)) / style
        base = 1.0 / (1.0 / style + variant_var)
        var = 1.0 / (base + np.bincount(group_item, group_same * precision, count))
        mean = (base * style_mean + np.bincount(group_item, group_same * pull, count)) * var
        centre = mean
    if walk2 > 0 and age is not None and len(z):
        # Wandering, all sizes of a style go together: what the sizes differ by is as sure as before.
        through = 1.0 / (1.0 + step * precision)
        whole = 1.0 / prior_var + np.bincount(group_item, through * precision, count)
        centre = (prior_mean / prior_var + np.bincount(group_item, through * pull, count)) / whole
        own_way = through * step * (pull - precision * centre[group_item])
        plain = z - own_way[variant]
        still = own_levels(prior_mean, prior_var, item, age, plain, weight / noise_var, 0.0)
        walked = own_levels(prior_mean, prior_var, item, age, plain, weight / noise_var, walk2)
        mean, var = mean + walked[0] - still[0], var + walked[1] - still[1]
    return Level(mean, var, weight, aside, distance)


def _start(prior_mean: Floats, prior_var: Floats, item: Ints, z: Floats, total_var: Floats) -> Floats:
    count = len(prior_mean)
    if not len(z):
        return prior_mean
    own = np.bincount(item, 1.0 / total_var, count)
    mean = (prior_mean / prior_var + np.bincount(item, z / total_var, count)) / (1.0 / prior_var + own)
    order = np.lexsort((z, item))
    size = np.bincount(item, minlength=count)
    first = np.cumsum(size) - size
    thick = size >= 3
    low = z[order][np.minimum(first + (size - 1) // 2, len(z) - 1)]
    high = z[order][np.minimum(first + size // 2, len(z) - 1)]
    return np.where(thick, (low + high) / 2, mean)
