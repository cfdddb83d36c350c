"""What each part of the engine is worth: the markets again with one part at a time put out of action.

A part is put out of action by putting a trivial stand-in in its place while a market is run, so that the engine itself
carries no switch for it. Run it with ``python -m benchmarks.market.ablation --seeds 4 --csv parts.csv``, and write the
page with ``--read parts.csv --page docs/benchmarks_parts.md``.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from unittest.mock import patch

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402 - one thread each, as the line above says
import pandas as pd  # noqa: E402

VARIANTS = ("standard", "all wrong", "turning", "steps")
SHOWN = {
    "share": "share of surplus",
    "error median": "price error",
    "coverage": "coverage of 80 %",
    "brier 30": "Brier 30",
    "profit bias": "profit bias at buys",
}
INTRO = """# What each part of the engine is worth

Written by `python -m benchmarks.market.ablation --page`; do not edit. Each line is the engine with that one part put
out of action, on the same seeds of the simulated markets; figures are its change from the whole engine, mean over the
seeds with its standard error. A part earns its place where the share of the surplus falls, or an error, the Brier score
or the size of the bias rises, without it.
"""


def _ones(residual: Any, scale: Any) -> Any:
    return np.ones(np.broadcast(residual, scale).shape)


def _no_titles(table: Any, model: Any, sales: Any) -> Any:
    from models.features import TitleFit

    return TitleFit({}, np.zeros(len(table.titles)))


def _no_conditions(self: Any, *given: Any) -> None:
    self.condition_se_ = np.zeros(self.condition_.shape)


def _no_strays(table: Any, model: Any) -> Any:
    return np.zeros(len(table.state)), np.zeros(len(table.state))


def _no_cuts(table: Any, centred: Any, listings: Any, model: Any) -> Any:
    from models.speed import CUTS

    return np.repeat(centred[:, None], len(CUTS), axis=1), np.zeros(len(CUTS))


def _as_promised(score: Any, bucket: Any, alpha: str, nominal: float) -> list[float]:
    from sourcing.fitting import BUCKETS

    return [1.0] * (len(BUCKETS) + 1)


def _asks_of_unsold_unseen(original: Callable[..., Any]) -> Callable[..., Any]:
    def observe(*given: Any) -> Any:
        seen = original(*given)
        return dataclasses.replace(seen, price=np.where(seen.sold, seen.price, np.nan))

    return observe


def _level_apart_from_speed(original: Callable[..., Any]) -> Callable[..., Any]:
    def prospects(fit: Any, kin: Any, seen: Any, level: Any, assumed: Any) -> Any:
        from models.proceeds import level_nodes

        found, rate = original(fit, kin, seen, level, assumed)
        return dataclasses.replace(found, weights=level_nodes(level.mean, level.var)[1]), rate

    return prospects


def _nothing(*given: Any, **named: Any) -> None:
    return None


def _nothing_seen(*given: Any) -> list[Any]:
    return []


def _first(self: Any, *given: Any) -> Any:
    return self


def _gap_itself(gap: Any, *given: Any) -> Any:
    return gap


Part = tuple[tuple[str, Any], ...]
PARTS: dict[str, Part] = {
    "the whole engine": (),
    "title words": (("sourcing.learning._titles", _no_titles),),
    "trend of prices": (("models.trend.Trend.improve", _nothing),),
    "conditions": (("models.price.PriceModel._conditions", _no_conditions),),
    "robust weights": (("models.price.student_weights", _ones), ("models.level.student_weights", _ones)),
    "old sales fade": (("sourcing.learning.WALKS", (0.0,)), ("sourcing.learning._USUAL_WALK2", 0.0)),
    "asking prices of the unsold": (("sourcing.forecast.observe", _asks_of_unsold_unseen),),
    "conformal factors": (("sourcing.learning._factors", _as_promised),),
    "strays of a style": (("sourcing.learning._strays", _no_strays),),
    "season of sales": (("models.speed._SEASON_SD", 1e-5), ("models.speed._OWN_SEASON_SD", 1e-5)),
    "pace from month to month": (("models.speed._WALK_SD", 1e-5),),
    "speeds beyond gamma": (("models.frailty.Mixture.bent", _first),),
    "response beyond a power law": (("models.contrast.HINGE_SDS", (0.01,)),),
    "a category's own slope": (("models.contrast.OWN_SLOPE_SD", 1e-3),),
    "sold beside unsold at one age": (("sourcing.pace.fit_contrast", _nothing),),
    "sellers' cuts": (("sourcing.pace._paths", _no_cuts),),
    "calibrated asking prices": (("sourcing.pace.calibrate", _gap_itself),),
    "caution beyond the data": (("models.response.CAUTION", 0.0),),
    "asking prices beyond the data": (("sourcing.pace._BEYOND_LEAST", 0.0), ("sourcing.pace._BEYOND_MOST", 0.0)),
    "promises checked": (("sourcing.promises.check", _nothing_seen),),
    "level and speed together": (("sourcing.forecast._prospects", _level_apart_from_speed),),
}
_WRAPPED = (_asks_of_unsold_unseen, _level_apart_from_speed)


@contextmanager
def without(part: str) -> Iterator[None]:
    """Put one part out of action."""
    with ExitStack() as stack:
        for target, stand_in in PARTS[part]:
            if stand_in in _WRAPPED:
                module, _, name = target.rpartition(".")
                stand_in = stand_in(getattr(sys.modules[module], name))
            stack.enter_context(patch(target, stand_in))
        yield


def measure(part: str, variant: str, seed: int) -> dict[str, object]:
    """Score the engine without one part on one market."""
    import sourcing.forecast
    import sourcing.learning  # noqa: F401 - what is to be replaced must be there
    from benchmarks.market import run

    with without(part):
        return {**run.measure(variant, seed, ("engine",))[0], "part": part}


def table(found: pd.DataFrame) -> str:
    """Lay out the changes as Markdown, one table a variant."""
    lines = []
    for variant, here in found.groupby("variant", sort=False):
        whole = here[here["part"] == "the whole engine"].set_index("seed")
        lines += ["", f"## {variant}, {len(whole)} seeds", "", f"| without | {' | '.join(SHOWN.values())} |"]
        lines.append(f"| --- |{' ---: |' * len(SHOWN)}")
        lines.append(f"| (the whole engine) | {' | '.join(f'{whole[name].mean():.3f}' for name in SHOWN)} |")
        for part in PARTS:
            mine = here[here["part"] == part].set_index("seed")
            if part == "the whole engine" or mine.empty:
                continue
            change = (mine[list(SHOWN)] - whole[list(SHOWN)]).dropna(how="all")
            error = change.std(ddof=1) / np.sqrt(len(change))
            cells = " | ".join(f"{change[name].mean():+.3f} ± {error[name]:.3f}" for name in SHOWN)
            lines.append(f"| {part} | {cells} |")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.market.ablation", description=__doc__)
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--variants", default=",".join(VARIANTS))
    parser.add_argument("--parts", default="")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--csv", type=Path)
    parser.add_argument("--read", type=Path, nargs="+")
    parser.add_argument("--page", type=Path)
    asked = parser.parse_args(arguments)
    if asked.read:
        found = pd.concat([pd.read_csv(path) for path in asked.read], ignore_index=True)
    else:
        parts = asked.parts.split(",") if asked.parts else list(PARTS)
        tasks = [(p, v, s) for v in asked.variants.split(",") for s in range(1, asked.seeds + 1) for p in parts]
        with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn")) as pool:
            found = pd.DataFrame(list(pool.map(measure, *zip(*tasks, strict=True))))
    if asked.csv:
        found.to_csv(asked.csv, index=False)
    print(table(found))
    if asked.page:
        asked.page.write_text(f"{INTRO}{table(found)}\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
