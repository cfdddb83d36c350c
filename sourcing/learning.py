"""From comps rows to what the engine stores: indices, price fit, asking prices, speed, held-out coverage."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from models.conformal import conformal_quantile
from models.price import Floats, Ints, PriceModel, PriceRows
from sourcing.fitting import ASKS_TRIED, BUCKETS, fold

_Z80 = 1.2815515655446004  # 90 % point of the standard normal


def learn(rows: Sequence[tuple[Any, ...]], tell: Callable[[float, str], None]) -> dict[str, Any] | None:
    """Fit on rows of (root, brand, category, status, ask, sold, ship, listed, ended, seen, size, condition).

    Returns
    -------
    A JSON-able mapping with the fields of `sourcing.fitting.Fit`, or None without any sale.
    """
    if not any(row[3] == 1 for row in rows):
        return None
    root, brand, category, status, ask, sold, ship, listed, ended, seen, size, condition = zip(
        *rows, strict=True
    )
    names = sorted({fold(name) for name in category})
    cat = np.array([names.index(fold(name)) for name in category])
    cell_keys, cell = _index([f"{fold(c)}\t{fold(b)}" for c, b in zip(category, brand, strict=True)])
    _, product = _index(list(root))
    _, variant = _index([(r, fold(s)) for r, s in zip(root, size, strict=True)])
    conditions, cond = _index([fold(c) for c in condition])
    state = np.array(status)
    listed_on, ended_on, seen_on = (_days(values) for values in (listed, ended, seen))
    asked, paid, shipping = (_days(values) / 100 for values in (ask, sold, ship))
    shipping = np.nan_to_num(shipping)
    as_of = int(np.nanmax(np.concatenate([listed_on, ended_on, seen_on, [0.0]])))
    is_sold = (state == 1) & (paid + shipping > 0)
    if not is_sold.any():
        return None
    when = np.where(np.isnan(ended_on), listed_on, ended_on)
    shape = _shape(cat, cell, product, variant, len(cell_keys))

    def priced(mask: Any) -> PriceRows:
        return PriceRows(
            np.log((paid + shipping)[mask]),
            cat[mask],
            cell[mask],
            product[mask],
            variant[mask],
            cond[mask],
            (as_of - when)[mask],
            *shape,
            len(conditions),
            len(names),
        )

    tell(0.2, "Fitting prices")
    model = PriceModel().fit(priced(is_sold))
    tell(0.5, "Checking the forecasts on later sales")
    factors, coverage = _held_out(priced, is_sold, when, variant, product, paid + shipping, cat, cond, as_of)
    tell(0.7, "Fitting the time to sell")
    age = np.nan_to_num((as_of - when) / 365.25)
    level = model.level_[variant] + model.condition_[cat, cond] - model.drift_[cat] * age
    gap = np.log(np.where(asked + shipping > 0, asked + shipping, np.nan)) - level
    haggle = np.log(np.where(is_sold, paid + shipping, np.nan)) - np.log(
        np.where(asked > 0, asked + shipping, np.nan)
    )
    asks_known = np.isfinite(gap)
    gap, spans = comparable_asks(gap, cat, len(names))
    speed = _speed(
        state, listed_on, ended_on, seen_on, gap, haggle, cat, product, len(names), asks_known, is_sold
    )
    categories = {}
    for index, name in enumerate(names):
        here = cat == index
        categories[name] = {
            "mu": float(model.mu_[index]),
            "mu_var": float(model.mu_var_[index]),
            "sigma2": float(model.sigma2_[index]),
            "tau_variant2": float(model.tau_variant2_[index]),
            "tau_style2": float(model.tau_style2_[index]),
            "tau_brand2": float(model.tau_brand2_[index]),
            "drift": float(np.clip(model.drift_[index], -0.5, 0.5)),
            "base_condition": conditions[int(model.condition_base_[index])],
            "conditions": {conditions[k]: float(model.condition_[index, k]) for k in range(len(conditions))},
            "haggle": _centre(haggle[here & is_sold], -0.05, 0.08),
            "ask": _ask_offset(gap[here & (state != 1)], float(model.sigma2_[index])),
            "asks_seen": spans[index],
            "sold": int((here & is_sold).sum()),
            "unsold": int((here & (state != 1)).sum()),
            **speed["categories"][index],
        }
    cells = {key: [float(model.cell_mean_[i]), float(model.cell_var_[i])] for i, key in enumerate(cell_keys)}
    newest = when[is_sold]
    return {
        "as_of": as_of,
        "categories": categories,
        "cells": cells,
        "grand": [model.grand_, max(model.tau_category2_, float(np.var(model.mu_)))],
        "walk2": model.walk2_,
        "slope": speed["slope"],
        "shape": speed["shape"],
        "factors": factors,
        "rests_on": {
            "comps": len(rows),
            "sold": int(is_sold.sum()),
            "held_out_coverage_80": coverage,
            "newest": None if np.isnan(newest).all() else int(np.nanmax(newest)),
        },
    }


def _index(keys: list[Any]) -> tuple[list[Any], Ints]:
    seen: dict[Any, int] = {}
    index = np.array([seen.setdefault(key, len(seen)) for key in keys], dtype=np.int64)
    return list(seen), index


def _days(values: Sequence[int | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _shape(cat: Ints, cell: Ints, product: Ints, variant: Ints, cells: int) -> tuple[Ints, Ints, Ints]:
    """Return each child's parent: cell -> category, product -> cell, variant -> product."""
    cell_category = np.zeros(cells, dtype=np.int64)
    cell_category[cell] = cat
    product_cell = np.zeros(int(product.max()) + 1, dtype=np.int64)
    product_cell[product] = cell
    variant_product = np.zeros(int(variant.max()) + 1, dtype=np.int64)
    variant_product[variant] = product
    return cell_category, product_cell, variant_product


