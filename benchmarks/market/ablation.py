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

_AFRESH = ("asking prices of the unsold", "conformal factors")
VARIANTS: dict[str, tuple[str, ...]] = {  # parts worth a look there; nothing named: all of them
    "standard": (),
    "60 rows": ("title words", "trend of prices", "robust weights", "speeds beyond gamma", "a style's own speed",
                "level and speed together", *_AFRESH),
    "unsaid dirt": ("robust weights", "old sales fade", *_AFRESH),
    "turning": ("trend of prices", "old sales fade", "pace from month to month", "promises checked", *_AFRESH),
    "steps": ("trend of prices", "robust weights", "old sales fade", "strays of a style", "level and speed together",
              *_AFRESH),
    "cliff": ("response beyond a power law", "a category's own slope", "sold beside unsold at one age",
              "caution beyond the data", "asking prices beyond the data"),
    "mixed speeds": ("speeds beyond gamma", "a style's own speed", "level and speed together",
                     "sold beside unsold at one age"),
    "wide asks": ("response beyond a power law", "a category's own slope", "sold beside unsold at one age",
                  "caution beyond the data", "level and speed together", "asking prices of the unsold"),
    "humped": ("pace from month to month", "promises checked", "sold beside unsold at one age"),
}  # fmt: skip
# Worth nothing on the markets made for them: no longer in the engine. Their figures are kept with the others.
TAKEN_OUT = ("sellers' cuts", "calibrated asking prices")
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
or the size of the bias rises, without it. The standard market tries every part, the others those that should matter
there. Parts that were worth nothing on the markets made for them have been taken out of the engine since; the figures
are those of the engine that still had them. More seeds were run where three did not decide; the whole engine's line
is over all of them.
"""


def _ones(residual: Any, scale: Any) -> Any:
    return np.ones(np.broadcast(residual, scale).shape)


def _no_titles(table: Any, model: Any, sales: Any) -> Any:
    from models.features import TitleFit

    return TitleFit({}, np.zeros(len(table.titles)))


def _no_strays(table: Any, model: Any) -> Any:
    return np.zeros(len(table.state)), np.zeros(len(table.state))


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


def _speeds_of_kin(original: Callable[..., Any]) -> Callable[..., Any]:
    def prospects(fit: Any, kin: Any, seen: Any, level: Any, assumed: Any) -> Any:
        return original(fit, kin, dataclasses.replace(seen, days=np.full(len(seen.days), np.nan)), level, assumed)

    return prospects


def _nothing_seen(*given: Any) -> list[Any]:
    return []


def _nothing(*given: Any, **named: Any) -> None:
    return None


def _first(self: Any, *given: Any) -> Any:
    return self


Part = tuple[tuple[str, Any], ...]
PARTS: dict[str, Part] = {
    "the whole engine": (),
    "title words": (("sourcing.learning._titles", _no_titles),),
    "trend of prices": (("models.trend.Trend.improve", _nothing),),
    "conditions": (("models.price.PriceModel._conditions", _nothing),),
    "robust weights": (("models.price.student_weights", _ones), ("models.level.student_weights", _ones)),
    "old sales fade": (("sourcing.learning.WALKS", (0.0,)), ("sourcing.learning._USUAL_WALK2", 0.0)),
    "asking prices of the unsold": (("sourcing.forecast.observe", _asks_of_unsold_unseen),),
    "conformal factors": (("sourcing.learning._factors", _as_promised),),
    "strays of a style": (("sourcing.learning._strays", _no_strays),),
    "season of sales": (("models.effects._SEASON_SD", 1e-5), ("models.effects._OWN_SEASON_SD", 1e-5)),
    "pace from month to month": (("models.effects._WALK_SD", 1e-5),),
    "speeds beyond gamma": (("models.frailty.Mixture.bent", _first),),
    "response beyond a power law": (("models.contrast.HINGE_SDS", (0.01,)),),
    "a category's own slope": (("models.contrast.OWN_SLOPE_SD", 1e-3),),
    "sold beside unsold at one age": (("sourcing.pace.fit_contrast", _nothing),),
    "caution beyond the data": (("models.response.CAUTION", 0.0),),
    "asking prices beyond the data": (("sourcing.pace._BEYOND_LEAST", 0.0), ("sourcing.pace._BEYOND_MOST", 0.0)),
    "promises checked": (("sourcing.promises.check", _nothing_seen),),
    "a style's own speed": (("sourcing.forecast._prospects", _speeds_of_kin),),
    "level and speed together": (("sourcing.forecast._prospects", _level_apart_from_speed),),
}
_WRAPPED = (_asks_of_unsold_unseen, _level_apart_from_speed, _speeds_of_kin)


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


def measure(variant: str, seed: int, parts: tuple[str, ...]) -> list[dict[str, object]]:
    """Score the engine without each of the parts on one market, whose files are loaded once."""
    import sourcing.forecast
    import sourcing.learning  # noqa: F401 - what is to be replaced must be there
    from benchmarks.market import engine
    from benchmarks.market.config import VARIANTS as KINDS
    from benchmarks.market.run import World
    from benchmarks.market.score import score
    from sourcing.check import check_list
    from sourcing.fitting import refit

    world, found = World(KINDS[variant], seed), []
    with engine.loaded(world.spoilt) as store:
        queries, settings = engine.queries(world.market, world.shelf), engine.settings_of()
        for part in parts:
            with without(part):
                refit(store)
                answers = engine.frame_of(check_list(store, queries, settings, detail=False))
            scores = score(answers, world.truth, world.following, {})
            found.append({"variant": variant, "seed": seed, "part": part, **scores})
    return found


def table(found: pd.DataFrame) -> str:
    """Lay out the changes as Markdown, one table a variant."""
    lines = []
    for variant, here in found.groupby("variant", sort=False):
        whole = here[here["part"] == "the whole engine"].set_index("seed")
        lines += ["", f"## {variant}", "", f"| without | seeds | {' | '.join(SHOWN.values())} |"]
        lines.append(f"| --- | ---: |{' ---: |' * len(SHOWN)}")
        lines.append(
            f"| (the whole engine) | {len(whole)} | {' | '.join(f'{whole[name].mean():.3f}' for name in SHOWN)} |"
        )
        for part in (*PARTS, *TAKEN_OUT):
            mine = here[here["part"] == part].set_index("seed")
            if part == "the whole engine" or mine.empty:
                continue
            change = (mine[list(SHOWN)] - whole[list(SHOWN)]).dropna(how="all")
            error = change.std(ddof=1) / np.sqrt(len(change))
            cells = " | ".join(f"{change[name].mean():+.3f} ± {error[name]:.3f}" for name in SHOWN)
            gone = " (taken out since)" if part in TAKEN_OUT else ""
            lines.append(f"| {part}{gone} | {len(change)} | {cells} |")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.market.ablation", description=__doc__)
    parser.add_argument("--seeds", default="4", help="how many, or some: 3, or 7,8,9")
    parser.add_argument("--variants", default=",".join(VARIANTS))
    parser.add_argument("--parts", default="", help="those, on every variant")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--csv", type=Path, help="add every score of every seed to this file")
    parser.add_argument("--read", type=Path, nargs="+", help="run nothing: take the scores from files of --csv")
    parser.add_argument("--page", type=Path, help="also write the tables here, as Markdown")
    asked = parser.parse_args(arguments)
    if asked.read:
        found = pd.concat([pd.read_csv(path) for path in asked.read], ignore_index=True)
        found = found.drop_duplicates(["variant", "seed", "part"], keep="last")
    else:
        seeds = [int(one) for one in asked.seeds.split(",")] if "," in asked.seeds else range(1, int(asked.seeds) + 1)
        tasks = [(v, s, _parts(v, asked.parts)) for v in asked.variants.split(",") for s in seeds]
        records: list[dict[str, object]] = []
        with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn")) as pool:
            for part in pool.map(measure, *zip(*tasks, strict=True)):
                records += part
                if asked.csv:  # a long run that is broken off keeps what it has
                    pd.DataFrame(records).to_csv(asked.csv, index=False)
        found = pd.DataFrame(records)
    print(table(found))
    if asked.page:
        asked.page.write_text(f"{INTRO}{table(found)}\n", encoding="utf-8")
    return 0


def _parts(variant: str, asked: str) -> tuple[str, ...]:
    named = tuple(asked.split(",")) if asked else VARIANTS[variant]
    return ("the whole engine", *(part for part in named if part != "the whole engine")) if named else tuple(PARTS)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
