"""What a flaw that listings name does to the price: contrasts within like comps, partially pooled.

Comps of one style that name the flag are set beside those that do not and are alike otherwise, so that neither the
style's level, nor that cheap styles carry the flag more often, bends the answer. The contrasts are pooled as a tree,

    contrast of like comps ~ effect in the category ~ effect of the flag ~ 0,

each step normal, with closed-form empirical-Bayes weights (Efron & Morris 1975, JASA 70:311; Gelman & Hill 2007,
ch. 12) and variances by moments (DerSimonian & Laird 1986).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.level import SET_ASIDE_AT
from models.price import Floats, Ints
from models.robust import student_weights
from models.tree import FEW, carried, combine, lean, moment_variance, posterior, through

USUAL_STYLE2, USUAL_CATEGORY2, USUAL_FLAG2 = 0.06**2, 0.08**2, 0.2**2  # variances where nothing is known, in log price
_ROUNDS = 5
_EFFICIENCY = 0.88  # share of the summed weights that is precision, normal errors (`models.robust.student_efficiency`)


class LikeSales(NamedTuple):
    """Sales set beside like ones, (n,) each; a sale that names two flags may stand here twice.

    Attributes
    ----------
    y : log price on one day's footing. var : variance of one sale. group : number of the like sales, one flag and one
    category a group. marked : whether the sale names the flag.
    """

    y: Floats
    var: Floats
    group: Ints
    marked: NDArray[np.bool_]


@dataclass(frozen=True)
class FlagEffects:
    """Effects on log price of F flags in C categories.

    Attributes
    ----------
    mean, var : (F, C) posterior of the effect in a category. all_mean, all_var : (F,) of that of the flag.
    style2 : (F,) variance of the effect on one style about its category's. between2 : (F,) of a category's about the
    flag's. count : (F, C) marked sales that have like ones beside them.
    """

    mean: Floats
    var: Floats
    all_mean: Floats
    all_var: Floats
    between2: Floats
    style2: Floats
    count: Ints


def fit_effects(sales: LikeSales, flag: Ints, category: Ints, flags: int, categories: int) -> FlagEffects:
    """Estimate the effects; ``flag`` and ``category`` (G,) tell what each group is of.

    Notes
    -----
    Errors are weighed as Student (Lange, Little & Taylor 1989), those of marked sales about what their category expects
    of the flag, so that a mistyped code among them moves little.
    """
    groups, cells, cell = len(flag), flags * categories, flag * categories + category
    bare = ~sales.marked
    known = np.bincount(sales.group[bare], minlength=groups) > 0
    bare_y, bare_var, bare_group = sales.y[bare], sales.var[bare], sales.group[bare]
    # What stands alone in its group has nothing like it to be set beside.
    use = sales.marked & known[sales.group]
    y, var, group = sales.y[use], sales.var[use], sales.group[use]
    bare_weight, weight, like = np.ones(len(bare_y)), np.ones(len(y)), np.ones(len(y))
    precision = mean = np.zeros(cells)
    style2 = np.full(flags, USUAL_STYLE2)
    for _ in range(_ROUNDS):
        # Weighed about their own middle, not the style's level, which marked sales have drawn towards themselves.
        told, plain = combine(_EFFICIENCY * bare_weight / bare_var, bare_y, bare_group, groups)
        bare_weight = student_weights(bare_y - plain[bare_group], np.sqrt(bare_var))
        plain_var = np.divide(1.0, told, out=np.zeros(groups), where=told > 0)
        # The spread between styles from plain means: robust ones are nearer to each other than the data are.
        own, middle = combine(like / var, y, group, groups)
        found = moment_variance(middle - plain, through(own, plain_var), cell, flag, flags)
        style2 = lean(*found, USUAL_STYLE2)
        own, middle = combine(_EFFICIENCY * weight / var, y, group, groups)
        sure = through(own, plain_var)
        precision, mean = combine(through(sure, style2[flag]), middle - plain, cell, cells)
        z = (y - plain[group] - mean[cell[group]]) / np.sqrt(var + plain_var[group] + style2[flag[group]])
        weight, like = student_weights(z, 1.0), (np.abs(z) <= SET_ASIDE_AT).astype(np.float64)
    pooled = pool(precision.reshape(flags, categories), mean.reshape(flags, categories))
    count = np.bincount(cell[group], minlength=cells).reshape(flags, categories)
    return FlagEffects(*pooled, style2, count)


def pool(
    precision: Floats, mean: Floats, between2: Floats | None = None, flag2: float | None = None
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Pool what categories say of their flags by themselves, (F, C) precision and mean, 0 where they say nothing.

    Parameters
    ----------
    between2 : (F,) variance of a category's effect about the flag's. flag2 : variance of flags' effects about 0. Both
    by moments where not given, drawn towards what is usual where there is little to see.

    Returns
    -------
    (F, C) means and variances by category, (F,) means and variances by flag, (F,) ``between2``.
    """
    flags, categories = precision.shape
    of = np.repeat(np.arange(flags), categories)
    told, said = precision.ravel(), mean.ravel()
    if between2 is None:
        between2 = np.maximum(lean(*moment_variance(said, told, of, of, flags), USUAL_CATEGORY2), 1e-6)
    own, middle = combine(through(told, between2[of]), said, of, flags)
    if flag2 is None:
        seen = own > 0
        found = float(np.maximum(middle[seen] ** 2 - 1.0 / own[seen], 0.0).sum())
        flag2 = (found + FEW * USUAL_FLAG2) / (float(seen.sum()) + FEW)
    all_mean, all_var = posterior(0.0, flag2, own, middle)
    by_category, alone = posterior(all_mean[of], between2[of], told, said)
    var = alone + carried(alone, between2[of], all_var[of])
    shape = (flags, categories)
    return by_category.reshape(shape), var.reshape(shape), all_mean, all_var, between2