def _held_out(
    priced: Any,
    is_sold: Any,
    when: Floats,
    variant: Ints,
    product: Ints,
    total: Floats,
    cat: Ints,
    cond: Ints,
    as_of: int,
) -> tuple[list[float], float | None]:
    """Fit on the earlier four fifths of dated sales, score the later ones, conformalise by own-comps bucket.

    Split conformal prediction (Vovk, Gammerman & Shafer 2005; Lei et al. 2018): the k-th smallest score with
    k = ceil((n + 1) * 0.8), in exact integers.
    """
    dated = is_sold & ~np.isnan(when)
    if dated.sum() < 60:
        return [1.25, 1.15, 1.1, 1.1], None  # too few to check: a little wider than the model believes
    cut = np.quantile(when[dated], 0.8)
    early, late = is_sold & ~(when > cut), dated & (when > cut)
    if late.sum() < 20 or early.sum() < 20:
        return [1.25, 1.15, 1.1, 1.1], None
    model = PriceModel().fit(priced(early))
    age = (as_of - when[late]) / 365.25
    mean = (
        model.level_[variant[late]] + model.condition_[cat[late], cond[late]] - model.drift_[cat[late]] * age
    )
    spread = np.sqrt(model.level_var_[variant[late]] + model.sigma2_[cat[late]])
    score = np.abs(np.log(total[late]) - mean) / spread
    own = np.bincount(product[early], minlength=int(product.max()) + 1)[product[late]]
    bucket = np.searchsorted(np.array(BUCKETS), own)
    everyone = conformal_quantile(score, "0.2")
    factors = [
        float(conformal_quantile(score[bucket == b], "0.2") if (bucket == b).sum() >= 30 else everyone) / _Z80
        for b in range(len(BUCKETS) + 1)
    ]
    return factors, float(np.mean(score <= _Z80))


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
    gap = gap[np.isfinite(gap)]
    share = len(gap) / (len(gap) + 10.0)
    middle = float(np.median(gap)) if len(gap) else 0.0
    own = (1.4826 * float(np.median(np.abs(gap - middle)))) ** 2 if len(gap) else 0.0
    # Never sharper than three sales' worth of noise: nobody paid these prices.
    return [share * middle + (1 - share) * 0.1, max(share * own + (1 - share) * 0.09, 3 * sigma2)]


