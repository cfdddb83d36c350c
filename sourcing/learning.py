"""From the comps table to what the engine stores: price fit, held-out coverage, time to sell."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from models.conformal import conformal_quantile
from models.features import TitleFit, fit_titles
from models.level import SET_ASIDE_AT
from models.local import find_strays
from models.price import Floats, Ints, PriceModel, PriceRows
from models.robust import Z80, Z90
from models.trend import carried_var, curve_at, slope_now
from models.wander import WALKS, own_levels
from sourcing import promises
from sourcing.fitting import BUCKETS
from sourcing.flags.learning import learn_flags
from sourcing.language import gettext
from sourcing.observations import UNDATED_AGE
from sourcing.outcomes.telling import learn_own
from sourcing.pace import learn_pace
from sourcing.training import Flags, Training, lay_out

_CHECKS, _CHECK_DAYS = 6, 15.0
_USUAL_WALK2 = 0.0025  # where nothing can be checked
_FEWEST_SCORES = 30
_LEAST_FACTOR = 0.5  # where later sales all brought one price: an item yet unseen may still bring another
_UNCHECKED = [1.25, 1.15, 1.1, 1.1]  # too few later sales to check: a little wider than the model believes


def learn(
    rows: Sequence[tuple[Any, ...]],
    tell: Callable[[float, str], None],
    flag_words: Mapping[str, Sequence[str]] | None = None,
) -> dict[str, Any] | None:
    """Fit on the rows of `training.lay_out`; ``flag_words`` are words in comps by flag.

    Returns
    -------
    A JSON-able mapping with the fields of `sourcing.fitting.Fit`, or None without any sale.
    """
    if not rows:
        return None
    table = lay_out(rows)
    if not table.sold.any():
        return None
    tell(0.2, gettext("Fitting prices"))
    sales = table.priced(table.sold)
    titles = _titles(table, PriceModel(rounds=5).fit(sales), sales)
    model = PriceModel().fit(sales, titles.offsets)
    tell(0.5, gettext("Checking the forecasts on later sales"))
    checked = _held_out(table, titles.offsets, model.drift_se_)
    tell(0.7, gettext("Fitting the time to sell"))
    level, level_var = _levels(table, model)
    stray, stray_var = _strays(table, model)
    pace = learn_pace(table, level + stray, level_var + stray_var)
    tell(0.85, gettext("Checking its promises on later listings"))
    looks = promises.check(table, titles.offsets)
    _correct(pace, promises.correction(looks))
    newest = table.when[table.sold]
    return {
        "as_of": table.as_of,
        "categories": _categories(table, model, level, pace),
        "cells": {key: [float(model.cell_mean_[i]), float(model.cell_var_[i])] for i, key in enumerate(table.cells)},
        "grand": [model.grand_, max(model.tau_category2_, float(np.var(model.mu_)))],
        "words": titles.effects,
        "walk2": checked.walk2,
        "slope": pace["slope"],
        "slope_se": pace["slope_se"],
        "mixture": pace["mixture"],
        "beyond": pace["beyond"],
        "factors": checked.factors,
        "wide_factors": checked.wide_factors,
        "flags": learn_flags(table, model, flag_words or {}),
        "own": learn_own(table, model),
        "rests_on": {
            "comps": len(rows),
            "sold": int(table.sold.sum()),
            "held_out_coverage_80": checked.coverage,
            "sales_promised": round(sum(one.promised for one in looks), 1),
            "sales_made": sum(one.sold for one in looks),
            "newest": None if np.isnan(newest).all() else int(np.nanmax(newest)),
        },
    }


def _correct(pace: dict[str, Any], factor: float) -> None:
    """Make every hazard ``factor`` times what it was."""
    for category in pace["categories"]:
        if category["rate"] is not None:
            category["rate"] = [rate * factor for rate in category["rate"]]


def _titles(table: Training, model: PriceModel, sales: PriceRows) -> TitleFit:
    """Let the titles' words explain how styles lie over their brand."""
    precision, mean = model.styles_from_below(sales)
    names = [table.categories[k] for k in table.cell_category[table.product_cell]]
    style2 = model.tau_style2_[table.cell_category[table.product_cell]]
    weight = np.where(precision > 0, 1.0 / (style2 + 1.0 / np.maximum(precision, 1e-9)), 0.0)
    return fit_titles(table.titles, names, mean - model.cell_mean_[table.product_cell], weight)


