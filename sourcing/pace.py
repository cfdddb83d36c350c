"""How soon things sell, learnt from the table: from dated listings, else from stock and flow, else not at all."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtr

from models.asking import plausible, within_styles
from models.contrast import Contrast, fit_contrast
from models.price import Floats
from models.response import HINGES, Response, read
from models.speed import CUTS, Listings, SpeedModel, pieces_exposure
from models.survival import littles_law
from sourcing.training import Training

_FEWEST_SALES = 10
_SAME_DAYS = 14.0  # for so long an error of the level is one and the same
# How far over the dearest asking prices seen others are tried, in log price: a little way at any rate, further only as
# far as demand is seen to follow the textbook's power law where that can be checked.
_BEYOND_LEAST, _BEYOND_MOST = 0.1, 0.45
_UNIT = -1.0
_GHOST_ROUNDS = 6
_MOST_GHOSTS = 20.0  # unsold listings that one sale may stand for
_TEXTBOOK_SLOPE = -2.0
_TEXTBOOK_SHAPE = 2.0


def learn_pace(table: Training, level: Floats, level_var: Floats) -> dict[str, Any]:
    """Fit the time to sell.

    Parameters
    ----------
    level : (n,) log level of each row's item on its day. level_var : (n,) variance of its error.

    Returns
    -------
    ``categories`` (a mapping each), ``mixture`` (weights of the speeds), ``slope`` and its standard error: what
    `sourcing.fitting.Fit` keeps.
    """
    count = len(table.categories)
    gap = np.log(table.asked) - level
    odd = np.isfinite(gap) & ~plausible(gap, level_var, table.category, count)
    # A lot of three or a damaged piece is asked far from its style's level and sells like any other: a few of them
    # at such leverage halve the fitted response to the asking price.
    gap = np.where(odd, np.nan, gap)
    usable = ~np.isnan(table.duration) & ((table.state != 1) | table.sold) & ~odd
    sold = (table.state[usable] == 1).astype(np.float64)
    if sold.sum() < _FEWEST_SALES:
        return _stock_and_flow(table)
    centre = _centres(gap, table.category, count)
    first = np.where(np.isfinite(gap), gap, centre[table.category])[usable]
    listings = Listings(
        table.duration[usable], sold, first, table.category[usable],
        table.product[usable], count, table.listed[usable],
    )  # fmt: skip
    model = SpeedModel(rounds=6).fit(listings)
    last = np.clip(np.searchsorted(CUTS, listings.duration, side="left") - 1, 0, len(CUTS) - 1)
    within = within_styles(gap, table.product)[usable]
    asked = np.isfinite(within)
    if not (sold == 0).any():
        return _kept(table, *_with_ghosts(table, listings))
    told = fit_contrast(
        within[asked], sold[asked], last[asked], listings.category[asked],
        model.speeds_[listings.product[asked]], count, (table.when > table.as_of - _SAME_DAYS)[usable][asked],
    )  # fmt: skip
    model = SpeedModel().fit(listings, told)
    found = _kept(table, model, listings)
    if told is not None:
        # A response weaker than one for one cannot be the whole story: no seller would leave it at such prices.
        elastic = float(ndtr((_UNIT - model.slope_) / model.slope_se_))
        found["beyond"] = _BEYOND_LEAST + (_BEYOND_MOST - _BEYOND_LEAST) * told.power_law * elastic
    return found


def _with_ghosts(table: Training, listings: Listings) -> tuple[SpeedModel, Listings]:
    """Fit where only sales are known: what did not sell by now is missing, and is put back in its expected number.

    A sale is seen only if it came before the newest day, so each stands for 1 / F listings of its kind, F its chance to
    have sold by now; (1 - F) / F ghosts are still unsold (right truncation, by EM: Turnbull 1976, JRSS B 38:290). The
    response to the asking price can hardly be told from sales alone: the textbook's is held.
    """
    textbook = Contrast(
        np.concatenate([[_TEXTBOOK_SLOPE], np.zeros(listings.categories + len(HINGES))]),
        np.diag(np.concatenate([[1.0], np.full(listings.categories + len(HINGES), 0.05)])),
    )
    open_for = np.maximum(table.as_of - listings.listed, 0.5)
    model = SpeedModel(rounds=6).fit(listings, textbook)
    for _ in range(_GHOST_ROUNDS):
        spent = np.einsum("np,np->n", model.rate_[listings.category], pieces_exposure(open_for))
        answer = np.empty(len(spent))
        for index, response in enumerate(model.responses_):
            here = listings.category == index
            answer[here] = read(response.values, listings.x[here])
        a, b, _ = model.mixture_.gamma(*_own(model, listings, answer))
        left = np.exp(-a * np.log1p(spent * np.exp(answer) / b))
        missing = np.minimum(left / np.maximum(1.0 - left, 1e-3), _MOST_GHOSTS)
        both = Listings(
            np.concatenate([listings.duration, open_for]), np.concatenate([listings.sold, np.zeros(len(spent))]),
            np.tile(listings.x, 2), np.tile(listings.category, 2), np.tile(listings.product, 2),
            listings.categories, np.tile(listings.listed, 2), None, np.concatenate([np.ones(len(spent)), missing]),
        )  # fmt: skip
        model = SpeedModel(rounds=6).fit(both, textbook)
    return model, listings


def _own(model: SpeedModel, listings: Listings, answer: Floats) -> tuple[Floats, Floats]:
    """Sales and hazard spent of each listing's style: (n,), (n,)."""
    spent = np.einsum("np,np->n", model.rate_[listings.category], pieces_exposure(listings.duration)) * np.exp(answer)
    events = np.bincount(listings.product, listings.sold).astype(np.float64)
    return events[listings.product], np.bincount(listings.product, spent).astype(np.float64)[listings.product]


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


def _kept(table: Training, model: SpeedModel, listings: Listings) -> dict[str, Any]:
    events = np.bincount(listings.category, listings.sold, len(table.categories))
    horizon = max(float(np.quantile(listings.duration, 0.98)), 30.0)
    return {
        "slope": model.slope_,
        "slope_se": model.slope_se_,
        "mixture": model.mixture_.weights.tolist(),
        "beyond": _BEYOND_LEAST,
        "categories": [
            {
                "rate": model.rate_[index].tolist(),
                "season": model.season_[index].tolist(),
                "response": np.round(one.values, 5).tolist(),
                "asks_seen": [one.low, one.high],
                "horizon": horizon,
                "slope": float(model.slopes_[index]),
                "errors": {f"season {wave + 1}": float(model.season_se_[index, wave]) for wave in range(4)}
                | {"slope": float(model.slopes_se_[index])},
                "speed_basis": f"{int(events[index])} dated sales and the unsold listings of its category",
                "speed_from": ["dated", int(events[index])],
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
                "speed_from": ["flow", on_hand, len(days), f"{span:.0f}"],
            }
        categories.append(
            one
            | {"season": [0.0] * 4, "response": textbook.values.tolist(), "asks_seen": [textbook.low, textbook.high]}
        )
    return {
        "slope": _TEXTBOOK_SLOPE,
        "slope_se": 1.5,
        "mixture": gamma_mixture(_TEXTBOOK_SHAPE).weights.tolist(),
        "beyond": _BEYOND_LEAST,
        "categories": categories,
    }
