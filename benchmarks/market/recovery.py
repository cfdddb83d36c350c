"""Whether the market's true parameters lie within the engine's stated intervals.

``python -m benchmarks.market.recovery --seeds 20`` fits the engine on that many standard markets and prints, by
parameter, how often the truth lies within 90 % intervals, how far off the estimates are on average, and their spread.
``--read FILES --page docs/benchmarks_parameters.md`` writes the page from what ``--csv`` saved.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402 - one thread each, as the line above says
import pandas as pd  # noqa: E402

from benchmarks.market.config import DAYS, VARIANTS  # noqa: E402
from benchmarks.market.draw import CONDITIONS, FIRST, Market, draw_listings  # noqa: E402
from benchmarks.market.shapes import Floats  # noqa: E402
from benchmarks.market.simulate import sell  # noqa: E402
from models.robust import Z90  # noqa: E402

INTRO = """# Known parameters found again

Written by `python -m benchmarks.market.recovery --page`; do not edit. The engine is fitted on the files of simulated
markets, and each parameter it states is set beside the true one: how often the truth lies within the estimate give or
take 1.645 of the standard errors that the engine states, how far off estimates are on average, how much they scatter,
and the standard error stated. Elasticity is the slope of the log chance of a sale a day over the log asking price;
drift, conditions and seasons are by category, season being the two parts of a wave of one turn a year.

Sellers set prices by the level of the day they list, and sell weeks later. So where a level turns, what sales bring
follows it late, and a table of sales shows the drift of sales, not that of the level behind them. The engine states the
first; the line of the second shows how much that is missed by.

A category's own elasticity lies inside less often than nine times in ten. It leans on that of all categories, and both
come out a little flat: a level that is off by some per cent moves a listing's asking price over it, and the stated
error counts that as if it were none.

"""
HALF_YEAR, HALF = 183, np.array([0.5])  # days; years
MANY = 200_000


def recover(variant: str, seed: int) -> list[dict[str, object]]:
    """Fit one market and set each parameter beside its estimate and standard error."""
    from benchmarks.market import engine
    from benchmarks.market.run import World
    from models.trend import curve_at

    world = World(VARIANTS[variant], seed)
    fit = engine.fitted(world.spoilt)
    told = world.market.constants
    share = np.bincount(world.market.styles.category[world.market.listings.style], minlength=len(told.names))
    found: list[dict[str, object]] = []

    def note(parameter: str, true: float, estimate: float, error: float) -> None:
        found.append({"seed": seed, "parameter": parameter, "true": true, "estimate": estimate, "error": error})

    note("elasticity, all categories", float(share @ told.elasticity / share.sum()), fit.slope, fit.slope_se)
    lag = _lag(world.market, seed)
    for c, name in enumerate(told.names):
        kin = fit.categories[name]
        note("elasticity, by category", float(told.elasticity[c]), kin.slope, kin.errors["slope"])
        drift, moved = -float(told.path[c, DAYS - HALF_YEAR - FIRST]), -float(curve_at(np.array(kin.trend), HALF)[0])
        note("half a year's change of what sales bring", drift + lag[c], moved, kin.errors["drift"])
        note("half a year's change of the level behind them", drift, moved, kin.errors["drift"])
        base = CONDITIONS.index(kin.base_condition)
        for k, condition in enumerate(CONDITIONS):
            if k != base:
                true = float(told.condition[c, k] - told.condition[c, base])
                note("condition effects", true, kin.conditions[condition], kin.errors[f"condition {condition}"])
        first, second = _wave(told.season[c])
        # The engine's days count from 1970, the market's last is the engine's newest.
        turn = 2 * np.pi * (fit.as_of - DAYS) / 365.2425
        note("season of sales", first * np.cos(turn) + second * np.sin(turn), kin.season[0], kin.errors["season 1"])
        note("season of sales", second * np.cos(turn) - first * np.sin(turn), kin.season[1], kin.errors["season 2"])
    return found


def _lag(market: Market, seed: int, count: int = MANY) -> Floats:
    """Change over half a year of how far sales lie over the level, (C,), from many more sales than the files hold.

    Sellers set prices by the level of the day they list, and sell weeks later: where a level turns, what sales bring
    follows it late. Other sellers' luck than that in the files, so that nothing of it is shared.
    """
    rng, window = np.random.default_rng([957, seed]), 15
    styles, last = market.styles, DAYS + window
    many = rng.choice(len(styles.share), count, p=styles.share)
    listings = draw_listings(rng, market.constants, styles, many, rng.integers(0, last, count))
    sell(market.constants, styles, listings, last)
    sold = listings.status == 1
    category, ended = styles.category[listings.style[sold]], listings.ended[sold]
    over = (listings.sold - listings.value)[sold]

    def around(day: int, c: int) -> float:
        return float(over[(category == c) & (np.abs(ended - day) <= window)].mean())

    return np.array([around(DAYS, c) - around(DAYS - HALF_YEAR, c) for c in range(len(market.constants.names))])


def _wave(season: np.ndarray) -> tuple[float, float]:
    """Sine and cosine part, of one turn a year, of the log hazard by day (days from FIRST), days counted from day 0."""
    turn = 2 * np.pi * (np.arange(len(season)) + FIRST) / 365.25
    design = np.column_stack([np.sin(turn), np.cos(turn)])
    first, second = np.linalg.lstsq(design, season, rcond=None)[0]
    return float(first), float(second)


def table(found: pd.DataFrame) -> str:
    """Lay out by parameter: how many, coverage of 90 % intervals, bias, spread and the mean stated error."""
    lines = ["| parameter | estimates | within 90 % interval | mean error | spread of errors | stated standard error |"]
    lines.append("| --- | ---: | ---: | ---: | ---: | ---: |")
    for name, part in found.groupby("parameter", sort=False):
        off = part["estimate"] - part["true"]
        inside = (off.abs() <= Z90 * part["error"]).mean()
        stated = part["error"].mean()
        lines.append(f"| {name} | {len(part)} | {inside:.2f} | {off.mean():+.3f} | {off.std():.3f} | {stated:.3f} |")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.market.recovery", description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--variant", default="standard")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--csv", type=Path, help="also write every estimate here")
    parser.add_argument("--read", type=Path, nargs="+", help="run nothing: take the estimates from files of --csv")
    parser.add_argument("--page", type=Path, help="also write the table here, as Markdown")
    asked = parser.parse_args(arguments)
    if asked.read:
        found = pd.concat([pd.read_csv(path) for path in asked.read], ignore_index=True)
    else:
        seeds = range(1, asked.seeds + 1)
        with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn")) as pool:
            parts = pool.map(recover, [asked.variant] * len(seeds), seeds)
            found = pd.DataFrame([record for part in parts for record in part])
    if asked.csv:
        found.to_csv(asked.csv, index=False)
    print(table(found))
    if asked.page:
        asked.page.write_text(f"{INTRO}{found['seed'].nunique()} seeds.\n\n{table(found)}\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