def _levels(table: Training, model: PriceModel) -> tuple[Floats, Floats]:
    """Level of each row's item in its condition on its day, and the level's variance: (n,), (n,)."""
    age = (table.as_of - table.when) / 365.25
    level = model.level_[table.variant] + model.condition_[table.category, table.condition]
    for index in range(len(table.categories)):
        here = table.category == index
        level[here] += curve_at(model.trend_.values_[index], age[here])
    return level, model.level_var_[table.variant].copy()


def _strays(table: Training, model: PriceModel) -> tuple[Floats, Floats]:
    """How far each row's style strayed from its level on the row's day, its own sale left out; and what is unsure."""
    product, when = table.product[table.sold], table.when[table.sold]
    sound = (model.weight_ > 0.5) & ~np.isnan(when)
    strays = find_strays(product[sound], when[sound], model.residual_[sound])
    own = np.full(len(table.state), np.nan)
    own[np.flatnonzero(table.sold)[sound]] = model.residual_[sound]
    return strays.at(table.product, table.when, own)


def _categories(table: Training, model: PriceModel, level: Floats, pace: dict[str, Any]) -> dict[str, Any]:
    haggle = np.log(table.paid) - np.log(table.asked)
    gap = np.log(table.asked) - level
    found = {}
    for index, name in enumerate(table.categories):
        here = table.category == index
        unsold = here & (table.state != 1)
        own = pace["categories"][index]
        errors = {"drift": float(model.drift_se_[index])} | own.pop("errors", {})
        for name_of, error in zip(table.conditions, model.condition_se_[index], strict=True):
            errors[f"condition {name_of}"] = float(error)
        found[name] = {
            "mu": float(model.mu_[index]),
            "mu_var": float(model.mu_var_[index]),
            "sigma2": float(model.sigma2_[index]),
            "tau_variant2": float(model.tau_variant2_[index]),
            "tau_style2": float(model.tau_style2_[index]),
            "tau_unseen2": float(model.tau_unseen2_[index]),
            "tau_brand2": float(model.tau_brand2_[index]),
            "trend": model.trend_.values_[index].tolist(),
            "base_condition": table.conditions[int(model.condition_base_[index])],
            "conditions": {
                name: float(effect) for name, effect in zip(table.conditions, model.condition_[index], strict=True)
            },
            "haggle": _centre(haggle[here & table.sold], -0.05, 0.08),
            "ask": _ask_offset(gap[unsold], float(model.sigma2_[index])),
            "sold": int((here & table.sold).sum()),
            "unsold": int(unsold.sum()),
            **own,
            "errors": {key: error for key, error in errors.items() if np.isfinite(error)},
        }
    return found


class _Checked(NamedTuple):
    """What later sales say of the forecasts.

    Attributes
    ----------
    factors, wide_factors : by own-comps bucket, held-out half-width of the 80 % and the 90 % interval over the nominal
    one. coverage : of the nominal 80 % interval; None where too little is known. walk2 : how much styles' levels wander
    a year, the one under which those sales were likeliest.
    """

    factors: list[float]
    wide_factors: list[float]
    coverage: float | None
    walk2: float


_NOT_CHECKED = _Checked(_UNCHECKED, _UNCHECKED, None, _USUAL_WALK2)


def _held_out(table: Training, offsets: Floats, drift_se: Floats) -> _Checked:
    """Fit up to a day, score the sales of the half month after it, for several days.

    ``drift_se`` (categories,) is that of the fit on all: the error until a day on which there are sales.
    """
    when = table.when
    dated = table.sold & ~np.isnan(when)
    if dated.sum() < 60:
        return _NOT_CHECKED
    newest = float(when[dated].max())
    away, spread, buckets = [], [], []
    for back in range(_CHECKS, 0, -1):
        cut = newest - back * _CHECK_DAYS
        early: Flags = table.sold & ~(when > cut)
        late: Flags = dated & (when > cut) & (when <= cut + _CHECK_DAYS)
        if late.sum() < 10 or early.sum() < 40:
            continue
        model = PriceModel().fit(table.priced(early), offsets)
        found = [_foretold(table, model, offsets, drift_se, early, late, cut, walk2) for walk2 in WALKS]
        away.append(np.column_stack([one[0] for one in found]))
        spread.append(np.column_stack([one[1] for one in found]))
        own = np.bincount(table.product[early], minlength=len(table.titles))[table.product[late]]
        buckets.append(np.searchsorted(np.array(BUCKETS), own))
    if not away:
        return _NOT_CHECKED
    scores, bucket = np.concatenate(away) / np.concatenate(spread), np.concatenate(buckets)
    likely = -(np.log(np.concatenate(spread)) + 2.5 * np.log1p(scores**2 / 4.0)).sum(axis=0)
    best = int(np.argmax(likely))
    score = np.abs(scores[:, best])
    # What would be set aside is no comparable sale: a lot, a damaged piece, a mistyped code.
    score, bucket = score[score <= SET_ASIDE_AT], bucket[score <= SET_ASIDE_AT]
    if len(score) < 20:
        return _NOT_CHECKED
    return _Checked(
        _factors(score, bucket, "0.2", Z80), _factors(score, bucket, "0.1", Z90), float(np.mean(score <= Z80)),
        WALKS[best],
    )  # fmt: skip


