"""Run readers on markets, seed by seed, and collect their scores."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from multiprocessing import get_context

import numpy as np
import pandas as pd

from benchmarks.market import engine, hand, informed, textbook
from benchmarks.market.answers import blank
from benchmarks.market.config import HURDLE, VARIANTS, Config
from benchmarks.market.dirt import Spoilt, spoil
from benchmarks.market.draw import Market, draw_market
from benchmarks.market.plain import plain_chances
from benchmarks.market.rivals import next_sales
from benchmarks.market.score import Scores, score
from benchmarks.market.shapes import Floats
from benchmarks.market.shelf import Shelf, draw_shelf
from benchmarks.market.truth import Truth


@dataclass(frozen=True)
class World:
    """One seed of one kind of market, with what its files hold and what is on the shelf."""

    config: Config
    seed: int

    @cached_property
    def market(self) -> Market:
        """The market as it is."""
        return draw_market(self.config, self.seed)

    @cached_property
    def spoilt(self) -> Spoilt:
        """The market as exports show it."""
        return spoil(self.market, self.seed)

    @cached_property
    def shelf(self) -> Shelf:
        """The items to judge."""
        return draw_shelf(self.market, self.spoilt, self.seed)

    @cached_property
    def truth(self) -> Truth:
        """What would truly become of them."""
        return Truth(self.market, self.shelf, self.seed)

    @cached_property
    def following(self) -> Floats:
        """What the next comparable sale brings, (N,)."""
        return np.exp(next_sales(self.market, self.shelf, self.seed))


def _foresight(world: World) -> pd.DataFrame:
    found = blank(len(world.shelf))
    found["ask"], found["profit"] = world.truth.best_ask, world.truth.best
    found.loc[world.truth.best >= HURDLE, "decision"] = "buy"
    return found


Reader = Callable[[World], pd.DataFrame]
READERS: dict[str, Reader] = {
    "hand": lambda world: hand.answer(world.market, world.spoilt, world.shelf),
    "informed": lambda world: informed.answer(
        world.market, world.spoilt, world.shelf, world.seed + 10_000, world.truth.rivals
    ),
    "textbook": lambda world: informed.answer(
        world.market, world.spoilt, world.shelf, world.seed + 10_000, told=textbook.believed(world.market)
    ),
    "engine": lambda world: engine.answer(world.market, world.spoilt, world.shelf),
    "foresight": _foresight,
}


def measure(variant: str, seed: int, readers: tuple[str, ...]) -> list[dict[str, object]]:
    """Score readers on one market: one record a reader, with its scores and seconds.

    The textbook reader sits out where the textbook's shapes are true, for there it is the informed one.
    """
    world = World(VARIANTS[variant], seed)
    found: list[dict[str, object]] = []
    plain = plain_chances(world.market, world.spoilt, world.shelf)
    for name in readers:
        if name == "textbook" and not world.config.textbook:
            continue
        start = time.perf_counter()
        answers = READERS[name](world)
        seconds = time.perf_counter() - start
        scores: Scores = score(answers, world.truth, world.following, plain)
        found.append({"variant": variant, "seed": seed, "reader": name, "seconds": seconds, **scores})
    return found


def measure_all(variants: Iterable[str], seeds: Iterable[int], readers: tuple[str, ...], jobs: int) -> pd.DataFrame:
    """Score readers on every market named, in several processes of one thread each."""
    tasks = [(variant, seed) for variant in variants for seed in seeds]
    if jobs == 1:
        return pd.DataFrame([record for variant, seed in tasks for record in measure(variant, seed, readers)])
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        parts = pool.map(measure, *zip(*tasks, strict=True), [readers] * len(tasks))
        return pd.DataFrame([record for part in parts for record in part])
