"""What an hour brings by store: pooling, weights, calibration against simulated truth."""

from __future__ import annotations

import numpy as np
import pytest

from models.stores import Levels, levels


def _market(rng: np.random.Generator, stores: int, runs: int) -> tuple[np.ndarray, np.ndarray, Levels]:
    """Stores of known level, weekdays of known effect, luck as skewed as finds are."""
    level = 18 + 6 * rng.standard_normal(stores)
    day = np.array([0, 0, 0, 0, 2, 4, 1.0]) - 1.0
    store, weekday, hours = rng.integers(0, stores, runs), rng.integers(0, 7, runs), rng.uniform(2, 6, runs)
    luck = (rng.gamma(1.5, 1, runs) - 1.5) / np.sqrt(1.5) * 25 / np.sqrt(hours)
    return level, day - day.mean(), levels(level[store] + day[weekday] + luck, hours, store, weekday, stores)


def test_intervals_and_chances_hold_what_they_say() -> None:
    rng = np.random.default_rng(20)
    inside, ranked = [], []
    for _ in range(25):
        level, _, told = _market(rng, 12, 200)
        low, high = told.interval(0.9)
        inside += ((low <= level) & (level <= high)).tolist()
        order = np.argsort(-told.stores.mean(axis=0))
        ranked += list(zip(told.ahead(order), level[order][:-1] > level[order][1:], strict=True))
    assert 0.85 <= np.mean(inside) <= 0.95  # 300 stores: 0.9 within three standard errors
    said, true = np.array(ranked, dtype=float).T
    assert abs(said.mean() - true.mean()) < 0.09
    assert true[said > 0.75].mean() > true[said < 0.6].mean() + 0.1  # surer is righter


def test_few_runs_lean_on_the_other_stores() -> None:
    rng = np.random.default_rng(4)
    store = np.repeat(np.arange(6), 30)
    each = np.array([10, 12, 14, 16, 18, 20.0])[store] + rng.normal(0, 15, 180)
    one = np.append(each, 60.0)  # a seventh store: a single splendid run
    told = levels(one, np.full(181, 4.0), np.append(store, 6), np.arange(181) % 7, 7)
    assert told.stores[:, :6].mean() < told.stores[:, 6].mean() < 40
    low, high = told.interval()
    assert high[6] - low[6] > 2 * (high[0] - low[0])
    assert np.isclose(told.best().sum(), 1.0)


def test_a_long_run_counts_as_its_hours() -> None:
    """Two stores at one mean of runs, not at one profit over hours: the levels follow the money."""
    each, hours = np.array([10.0, 30, 10, 30] * 12), np.array([1.0, 5, 5, 1] * 12)
    told = levels(each, hours, np.array([0, 0, 1, 1] * 12), np.arange(48) % 7, 2)
    first, second = told.stores.mean(axis=0)
    assert first > second + 5  # profit over hours: 26.7 against 13.3


def test_a_store_without_a_run_and_a_single_run() -> None:
    told = levels(np.array([12.0]), np.array([3.0]), np.array([0]), np.array([5]), 2)
    low, high = told.interval()
    assert np.all(low < 12)
    assert np.all(high > 12)
    assert high[1] - low[1] > high[0] - low[0]


@pytest.mark.parametrize(
    ("each", "hours"), [([], []), ([1.0], [0.0]), ([float("nan")], [1.0]), ([float("inf")], [2.0])]
)
def test_what_it_refuses(each: list[float], hours: list[float]) -> None:
    at = np.zeros(len(each), dtype=np.int64)
    with pytest.raises(ValueError, match="at least one run"):
        levels(np.array(each), np.array(hours), at, at, 1)
