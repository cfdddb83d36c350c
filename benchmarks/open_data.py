"""The engine beside general-purpose libraries on data that others made, and on made data of known truth.

Every data set and rival is named where it is used. Rivals get the very rows and columns that ours gets.
"""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path
from typing import Any

from benchmarks._fit_costs import chance_below, measured
from benchmarks._open_durations import covariates, known_truth
from benchmarks._open_prices import auctions, flow, houses


def _costs() -> list[dict[str, Any]]:
    lines = []
    dummies = "one-hot category, brand's cell, style, size and condition, and age"
    for suffix, name, told in (
        ("", "no title words on either side", dummies),
        (
            "-titles",
            "title words on both sides",
            f"{dummies}, TF-IDF words of each sale's title; ours reads a style's once",
        ),
    ):
        ours, rival = measured(f"price{suffix}", 100_000), measured(f"price-ridge{suffix}", 100_000)
        detail = f"{ours[0]:.2f} s and {rival[0]:.2f} s: scikit-learn's Ridge (sparse_cg) on {told}"
        lines.append(
            _row(f"Price fit, 100,000 sales, {name}: CPU over sparse ridge's", ours[0] / rival[0], 0.3, detail)
        )
    for rows, unit in ((1_000_000, "days"), (200_000, "hours")):
        ours, rival = measured(f"speed-{unit}", rows), measured(f"cox-{unit}", rows)
        name = f"Time-to-sell fit, {rows:,} listings known to {unit}"
        what = "lifelines' CoxPHFitter on log(ask / level) and 40 categories, without speeds of styles"
        detail = f"{ours[0]:.1f} s and {rival[0]:.1f} s: {what}"
        lines.append(_row(f"{name}: CPU over Cox's", ours[0] / rival[0], 0.2, detail))
        detail = f"{ours[1]:.0f} MB and {rival[1]:.0f} MB of the whole process: {what}"
        lines.append(_row(f"{name}: peak memory over Cox's", ours[1] / rival[1], 0.4, detail))
    return lines


def _row(name: str, ratio: float, bar: float | None, detail: str) -> dict[str, Any]:
    return {"name": name, "ratio": ratio, "bar": bar, "detail": detail}


def run() -> list[dict[str, Any]]:
    """Measure everything."""
    lines = []
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("ignore")  # the rivals' own, of newer pandas
        for name, size in (("rossi", "432 rows"), ("gbsg2", "686 rows")):
            c = covariates(name, 5)
            what = "against lifelines' CoxPHFitter, 5 folds 5 times"
            gap = max(abs(c["concordance"] - c["concordance_cox"]), abs(c["in_sample"] - c["in_sample_cox"]))
            lines.append(_row(f"{name}, {size}: concordance away from Cox's", gap, 0.01,
                              f"{c['concordance']:.4f} and {c['concordance_cox']:.4f} {what}; "
                              f"in sample {c['in_sample']:.4f} and {c['in_sample_cox']:.4f}"))  # fmt: skip
            lines.append(_row(f"{name}, {size}: integrated Brier score over Cox's", c["brier"] / c["brier_cox"], 1.0,
                              f"{c['brier']:.5f} and {c['brier_cox']:.5f} (IPCW) {what}"))  # fmt: skip
        h = houses(Path(folder))
        lines.append(_row("GrinnellHouses, 929 sales: error of payment over the median ratio's",
                          h["error"] / h["error_plain"], 1.0,
                          f"median relative error {h['error']:.5f} and {h['error_plain']:.5f}, 5 folds; learnt "
                          f"{h['haggle']:.4f}, median log ratio {h['median_log_ratio']:.4f}"))  # fmt: skip
        areas = flow(Path(folder))
        off = max(abs(ours - told) / (0.05 + 0.01 * told) for _, ours, told in areas)
        lines.append(_row("txhousing, 8 areas: months by stock and flow, worst error over the allowed", off, 1.0,
                          "allowed: the column's rounding and 1 %; " + ", ".join(
                              f"{ours:.2f} for {told}" for _, ours, told in areas)))  # fmt: skip
        a = auctions(Path(folder), 5)
        for rival, what in (("group", "quantiles of like auctions"), ("boosted", "boosted quantile regression")):
            lines.append(_row(f"mariokart, 141 auctions: pinball loss over that of {what}", a["ours"] / a[rival], 1.0,
                              f"{a['ours']:.4f} and {a[rival]:.4f}, 10, 50 and 90 %, 5 folds 5 times"))  # fmt: skip
        t = known_truth(100_000, 3)
        what = "3,000 made styles, 100,000 listings, 3 draws"
        lines.append(_row("Known truth: worst error of the slope, -2.5", t["slope_error"], 0.08,
                          f"{', '.join(f'{s:.3f}' for s in t['slopes'])}: {what}"))  # fmt: skip
        lines.append(_row("Known truth: integrated Brier score over the oracle's", t["brier"], 1.10, what))
        lines.append(_row("Known truth: the same of lifelines' CoxPHFitter", t["brier_cox"], None, what))
        below = {var: chance_below(var) for var in (0.0001, 0.01, 0.04)}
        lines.append(_row("Chance of profit: worst error beside 4,096 levels", max(below.values()), 0.002,
                          ", ".join(f"{off:.4f} at level variance {v}" for v, off in below.items())))  # fmt: skip
    return lines + _costs()
