"""The tuning bench over 5,000 candidates and 40 thresholds, beside 40 vectorised passes over the same candidates.

A pass applies one setting of a category's rules to every candidate and sums up what its buys brought: asking prices
chosen, limits compared, money added up, as arrays. The bench does all thresholds at once, and then the bands and the
gain out of sample. The history is invented.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np

from benchmarks._threads import one_thread
from models.proceeds import STEPS
from sourcing.settings import CategorySettings, default_settings
from sourcing.tuning.buys import Thresholds, buys
from sourcing.tuning.frontier import frontier
from sourcing.tuning.replay import Replay
from sourcing.tuning.tally import tally

CANDIDATES, STYLES, THRESHOLDS = 5_000, 900, 40
ROUNDS = 5


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    return one_thread(_measure)()


def _measure() -> list[dict[str, Any]]:
    history, deal = _history(), default_settings().for_category("shoes")
    found = []
    for rule, step, choice in (
        ("least_profit", Decimal("0.50"), "the asking price stays"),
        ("wanted_chance", Decimal("0.02"), "the asking price is chosen anew for each"),
    ):
        tried: Thresholds = tuple(step * number for number in range(1, THRESHOLDS + 1))
        passes, sweep, whole = (list[float]() for _ in range(3))
        for _ in range(ROUNDS):
            passes.append(_cpu(lambda rule=rule, tried=tried: [_pass(history, deal, rule, one) for one in tried]))
            sweep.append(_cpu(lambda rule=rule, tried=tried: tally(history, buys(history, deal, rule, tried)).total))
            whole.append(_cpu(lambda rule=rule: frontier(history, deal, "shoes", rule, "profit", {}, "USD")))
        for name, times, bar in (
            ("all thresholds at once", sweep, 1.0),
            ("the same with bands, the best and its gain out of sample", whole, 3.0),
        ):
            found.append(
                {
                    "name": f"tune {rule}, {CANDIDATES:,} candidates x {THRESHOLDS} thresholds: {name}",
                    "ratio": min(times) / min(passes),
                    "bar": bar,
                    "detail": f"{min(times) * 1e3:.0f} ms against {min(passes) * 1e3:.0f} ms of {THRESHOLDS} "
                    f"vectorised passes; {choice}",
                }
            )
    return found


def _pass(history: Replay, deal: CategorySettings, rule: str, threshold: Decimal | None) -> Any:
    there = dataclasses.replace(deal, rules=dataclasses.replace(deal.rules, **{rule: threshold}))
    return tally(history, buys(history, there, rule, (threshold,))).total


def _history() -> Replay:
    """Invent a replayed history of plausible sizes."""
    rng = np.random.default_rng(952)
    n = CANDIDATES
    level = np.exp(rng.normal(3.8, 0.4, n))
    ask = level[:, None] * np.exp(np.linspace(-0.3, 0.5, STEPS))
    days = np.clip(25.0 * (ask / level[:, None]) ** 2.5, 3.0, 118.0)
    net = 0.8 * ask * (1 - days / 240) - 9.0
    chance = np.exp(-days / 90.0)
    return Replay(
        day=np.sort(rng.integers(20_000, 20_300, n)),
        style=rng.integers(0, STYLES, n),
        source=np.zeros(n, dtype=np.int64),
        own=np.zeros(n, dtype=bool),
        landed=np.rint(100 * level * rng.uniform(0.1, 0.6, n)).astype(np.int64),
        least=np.ones(n, dtype=np.int64),
        labour=np.full(n, 1.8),
        rate=np.full(n, 0.2),
        hours=np.full(n, 0.1),
        evidence=rng.exponential(6.0, n),
        timed=np.ones(n, dtype=bool),
        ask=ask,
        mean_net=net,
        mean_days=days,
        by_target=chance,
        loss=np.clip(rng.uniform(0.0, 0.6, (n, 1)) * np.ones(STEPS), 0, 1),
        net=net + rng.normal(0.0, 6.0, (n, 1)),
        days=days,
        error=np.full((n, STEPS), 4.0),
    )


def _cpu(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start
