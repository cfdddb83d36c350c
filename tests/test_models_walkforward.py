"""Corrections judged on what came after they were learnt: known biases are found, and none where there is none."""

from __future__ import annotations

import numpy as np
import pytest

from models.walkforward import correct_level, correct_speed, factor_of, shift_of

KNOTS = np.array([0.0, 14, 30, 60, 90])


def _prices(seed: int, bias: float, count: int = 500) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    made = np.sort(rng.uniform(0, 360, count))
    error = bias + 0.2 * rng.standard_t(5, count)
    return error, made, made + rng.exponential(30, count), rng.integers(0, 120, count)


def _listings(seed: int, factor: float, count: int = 500) -> tuple[np.ndarray, ...]:
    """Listings of a year whose hazard is ``factor`` times the promised one, seen on day 360."""
    rng = np.random.default_rng(seed)
    rate = np.exp(rng.normal(-3.7, 0.6, count))
    begin = np.sort(np.floor(rng.uniform(0, 350, count)))
    time = rng.exponential(1 / (rate * factor))
    watched = 360.0 - begin
    return rate[:, None] * KNOTS, begin, np.minimum(time, watched), (time <= watched).astype(float), np.arange(count)


def test_a_level_that_is_off_is_found_out_of_sample() -> None:
    gain = correct_level(*_prices(1, 0.15))
    assert gain.low < 0.15 < gain.high
    assert gain.gain_low > 0
    assert gain.p < 1e-4
    # What was in force for an outcome was learnt from outcomes known before its forecast was made.
    assert np.isnan(gain.by_outcome[0])


def test_a_speed_that_is_off_is_found_though_some_are_unsold() -> None:
    hazard, begin, time, event, cluster = _listings(1, 0.6)
    assert event.mean() < 0.9
    gain = correct_speed(hazard, KNOTS, begin, time, event, cluster)
    assert gain.low < 0.6 < gain.high
    assert gain.gain_low > 0
    assert gain.p < 1e-4


def test_luck_is_seldom_taken_for_a_bias() -> None:
    """Of 200 users without a bias at most as many have a small p as the level says: 5 % and its binomial spread."""
    level = sum(correct_level(*_prices(seed, 0.0)).p < 0.05 for seed in range(200))
    speed = 0
    for seed in range(200):
        hazard, begin, time, event, cluster = _listings(seed, 1.0, 300)
        speed += correct_speed(hazard, KNOTS, begin, time, event, cluster).p < 0.05
    assert level <= 18
    assert speed <= 18


def test_few_outcomes_lean_towards_none() -> None:
    few, many = shift_of(np.array([0.1, 0.3, 0.5])), shift_of(np.tile([0.1, 0.3, 0.5], 100))
    assert 0 < few[0] < many[0] < 0.3
    assert few[1] > many[1]
    assert factor_of(0.0, 0.0)[0] == 1
    assert factor_of(10.0, 20.0)[0] == pytest.approx(22 / 32)


def test_nothing_known_says_nothing() -> None:
    none = np.zeros(0)
    assert correct_level(none, none, none, none).p == 1
    assert correct_speed(np.zeros((0, 5)), KNOTS, none, none, none, none).p == 1
    one = correct_speed(np.ones((1, 5)) * KNOTS / 90, KNOTS, [0.0], [200.0], [1.0], [0])
    assert one.value == pytest.approx(12 / 13)  # sold after the last knot: watched until then, and not sold
