"""Whether the market's true parameters lie within the engine's stated intervals.

``python -m benchmarks.market.recovery --seeds 20`` fits the engine on that many standard markets and prints, by
parameter, how often the truth lies within 90 % intervals, how far off the estimates are on average, and their spread.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402 - one thread each, as the line above says
import pandas as pd  # noqa: E402

_Z90 = 1.6448536269514722


def recover(variant: str, seed: int) -> list[dict[str, object]]:
    """Fit one market and set each parameter beside its estimate and standard error."""
    from benchmarks.market import engine
    from benchmarks.market.config import DAYS, VARIANTS
    from benchmarks.market.draw import CONDITIONS, FIRST
    from benchmarks.market.run import World
    from models.trend import curve_at
    from sourcing.fitting import current_fit, refit
    from sourcing.storage import open_store

    world = World(VARIANTS[variant], seed)
    with tempfile.TemporaryDirectory(prefix="recovery-") as folder:
        store = open_store(str(Path(folder) / "data.sqlite3"))
        engine.load(store, world.spoilt, Path(folder))
        refit(store)
        fit = current_fit(store)
        store.close()
    assert fit is not None
    told = world.market.constants
    share = np.bincount(world.market.styles.category[world.market.listings.style], minlength=len(told.names))
    found: list[dict[str, object]] = []

    def note(parameter: str, true: float, estimate: float, error: float) -> None:
        found.append({"seed": seed, "parameter": parameter, "true": true, "estimate": estimate, "error": error})

    note("elasticity, all categories", float(share @ told.elasticity / share.sum()), fit.slope, fit.slope_se)
    for c, name in enumerate(told.names):
        kin = fit.categories[name]
        note("drift of the last half year", -float(told.path[c, DAYS - 183 - FIRST]),
             -float(curve_at(np.array(kin.trend), np.array([0.5]))[0]), kin.errors["drift"])  # fmt: skip
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


def _wave(season: np.ndarray) -> tuple[float, float]:
    """Sine and cosine part, of one turn a year, of the log hazard by day (days from FIRST), days counted from day 0."""
    from benchmarks.market.draw import FIRST

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
        inside = (off.abs() <= _Z90 * part["error"]).mean()
        stated = part["error"].mean()
        lines.append(f"| {name} | {len(part)} | {inside:.2f} | {off.mean():+.3f} | {off.std():.3f} | {stated:.3f} |")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.market.recovery", description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--variant", default="standard")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--csv", type=Path)
    asked = parser.parse_args(arguments)
    seeds = range(1, asked.seeds + 1)
    with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn")) as pool:
        parts = pool.map(recover, [asked.variant] * len(seeds), seeds)
        found = pd.DataFrame([record for part in parts for record in part])
    if asked.csv:
        found.to_csv(asked.csv, index=False)
    print(table(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
