"""Pictures of how readers do on the simulated markets, for the pages on the method.

``python -m benchmarks.market.pictures FILES OF --csv`` draws docs/pictures/*.svg from saved scores, and the response to
the asking price of one market from a fit made for it.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

FOLDER = Path(__file__).parent.parent.parent / "docs" / "pictures"
READERS = {"informed": ("o", "C0"), "engine": ("s", "C1"), "hand": ("^", "C2")}  # marks too: never colour alone
BUCKETS = ("0", "1-3", "4-12", "13+")


def draw(scores: pd.DataFrame, folder: Path) -> list[Path]:
    """Draw every picture that saved scores suffice for, and return where they are."""
    folder.mkdir(parents=True, exist_ok=True)
    standard = scores[scores["variant"] == "standard"]
    made = [
        _by_bucket(standard, "error median", "median price error", folder / "price_error.svg", None),
        _by_bucket(standard, "coverage", "share of sales in the 80 % interval", folder / "coverage.svg", 0.8),
        _reliability(standard, folder / "reliability.svg"),
        _shares(scores, folder / "shares.svg"),
    ]
    return made


def _figure(width: float = 6.4, height: float = 3.4) -> tuple[Any, Any]:
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams |= {"svg.hashsalt": "pictures", "svg.fonttype": "none", "font.size": 10, "axes.grid": True,
                     "grid.alpha": 0.3, "axes.spines.top": False, "axes.spines.right": False}  # fmt: skip
    from matplotlib import pyplot

    return pyplot.subplots(figsize=(width, height), layout="constrained")


def _save(figure: Any, path: Path) -> Path:
    from matplotlib import pyplot

    figure.savefig(path, metadata={"Date": None, "Creator": None}, facecolor="white")
    pyplot.close(figure)
    path.write_text("\n".join(line.rstrip() for line in path.read_text().splitlines()) + "\n")
    return path


def _by_bucket(standard: pd.DataFrame, name: str, label: str, path: Path, goal: float | None) -> Path:
    figure, axes = _figure()
    for reader, (mark, colour) in READERS.items():
        mine = standard[standard["reader"] == reader]
        values = mine[[f"{name} {bucket}" for bucket in BUCKETS]].to_numpy(dtype=float)
        spread = np.nanstd(values, axis=0, ddof=1) / np.sqrt(len(values)) if len(values) > 1 else None
        axes.errorbar(BUCKETS, np.nanmean(values, axis=0), spread, marker=mark, color=colour, label=reader, capsize=3)
    if goal is not None:
        axes.axhline(goal, color="black", linewidth=1, linestyle="--")
        axes.text(2.2, goal - 0.05, f"aimed at: {goal:g}")
    axes.set(xlabel="own sold comps", ylabel=label, ylim=(0, None))
    axes.legend(frameon=False)
    return _save(figure, path)


def _reliability(standard: pd.DataFrame, path: Path) -> Path:
    figure, axes = _figure()
    tenths = np.arange(1, 11)
    for reader in ("informed", "engine"):
        mark, colour = READERS[reader]
        mine = standard[standard["reader"] == reader]
        values = mine[[f"reliability 30, tenth {k}" for k in tenths]].to_numpy(dtype=float)
        error = np.nanstd(values, axis=0, ddof=1) / np.sqrt(len(values)) if len(values) > 1 else None
        axes.errorbar(tenths, np.nanmean(values, axis=0), error, marker=mark, color=colour, label=reader, capsize=3)
    axes.axhspan(-0.05, 0.05, color="black", alpha=0.06)
    axes.axhline(0, color="black", linewidth=1)
    axes.set(xlabel="tenth of the items, by chance promised", ylabel="chance promised less true", xticks=tenths)
    axes.set_title("sold within 30 days; grey: within 0.05", fontsize=10)
    axes.legend(frameon=False)
    return _save(figure, path)


def _shares(scores: pd.DataFrame, path: Path) -> Path:
    names = [name for name in dict.fromkeys(scores["variant"]) if name != "open only"]
    figure, axes = _figure(6.4, 0.8 + 0.28 * len(names))
    places = np.arange(len(names))[::-1]
    for reader, (mark, colour) in READERS.items():
        mine = scores[scores["reader"] == reader].groupby("variant")["share"].mean()
        values = [float(mine.get(name, np.nan)) for name in names]
        axes.plot(values, places, mark, color=colour, label=reader)
    axes.axvline(0, color="black", linewidth=1)
    axes.set(xlabel="share of the possible surplus", yticks=places, yticklabels=names)
    axes.legend(frameon=False, loc="lower left")
    return _save(figure, path)


def draw_response(variant: str, seed: int, path: Path) -> Path:
    """Fit one market and draw each category's learnt response to the asking price beside the true one."""
    from benchmarks.market import engine
    from benchmarks.market.config import VARIANTS
    from benchmarks.market.run import World
    from benchmarks.market.shapes import log_demand
    from models.response import TABLE

    world = World(VARIANTS[variant], seed)
    fit = engine.fitted(world.spoilt)
    figure, axes = _figure(6.4, 3.8)
    told, x = world.market.constants, np.linspace(-0.2, 0.6, 81)
    for c, name in enumerate(told.names):
        kin = fit.categories[name]
        axes.plot(x, log_demand(told.config.demand, x, told.elasticity[c]), color=f"C{c}", linewidth=1, linestyle=":")
        learnt = np.interp(x, TABLE, np.array(kin.response))
        seen = (x >= kin.asks_seen[0]) & (x <= kin.asks_seen[1])
        axes.plot(x[x <= kin.asks_seen[1] + fit.beyond], learnt[x <= kin.asks_seen[1] + fit.beyond], color=f"C{c}",
                  linewidth=1, linestyle="--")  # fmt: skip
        axes.plot(x[seen], learnt[seen], color=f"C{c}", linewidth=2.5, label=name)
    axes.set(xlabel="log of asking price over level", ylabel="log hazard over that at the level")
    axes.set_title("dotted: true; thick: learnt where asking prices are seen; dashed: beyond them", fontsize=10)
    axes.legend(frameon=False, fontsize=8)
    return _save(figure, path)


def main(arguments: list[str]) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.market.pictures", description=__doc__)
    parser.add_argument("scores", nargs="+", type=Path)
    asked = parser.parse_args(arguments)
    scores = pd.concat([pd.read_csv(path) for path in asked.scores], ignore_index=True)
    for path in [*draw(scores, FOLDER), draw_response("standard", 1, FOLDER / "response.svg"),
                 draw_response("cliff", 1, FOLDER / "response_cliff.svg")]:  # fmt: skip
        print(path)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
