"""The ranking of stores against the truth of simulated years, beside ranking by plain profit over hours.

A year is 200 runs over 12 stores of known profit an hour, with luck as skewed as finds are and days of the week that
matter; a third of the runs are still unsold in part and count by forecasts that are off by a factor of their own.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from models.price import Floats, Ints
from models.stores import levels

STORES, RUNS, YEARS = 12, 200, 40


class Year(NamedTuple):
    """One simulated year: the truth by store, and its runs."""

    truth: Floats
    each_hour: Floats
    hours: Floats
    store: Ints
    weekday: Ints


def year(seed: int, stores: int = STORES, runs: int = RUNS) -> Year:
    """Simulate one year; visits are uneven, as habits are."""
    rng = np.random.default_rng(seed)
    truth = 20 + 7 * rng.standard_normal(stores)
    weekday_effect = rng.normal(0, 2, 7)
    habit = rng.dirichlet(np.full(stores, 2.0))
    store, weekday = rng.choice(stores, runs, p=habit), rng.integers(0, 7, runs)
    hours = rng.uniform(2.0, 7.0, runs)
    luck = (rng.gamma(1.2, 1.0, runs) - 1.2) / np.sqrt(1.2) * 28 / np.sqrt(hours)
    profit = truth[store] + (weekday_effect - weekday_effect.mean())[weekday] + luck
    unsold = np.where(rng.random(runs) < 1 / 3, rng.uniform(0.2, 1.0, runs), 0.0)
    forecast = profit * np.exp(rng.normal(-0.02, 0.2, runs))
    return Year(truth, (1 - unsold) * profit + unsold * forecast, hours, store, weekday)


class Score(NamedTuple):
    """What the years say: coverage of the 90 % intervals, errors and orders of both ways."""

    coverage: float
    error: float  # root mean square, of the levels
    plain_error: float
    right: float  # share of pairs of neighbours in the ranking that are in the right order
    said: float  # the chance given for it
    best: float  # how far the store put first lies behind the best one, in profit an hour
    plain_best: float


def score(years: int = YEARS, first: int = 0, stores: int = STORES, runs: int = RUNS) -> Score:
    """Rank the stores of many years."""
    inside, errors, plain_errors, right, said, best, plain_best = ([] for _ in range(7))
    for seed in range(first, first + years):
        one = year(seed, stores, runs)
        told = levels(one.each_hour, one.hours, one.store, one.weekday, stores, seed=seed)
        middle, (low, high) = told.stores.mean(axis=0), told.interval()
        seen = np.bincount(one.store, minlength=stores) > 0
        worth = np.bincount(one.store, one.each_hour * one.hours, stores)[seen]
        plain = worth / np.bincount(one.store, one.hours, stores)[seen]
        inside += ((low <= one.truth) & (one.truth <= high)).tolist()
        errors += ((middle - one.truth)[seen] ** 2).tolist()
        plain_errors += ((plain - one.truth[seen]) ** 2).tolist()
        order = np.argsort(-middle)
        right += (one.truth[order][:-1] > one.truth[order][1:]).tolist()
        said += told.ahead(order).tolist()
        best.append(one.truth.max() - one.truth[order[0]])
        plain_best.append(one.truth.max() - one.truth[seen][plain.argmax()])
    return Score(
        float(np.mean(inside)), float(np.sqrt(np.mean(errors))), float(np.sqrt(np.mean(plain_errors))),
        float(np.mean(right)), float(np.mean(said)), float(np.mean(best)), float(np.mean(plain_best)),
    )  # fmt: skip


def run() -> list[dict[str, Any]]:
    """Measure it."""
    found = score()
    made = f"{YEARS} simulated years of {RUNS} runs over {STORES} stores"
    return [
        {
            "name": "Stores: error of what an hour brings over plain profit by hours",
            "ratio": found.error / found.plain_error,
            "bar": 1.0,
            "detail": f"{found.error:.2f} and {found.plain_error:.2f} an hour, {made}",
        },
        {
            "name": "Stores: 90 % intervals, away from holding nine in ten",
            "ratio": abs(found.coverage - 0.9),
            "bar": 0.03,
            "detail": f"{found.coverage:.3f} of the stores, {made}",
        },
        {
            "name": "Stores: chances of being ahead, away from how often it was so",
            "ratio": abs(found.said - found.right),
            "bar": 0.05,
            "detail": f"said {found.said:.3f}, so it was {found.right:.3f}; the first lies {found.best:.2f} "
            f"an hour behind the best, by plain profit {found.plain_best:.2f}",
        },
    ]
