"""How soon things sell, learnt from the table: from dated listings, else from stock and flow, else not at all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from models.asking import YOUNG, calibrate, plausible, price_paths, within_styles
from models.contrast import fit_contrast
from models.price import Floats
from models.response import HINGES, Response
from models.speed import CUTS, Listings, SpeedModel
from models.survival import littles_law
from sourcing.training import Training

_FEWEST_SALES = 10
_TEXTBOOK_SLOPE = -2.0
_TEXTBOOK_SHAPE = 2.0


def learn_pace(table: Training, level: Floats, style_var: Floats, own_var: Floats) -> dict[str, Any]:
    """Fit the time to sell.

    Parameters
    ----------
    level : (n,) log level of each row's item on its day. style_var, own_var : (n,) variance
    of its error, the part that the style's listings share and the part of each.

    Returns
    -------
    ``categories`` (a mapping each), ``mixture`` (weights of the speeds), ``season`` (4 harmonics), ``slope`` and its
    standard error: what `sourcing.fitting.Fit` keeps.
    """
    count = len(table.categories)
    gap = np.log(table.asked) - level
    odd = np.isfinite(gap) & ~plausible(gap, style_var + own_var, table.category, count)
    # A lot of three or a damaged piece is asked far from its style's level and sells like any other: a few of them
    # at such leverage halve the fitted response to the asking price.
    gap = np.where(odd, np.nan, gap)
    x = calibrate(gap, style_var, own_var, table.product, table.category, count)
    usable = ~np.isnan(table.duration) & ((table.state != 1) | table.sold) & ~odd
    sold = (table.state[usable] == 1).astype(np.float64)
    if sold.sum() < _FEWEST_SALES:
        return _stock_and_flow(table)
    centre = _centres(x, table.category, count)
    first = np.where(np.isfinite(x), x, centre[table.category])[usable]
    listings = Listings(
        table.duration[usable], sold, np.repeat(first[:, None], len(CUTS), axis=1), table.category[usable],
        table.product[usable], count, table.listed[usable],
    )  # fmt: skip
    model = SpeedModel(rounds=6).fit(listings)
    last = np.clip(np.searchsorted(CUTS, listings.duration, side="left") - 1, 0, len(CUTS) - 1)
    within = within_styles(gap, table.product)[usable]
    asked = np.isfinite(within)
    told = fit_contrast(
        within[asked], sold[asked], last[asked], listings.category[asked],
        model.speeds_[listings.product[asked]], count,
    )  # fmt: skip
    path = _paths(table, first - centre[listings.category], listings, model) + centre[listings.category][:, None]
    model = SpeedModel().fit(replace(listings, x=path), told)
    return _kept(table, model, listings)


def _centres(x: Floats, category: Any, count: int) -> Floats:
    """Median log asking price over level by category, leaning on all of them like on 20 listings."""
    known = np.isfinite(x)
    overall = float(np.median(x[known])) if known.any() else 0.0
    found = np.full(count, overall)
    for index in range(count):
        here = known & (category == index)
        if here.any():
            found[index] = (here.sum() * float(np.median(x[here])) + 20 * overall) / (here.sum() + 20)
    return found


def _paths(table: Training, centred: Floats, listings: Listings, model: SpeedModel) -> Floats:
    """What each listing asked in each piece of age, as logs over level and category centre: (n, pieces)."""
    young = listings.listed >= table.as_of - YOUNG
    share = np.bincount(listings.category, minlength=len(table.categories)) / len(centred)
    response = np.sum([part * one.values for part, one in zip(share, model.responses_, strict=True)], axis=0)
    return price_paths(
        centred, listings.duration, listings.sold, young, CUTS, share @ model.rate_, response, model.shape_
    )


def _kept(table: Training, model: SpeedModel, listings: Listings) -> dict[str, Any]:
    events = np.bincount(listings.category, listings.sold, len(table.categories))
    horizon = max(float(np.quantile(listings.duration, 0.98)), 30.0)
    return {
        "slope": model.slope_,
        "slope_se": model.slope_se_,
        "mixture": model.mixture_.weights.tolist(),
        "season": model.season_.tolist(),
        "categories": [
            {
                "rate": model.rate_[index].tolist(),
                "response": np.round(one.values, 5).tolist(),
                "asks_seen": [one.low, one.high],
                "horizon": horizon,
                "speed_basis": f"{int(events[index])} dated sales and the unsold listings of its category",
            }
            for index, one in enumerate(model.responses_)
        ],
    }


def _stock_and_flow(table: Training) -> dict[str, Any]:
    """Without listing dates: mean time on the market = listings on hand / sales a day (Little 1961)."""
    from models.frailty import gamma_mixture

    textbook = Response.of(_TEXTBOOK_SLOPE, np.zeros(len(HINGES)), _TEXTBOOK_SLOPE, 0.5, np.array([]))
    categories = []
    for index in range(len(table.categories)):
        here = table.category == index
        on_hand = int((here & (table.state == 0)).sum())
        days = table.ended[here & table.sold & ~np.isnan(table.ended)]
        span = float(days.max() - days.min()) if len(days) > 4 else 0.0
        one: dict[str, Any] = {"rate": None, "horizon": 365.0, "speed_basis": ""}
        if on_hand and span > 0:
            rate = 1.0 / float(littles_law(on_hand, len(days) / span))
            one = {
                "rate": [rate] * len(CUTS),
                "horizon": 2.5 / rate,
                "speed_basis": f"stock and flow: {on_hand} on hand, {len(days)} sold in {span:.0f} days",
            }
        categories.append(one | {"response": textbook.values.tolist(), "asks_seen": [textbook.low, textbook.high]})
    return {
        "slope": _TEXTBOOK_SLOPE,
        "slope_se": 1.5,
        "mixture": gamma_mixture(_TEXTBOOK_SHAPE).weights.tolist(),
        "season": [0.0] * 4,
        "categories": categories,
    }
