"""Scores of a frame of answers against the truth: money, prices, intervals, chances, promises."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from benchmarks.market.answers import CHANCES, EXTRA
from benchmarks.market.config import HORIZONS, HURDLE
from benchmarks.market.shapes import Floats
from benchmarks.market.shelf import BUCKETS
from benchmarks.market.truth import Truth
from models.scores import brier, murphy, pinball, ratio_study

Scores = dict[str, float]
_THIRTY = HORIZONS.index(30)


def score(answers: pd.DataFrame, truth: Truth, following: Floats, plain: dict[str, Floats]) -> Scores:
    """Score one reader's answers.

    Parameters
    ----------
    answers : the frame of `answers.COLUMNS`, one row an item.
    following : (N,) what the buyer paid at the next comparable sale; nan where there was none.
    plain : chances of a sale within 30 days to compare with, by name: (N,) each.

    Returns
    -------
    Figures by name; nan where nothing can be said. Shares are 0 to 1, money is in the currency of the shelf.
    """
    return {
        **_money(answers, truth),
        **_prices(answers, truth, following),
        **_chances(answers, truth, plain),
    }


def asked(answers: pd.DataFrame, truth: Truth) -> tuple[Floats, Any]:
    """Return asking prices (N,) and which of them the reader named; the best one stands in for the others."""
    ask = answers["ask"].to_numpy(dtype=np.float64)
    named = np.isfinite(ask) & (ask > 0)
    return np.where(named, ask, truth.best_ask), named


def _money(answers: pd.DataFrame, truth: Truth) -> Scores:
    ask, named = asked(answers, truth)
    if (answers["decision"].eq("buy").to_numpy() & ~named).any():
        raise ValueError("a buy without an asking price")
    bought = answers["decision"].eq("buy").to_numpy()
    true = truth.profit(ask[:, None])[:, 0]
    promised = answers["profit"].to_numpy(dtype=np.float64)
    surplus = truth.surplus()
    total = float(surplus.sum())
    found: Scores = {
        "share": float((true - HURDLE)[bought].sum()) / total if total > 0 else float("nan"),
        # The same decisions and asking prices apart: what is lost by wrong picks, and by wrong prices of right ones.
        "share at best asks": float((truth.best - HURDLE)[bought].sum()) / total if total > 0 else float("nan"),
        "buys": float(bought.sum()),
        "right buys": float((truth.best >= HURDLE).sum()),
        "decided": float(np.isin(answers["decision"], ("buy", "pass")).mean()),
        "profit bias": _mean((promised - true)[bought]),
        "profit bias, all": _mean((promised - true)[named]),
        "losing buys": float((true[bought] < 0).sum()),
        "losing share": _mean((true[bought] < 0).astype(float)),
        "ask over best": float(np.exp(np.median(np.log(ask / truth.best_ask)[named]))) if named.any() else float("nan"),
    }
    for b, name in enumerate(BUCKETS):
        here = truth.shelf.bucket == b
        part = float(surplus[here].sum())
        found[f"share {name}"] = float((true - HURDLE)[bought & here].sum()) / part if part > 0 else float("nan")
        found[f"profit bias {name}"] = _mean((promised - true)[bought & here])
    return found


def _prices(answers: pd.DataFrame, truth: Truth, following: Floats) -> Scores:
    low, mid, high = (answers[name].to_numpy(dtype=np.float64) for name in ("q10", "q50", "q90"))
    known = np.isfinite(mid) & np.isfinite(following)
    found: Scores = {"priced": float(known.mean())}
    error = np.abs(mid / following - 1.0)
    inside = ((low <= following) & (following <= high)).astype(float)
    width = (high - low) / mid
    wide = None
    if all(name in answers and np.isfinite(answers.loc[known, name]).all() for name in EXTRA):
        bottom, top = (answers[name].to_numpy(dtype=np.float64) for name in EXTRA)
        wide = ((bottom <= following) & (following <= top)).astype(float)
    groups = {"": known}
    groups |= {f" {name}": known & (truth.shelf.bucket == b) for b, name in enumerate(BUCKETS)}
    for name, here in groups.items():
        found[f"error median{name}"] = _median(error[here])
        found[f"error mean{name}"] = _mean(error[here])
        found[f"coverage{name}"] = _mean(inside[here])
        found[f"width{name}"] = _median(width[here])
        if wide is not None:
            found[f"coverage 90{name}"] = _mean(wide[here])
    for c, name in enumerate(truth.market.constants.names):
        found[f"coverage {name}"] = _mean(inside[known & (truth.shelf.category == c)])
    if not known.any():
        return found
    y = following[known]
    quantiles = [("q10", 0.1), ("q50", 0.5), ("q90", 0.9)]
    if wide is not None:
        quantiles = [("q05", 0.05), *quantiles, ("q95", 0.95)]
    losses = [pinball(y, answers.loc[known, name].to_numpy(dtype=np.float64), q) for name, q in quantiles]
    found["pinball"] = float(np.mean(losses))
    found["crps"] = 2.0 * found["pinball"]  # of the quantiles named: twice the mean quantile loss
    if known.sum() >= 3:
        study = ratio_study(mid[known], y)
        found |= {"level": study.level, "cod": study.cod, "prd": study.prd, "prb": study.prb}
    return found


def _chances(answers: pd.DataFrame, truth: Truth, plain: dict[str, Floats]) -> Scores:
    ask, named = asked(answers, truth)
    real, happened = truth.chance(ask), truth.happened(ask)
    found: Scores = {}
    for k, (day, column) in enumerate(zip(HORIZONS, CHANCES, strict=True)):
        chance = answers[column].to_numpy(dtype=np.float64)
        here = named & np.isfinite(chance)
        if here.any():
            found[f"brier {day}"] = brier(np.clip(chance[here], 0, 1), happened[here, k])
            found[f"chance bias {day}"] = float(np.mean((chance - real[:, k])[here]))
            found[f"chance error {day}"] = float(np.mean(np.abs(chance - real[:, k])[here]))
    chance = answers[CHANCES[_THIRTY]].to_numpy(dtype=np.float64)
    here = named & np.isfinite(chance)
    if not here.any():
        return found
    found["brier 30, truth itself"] = brier(real[here, _THIRTY], happened[here, _THIRTY])
    for name, other in plain.items():
        found[f"brier 30, {name}"] = brier(other[here], happened[here, _THIRTY])
        found[f"chance bias 30, {name}"] = float(np.mean((other - real[:, _THIRTY])[here]))
    found["resolution 30"] = murphy(np.round(np.clip(chance[here], 0, 1), 1), happened[here, _THIRTY]).resolution
    order = np.argsort(chance[here], kind="stable")
    worst = 0.0
    for tenth, rows in enumerate(np.array_split(order, 10), start=1):
        gap = _mean((chance - real[:, _THIRTY])[here][rows])
        found[f"reliability 30, tenth {tenth}"] = gap
        worst = max(worst, abs(gap)) if np.isfinite(gap) else worst
    found["reliability 30, worst tenth"] = worst
    return found


def _mean(values: Floats) -> float:
    values = values[np.isfinite(values)]
    return float(values.mean()) if len(values) else float("nan")


def _median(values: Floats) -> float:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else float("nan")