def _factors(score: Floats, bucket: Ints, alpha: str, nominal: float) -> list[float]:
    """Widen or narrow an interval by how far later sales fell, bucket by bucket where it holds enough of them.

    Split conformal prediction (Vovk, Gammerman & Shafer 2005; Lei et al. 2018): the k-th smallest score with
    k = ceil((n + 1) * (1 - alpha)), in exact integers.
    """
    found = []
    for b in range(len(BUCKETS) + 1):
        here = score[bucket == b]
        own = float(conformal_quantile(here if len(here) >= _FEWEST_SCORES else score, alpha))
        found.append(max(own / nominal, _LEAST_FACTOR))
    return found


def _foretold(
    table: Training,
    model: PriceModel,
    offsets: Floats,
    drift_se: Floats,
    early: Flags,
    late: Flags,
    cut: float,
    walk2: float,
) -> tuple[Floats, Floats]:
    """Foretell the late sales from the early ones: how far each fell from its forecast, and the forecast's spread."""
    category, product = table.category, table.product
    long_run, long_var = _levels(table, model)
    style = model.product_mean_[table.variant_product][table.variant]
    size = model.level_[table.variant] - style
    z = np.log(table.paid) - (long_run - model.level_[table.variant]) - size
    age = np.nan_to_num((cut - table.when) / 365.25, nan=UNDATED_AGE)
    of_product = table.cell_category[table.product_cell]
    prior_var = model.tau_style2_[of_product] + model.cell_var_[table.product_cell]
    since, precision = np.maximum(age[early], 0.0), model.weight_ / model.sigma2_[category[early]]
    mean, var = own_levels(
        model.cell_mean_[table.product_cell] + offsets, prior_var, product[early], since, z[early], precision, walk2
    )
    drift = np.where(np.isfinite(drift_se), drift_se, 0.0)[of_product]
    var = var + carried_var(drift, since, precision, product[early], 1.0 / prior_var)
    # The curve knows nothing beyond the day, so it goes on as it last went.
    ahead = np.array([slope_now(values) for values in model.trend_.values_]) * (table.when[late].mean() - cut) / 365.25
    style_var = model.product_var_[table.variant_product][table.variant]
    own_var = np.maximum(long_var - style_var, 0.0)[late]
    spread = np.sqrt(var[product[late]] + own_var + model.sigma2_[category[late]])
    expected = mean[product[late]] + (long_run - style)[late] + ahead[category[late]]
    return np.log(table.paid[late]) - expected, spread


def _centre(values: Floats, centre: float, spread: float) -> list[float]:
    """Median and robust spread, leaning on a starting guess like five observations."""
    values = values[np.isfinite(values)]
    if not len(values):
        return [centre, spread]
    share = len(values) / (len(values) + 5.0)
    middle = float(np.median(values))
    own = 1.4826 * float(np.median(np.abs(values - middle)))
    return [min(share * middle + (1 - share) * centre, 0.0), max(share * own + (1 - share) * spread, 0.01)]


def _ask_offset(gap: Floats, sigma2: float) -> list[float]:
    """Where unsold asking prices lie over the level, and the variance with which one speaks for it."""
    gap = gap[np.isfinite(gap)]
    share = len(gap) / (len(gap) + 10.0)
    middle = float(np.median(gap)) if len(gap) else 0.0
    own = (1.4826 * float(np.median(np.abs(gap - middle)))) ** 2 if len(gap) else 0.0
    # Never sharper than three sales' worth of noise: nobody paid these prices.
    return [share * middle + (1 - share) * 0.1, max(share * own + (1 - share) * 0.09, 3 * sigma2)]