def comparable_asks(gap: Floats, cat: Ints, count: int) -> tuple[Floats, list[list[float]]]:
    """Leave out asking prices that are no price of the item, and say where the others lie.

    A lot of three or a damaged piece is asked far from its style's level and sells like any other: a few of them at
    such leverage halve the fitted response to the asking price, and the advice is to ask too much.

    Parameters
    ----------
    gap : (n,) log asking price over the level, nan where unknown. cat : (n,) category indices below ``count``.

    Returns
    -------
    gap : nan too beyond three robust spreads of its category. spans : per category the 5 % and 95 % points of the
    rest, inside which forecasts at other asking prices need no extrapolation.
    """
    kept, spans = np.full(len(gap), np.nan), []
    known = np.isfinite(gap)
    for index in range(count):
        here = known & (cat == index)
        pool = here if here.sum() >= 30 else known  # too few to tell a spread of its own
        span = list(ASKS_TRIED)
        if pool.sum() >= 10:
            centre = float(np.median(gap[pool]))
            spread = max(1.4826 * float(np.median(np.abs(gap[pool] - centre))), 0.05)
            near = np.abs(gap - centre) <= 3.0 * spread
            kept[here & near] = gap[here & near]
            low, high = np.quantile(gap[pool & near], [0.05, 0.95])
            span = [max(float(low), -0.6), min(max(float(high), float(low) + 0.1), 0.6)]
        else:
            kept[here] = gap[here]
        spans.append(span)
    return kept, spans


def _speed(
    state: Ints,
    listed: Floats,
    ended: Floats,
    seen: Floats,
    gap: Floats,
    haggle: Floats,
    cat: Ints,
    product: Ints,
    count: int,
    asks_known: Any,
    is_sold: Any,
) -> dict[str, Any]:
    """Fit time to sell on every dated listing, the unsold as right-censored; else fall back to stock and flow."""
    from models.speed import CUTS, SpeedModel
    from models.survival import littles_law

    stop = np.where(state == 0, seen, ended)
    duration = np.maximum(stop - listed, 0.5)
    usable = ~np.isnan(duration) & ((state != 1) | is_sold)
    # Listings whose asking price was left out as no price of the item say nothing of how it sells either.
    usable &= np.isfinite(gap) | ~asks_known
    sold = (state[usable] == 1).astype(float)
    if sold.sum() >= 10:
        x = np.where(
            np.isfinite(gap[usable]),
            gap[usable],
            float(np.nanmedian(gap[usable])) if np.isfinite(gap[usable]).any() else 0.0,
        )
        model = SpeedModel().fit(duration[usable], sold, x, cat[usable], product[usable], count)
        events = np.bincount(cat[usable], sold, count)
        horizon = float(np.quantile(duration[usable], 0.98))
        return {
            "slope": model.slope_,
            "shape": model.shape_,
            "categories": [
                {
                    "rate": [float(r) for r in model.rate_[i]],
                    "horizon": max(horizon, 30.0),
                    "speed_basis": f"{int(events[i])} dated sales and the unsold listings of its category",
                }
                for i in range(count)
            ],
        }
    categories = []
    for index in range(count):
        here = cat == index
        on_hand = int((here & (state == 0)).sum())
        days = ended[here & is_sold & ~np.isnan(ended)]
        span = float(days.max() - days.min()) if len(days) > 4 else 0.0
        if on_hand and span > 0:
            # Little 1961: mean time on the market = listings on hand / sales a day.
            rate = 1.0 / float(littles_law(on_hand, len(days) / span))
            categories.append(
                {
                    "rate": [rate] * len(CUTS),
                    "horizon": 2.5 / rate,
                    "speed_basis": f"stock and flow: {on_hand} on hand, {len(days)} sold in {span:.0f} days",
                }
            )
        else:
            categories.append({"rate": None, "horizon": 365.0, "speed_basis": ""})
    return {"slope": -2.0, "shape": 2.0, "categories": categories}
