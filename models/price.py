"""Price levels by partial pooling: category > brand > style > variant, with drift, condition and heavy tails.

The logarithm of what the buyer paid is a sum of nested normal effects and a Student error,

    y = mu[category] + brand[cell] + style[product] + variant[product, size] + condition + trend(age) + e,

fitted by alternating the exact posterior means of the nested effects (closed form on a tree) with small ridge
regressions for the trend (`trend.py`) and condition. Nothing here iterates over products in Python: all sums are
``bincount``.

Sources: Efron & Morris 1975 (JASA 70:311) for empirical-Bayes weights; Gelman & Hill 2007, ch. 12, for nested
partial pooling; DerSimonian & Laird 1986 for the moment estimate of a between-group variance; Lange, Little &
Taylor 1989 (JASA 84:881) for Student weights.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from models.robust import NORMAL_MAD, grouped_medians, student_efficiency, student_weights
from models.tree import FEW, carried, combine, lean, moment_variance, posterior, through
from models.trend import Trend
from models.within import Nest, effect_errors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_CONDITION_SD = 0.35  # ridge on a condition's effect, in log price
_USUAL_VAR = 0.12**2  # variance of one sale where nothing is known of it
_USUAL_VARIANT, _USUAL_STYLE, _USUAL_BRAND = 0.03**2, 0.2**2, 0.2**2  # variances between groups, known no better


@dataclass(frozen=True)
class PriceRows:
    """Sold comps as arrays of length n.

    Attributes
    ----------
    y : log of what the buyer paid. category, cell, product, variant, condition : indices from 0, nested
    (cell in category, product in cell, variant in product). age : days before the as-of day, nan when unknown.
    """

    y: Floats
    category: Ints
    cell: Ints
    product: Ints
    variant: Ints
    condition: Ints
    age: Floats
    cell_category: Ints
    product_cell: Ints
    variant_product: Ints
    conditions: int
    categories: int


@dataclass
class PriceModel:
    """Fit the nested price model; fitted values end in an underscore.

    ``level_`` is each variant's posterior mean of log price in the base condition today, ``level_var_`` its
    variance; ``offset_`` is added to a style's prior mean (the title's part, see ``features.py``).
    """

    rounds: int = 12
    mu_: Floats = field(default_factory=lambda: np.zeros(0))
    mu_var_: Floats = field(default_factory=lambda: np.zeros(0))
    cell_mean_: Floats = field(default_factory=lambda: np.zeros(0))
    cell_var_: Floats = field(default_factory=lambda: np.zeros(0))
    product_mean_: Floats = field(default_factory=lambda: np.zeros(0))
    product_var_: Floats = field(default_factory=lambda: np.zeros(0))
    sigma2_: Floats = field(default_factory=lambda: np.zeros(0))
    tau_variant2_: Floats = field(default_factory=lambda: np.zeros(0))
    tau_style2_: Floats = field(default_factory=lambda: np.zeros(0))
    tau_unseen2_: Floats = field(default_factory=lambda: np.zeros(0))  # of the level of a style without sales
    tau_brand2_: Floats = field(default_factory=lambda: np.zeros(0))
    tau_category2_: float = 1.0
    grand_: float = 0.0
    trend_: Trend = field(default_factory=Trend)
    condition_: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    condition_se_: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    condition_base_: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    level_: Floats = field(default_factory=lambda: np.zeros(0))
    level_var_: Floats = field(default_factory=lambda: np.zeros(0))
    drift_se_: Floats = field(default_factory=lambda: np.zeros(0))
    weight_: Floats = field(default_factory=lambda: np.zeros(0))
    residual_: Floats = field(default_factory=lambda: np.zeros(0))

    def fit(self, rows: PriceRows, product_offset: Floats | None = None) -> PriceModel:
        """Fit on sold comps.

        Parameters
        ----------
        rows : PriceRows with at least one row.
        product_offset : (products,) known part of each style's mean, e.g. from its title; zeros by default.
        """
        offset = np.zeros(len(rows.product_cell)) if product_offset is None else product_offset
        self._start(rows)
        category_of_variant = rows.cell_category[rows.product_cell[rows.variant_product]]
        category_of_product = rows.cell_category[rows.product_cell]
        weight = np.ones(len(rows.y))
        for round_ in range(self.rounds):
            z = rows.y - self.condition_[rows.category, rows.condition] - self.trend_.of_rows()
            # Both passes up the tree need the rows only by their sums a variant, whose category has one sigma.
            own = combine(weight, z, rows.variant, len(rows.variant_product))
            self._tree(rows, own, offset, category_of_variant, category_of_product)
            residual = z - self.level_[rows.variant]
            self._scale(rows, residual, weight)
            self._variances(rows, own, offset, category_of_variant, category_of_product)
            scale2 = self.sigma2_[rows.category] + self.level_var_[rows.variant] * 0.5
            weight = student_weights(residual, np.sqrt(scale2))
            if round_ < self.rounds - 1:
                self._conditions(rows, residual, weight)
                self.trend_.improve(residual, weight / self.sigma2_[rows.category])
        self.weight_, self.residual_ = weight, residual
        sizes, styles = self.tau_variant2_[category_of_variant], self.tau_style2_[category_of_product]
        brands = self.tau_brand2_[rows.cell_category], rows.cell_category
        self._errors(rows, Nest(((sizes, rows.variant_product), (styles, rows.product_cell), brands)))
        return self

    def styles_from_below(self, rows: PriceRows) -> tuple[Floats, Floats]:
        """Precision and mean of each style's level as its own sales alone give it: (products,), (products,)."""
        z = rows.y - self.condition_[rows.category, rows.condition] - self.trend_.of_rows()
        of_product = rows.cell_category[rows.product_cell]
        nothing = np.zeros(len(rows.product_cell))
        own = combine(self.weight_, z, rows.variant, len(rows.variant_product))
        return self._messages(rows, own, nothing, of_product[rows.variant_product], of_product)[1]

    def _start(self, rows: PriceRows) -> None:
        count = rows.categories
        self.grand_ = float(np.median(rows.y))
        spread = float(np.var(rows.y)) if len(rows.y) > 1 else 0.25
        # Weak starting variances: shares of the overall spread, floored so that one row or equal rows still fit.
        spread = max(spread, 1e-4)
        self.sigma2_ = np.full(count, 0.15 * spread)
        self.tau_variant2_ = np.full(count, 0.05 * spread)
        self.tau_style2_ = np.full(count, 0.4 * spread)
        self.tau_brand2_ = np.full(count, 0.2 * spread)
        self.tau_category2_ = spread
        self.trend_.start(rows.age / 365.25, rows.category, count)
        self.condition_ = np.zeros((count, rows.conditions))
        seen = np.zeros((count, rows.conditions))
        np.add.at(seen, (rows.category, rows.condition), 1.0)
        self.condition_base_ = seen.argmax(axis=1)
        self._condition_seen = seen

    def _messages(
        self, rows: PriceRows, own: tuple[Floats, Floats], offset: Floats, cat_v: Ints, cat_p: Ints
    ) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats], tuple[Floats, Floats]]:
        """Pass the variants' own (weight, mean) up: (precision, mean) from below at variants, products and cells."""
        variant = own[0] / self.sigma2_[cat_v], own[1]
        up = through(variant[0], self.tau_variant2_[cat_v])
        product = combine(up, variant[1], rows.variant_product, len(rows.product_cell))
        up = through(product[0], self.tau_style2_[cat_p])
        cell = combine(up, product[1] - offset, rows.product_cell, len(rows.cell_category))
        return variant, product, cell

    def _tree(self, rows: PriceRows, own: tuple[Floats, Floats], offset: Floats, cat_v: Ints, cat_p: Ints) -> None:
        """Compute exact posterior means and variances of all nested effects, top down after one pass up."""
        variant, product, cell = self._messages(rows, own, offset, cat_v, cat_p)
        up = through(cell[0], self.tau_brand2_[rows.cell_category])
        precision, mean = combine(up, cell[1], rows.cell_category, rows.categories)
        self.mu_, self.mu_var_ = posterior(self.grand_, self.tau_category2_, precision, mean)
        self.cell_mean_, cell_own = posterior(
            self.mu_[rows.cell_category], self.tau_brand2_[rows.cell_category], cell[0], cell[1]
        )
        self.cell_var_ = cell_own + carried(
            cell_own, self.tau_brand2_[rows.cell_category], self.mu_var_[rows.cell_category]
        )
        prior = self.cell_mean_[rows.product_cell] + offset
        self.product_mean_, product_own = posterior(prior, self.tau_style2_[cat_p], product[0], product[1])
        inherited = carried(product_own, self.tau_style2_[cat_p], self.cell_var_[rows.product_cell])
        self.product_var_ = product_own + inherited
        self.level_, level_own = posterior(
            self.product_mean_[rows.variant_product], self.tau_variant2_[cat_v], variant[0], variant[1]
        )
        inherited = carried(level_own, self.tau_variant2_[cat_v], self.product_var_[rows.variant_product])
        self.level_var_ = level_own + inherited

    def _scale(self, rows: PriceRows, residual: Floats, weight: Floats) -> None:
        """Update the error's spread by category; the levels' use of the data is given back as degrees of freedom.

        From the median absolute residual (Hampel 1974), which is right for normal errors and deaf to dirt; the scale of
        a Student fit would be too small for normal ones and the levels look surer than they are.
        """
        used = weight / self.sigma2_[rows.category] * self.level_var_[rows.variant]
        count = np.bincount(rows.category, minlength=rows.categories)
        # A sale that is its style's only one lies on its own level and says nothing of the spread, so each row counts
        # by what its level has not used up; else many single sales make the spread collapse.
        free = 1.0 - np.minimum(used, 0.9999)
        freedom = np.bincount(rows.category, free, rows.categories)
        size = np.abs(residual) / np.sqrt(free)
        whole = float(freedom.sum())
        medians, overall = grouped_medians(size, free, rows.category, rows.categories)
        found = (NORMAL_MAD * overall) ** 2
        pooled = (whole * found + FEW * _USUAL_VAR) / (whole + FEW)
        own = np.where((count > 4) & (freedom > 1.0), (NORMAL_MAD * medians) ** 2, pooled)
        share = freedom / (freedom + 30.0)
        self.sigma2_ = np.maximum(share * own + (1 - share) * pooled, 1e-5)

    def _variances(self, rows: PriceRows, own: tuple[Floats, Floats], offset: Floats, cat_v: Ints, cat_p: Ints) -> None:
        """Re-estimate the between-group variances by moments, each category's own leaning on the pooled one."""
        variant = own[0] / self.sigma2_[cat_v], own[1]
        pool = moment_variance(variant[1], variant[0], rows.variant_product, cat_v, rows.categories)
        self.tau_variant2_ = np.maximum(lean(*pool, _USUAL_VARIANT), 1e-6)
        up = through(variant[0], self.tau_variant2_[cat_v])
        precision, mean = combine(up, variant[1], rows.variant_product, len(rows.product_cell))
        pool = moment_variance(mean - offset, precision, rows.product_cell, cat_p, rows.categories)
        # A single style is like or unlike nothing: its level is what its sales say, but another one's may be far off.
        few = min(FEW, float(pool[1].sum()))
        self.tau_style2_ = np.maximum(lean(*pool, _USUAL_STYLE, few), 1e-4)
        self.tau_unseen2_ = np.maximum(lean(*pool, _USUAL_STYLE), 1e-4)
        up = through(precision, self.tau_style2_[cat_p])
        precision, mean = combine(up, mean - offset, rows.product_cell, len(rows.cell_category))
        pool = moment_variance(mean, precision, rows.cell_category, rows.cell_category, rows.categories)
        self.tau_brand2_ = np.maximum(lean(*pool, _USUAL_BRAND), 1e-4)
        if rows.categories > 2:
            self.grand_ = float(np.mean(self.mu_))
            self.tau_category2_ = max(float(np.var(self.mu_, ddof=1)), 0.01)

    def _conditions(self, rows: PriceRows, residual: Floats, weight: Floats) -> None:
        """Move condition effects towards what the residuals still show (ridge, one category at a time)."""
        precision = weight / self.sigma2_[rows.category]
        count = rows.categories
        flat = rows.category * rows.conditions + rows.condition
        size = count * rows.conditions
        top = np.bincount(flat, precision * residual, size).reshape(count, rows.conditions)
        bottom = np.bincount(flat, precision, size).reshape(count, rows.conditions)
        base = self.condition_base_
        # The base condition is the zero of the scale: its residual mean is the others' yardstick.
        yardstick = (top / np.maximum(bottom, 1e-9))[np.arange(count), base][:, None]
        step = (top - bottom * yardstick - self.condition_ / _CONDITION_SD**2) / (bottom + 1 / _CONDITION_SD**2)
        self.condition_ = self.condition_ + np.where(self._condition_seen > 0, step, 0.0)
        self.condition_[np.arange(count), base] = 0.0

    def _errors(self, rows: PriceRows, nest: Nest) -> None:
        """State standard errors of drift and conditions, no level being known."""
        precision = self.weight_ / self.sigma2_[rows.category]
        free = 1.0 - np.minimum(precision * self.level_var_[rows.variant], 0.9999)
        precision *= student_efficiency(self.residual_ / np.sqrt(self.sigma2_[rows.category] * free))
        self.drift_se_ = self.trend_.since(0.5, precision, rows.category, rows.variant, nest)[1]
        self.condition_se_ = np.zeros(self.condition_.shape)
        for index, base in enumerate(self.condition_base_):
            here = rows.category == index
            self.condition_se_[index] = effect_errors(
                precision[here], rows.condition[here], rows.conditions, rows.variant[here], nest, int(base),
                1.0 / _CONDITION_SD**2,
            )  # fmt: skip
