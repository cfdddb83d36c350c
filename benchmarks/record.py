"""The track record over 20,000 outcomes beside its bare queries; and of 5,000 pieces, what it finds of a known truth.

The bare queries read the same rows and parse the same JSON, which any record has to. The second part is no speed: it
counts over made-up resellers how often the truth lies in the bands, and how often a correction is offered where there
is nothing to correct.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks._reseller import TODAY, Truth, fill
from benchmarks._threads import one_thread
from sourcing.record.offers import offers
from sourcing.record.outcomes import _ITEMS, _LISTINGS, _SALES, outcomes
from sourcing.record.parts import price_part, speed_part
from sourcing.record.record import record
from sourcing.storage import Store, open_store

PIECES, TRUTHS = 20_000, 5_000
ROUNDS, USERS = 3, 20


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    with tempfile.TemporaryDirectory() as folder:
        return one_thread(lambda: [*_speed(Path(folder)), *_truth(Path(folder))])()


def _speed(folder: Path) -> list[dict[str, Any]]:
    store = open_store(str(folder / "speed.db"))
    fill(store, 1, PIECES, TODAY)
    bare, whole = (list[float]() for _ in range(2))
    for _ in range(ROUNDS):
        bare.append(_cpu(lambda: _bare(store)))
        whole.append(_cpu(lambda: record(store, today=TODAY)))
    store.close()
    return [
        {
            "name": f"track record over {PIECES:,} outcomes",
            "ratio": min(whole) / min(bare),
            "bar": 5.0,
            "detail": f"{min(whole) * 1e3:.0f} ms against {min(bare) * 1e3:.0f} ms of its bare queries, JSON parsed",
        }
    ]


def _bare(store: Store) -> None:
    import orjson

    items = store.read(_ITEMS)
    for row in items:
        orjson.loads(row[9])
    for row in store.read(_LISTINGS):
        orjson.loads(row[1])
    store.read(_SALES)


def _truth(folder: Path) -> list[dict[str, Any]]:
    inside = bins = offered = found = 0
    for seed in range(USERS):
        store = open_store(str(folder / f"{seed}.db"))
        chance = fill(store, 500 + seed, TRUTHS, TODAY)
        told = outcomes(store, today=TODAY)
        offered += bool(offers(told).offers)
        part = speed_part(told, 30)
        assert part is not None
        assert price_part(told) is not None
        del chance  # the forecasts are the truth here, so a bin's mean forecast is its true chance
        inside += sum(one.low <= one.forecast <= one.high for one in part.bins)
        bins += len(part.bins)
        store.close()
    for seed, truth in enumerate((Truth(bias=0.1), Truth(bias=-0.1), Truth(pace=0.75), Truth(pace=1.3))):
        store = open_store(str(folder / f"biased {seed}.db"))
        fill(store, 900 + seed, TRUTHS, TODAY, truth)
        wanted = ("price", truth.bias) if truth.bias else ("speed", float(np.log(truth.pace)))
        found += any(
            one.kind == wanted[0] and not one.category and abs(one.value - wanted[1]) <= one.high - one.low
            for one in offers(outcomes(store, today=TODAY)).offers
        )
        store.close()
    return [
        {
            "name": f"resellers of {TRUTHS:,} pieces with nothing to correct: share offered a correction",
            "ratio": offered / USERS,
            "bar": 0.1,
            "detail": f"{offered} of {USERS}; {inside} of {bins} bins of the 30-day chances within their 90 % bands",
        },
        {
            "name": "known biases missed, or corrected by more than twice the reach of the 90 % range",
            "ratio": 1 - found / 4,
            "bar": 0.0,
            "detail": f"{found} of 4 found: price 10 % up and down, pace 0.75 and 1.3 times",
        },
    ]


def _cpu(call: Callable[[], object]) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start
