"""The weight of own sales, learnt on simulated sales where they are more telling and where they are not."""

from __future__ import annotations

import numpy as np
import pytest

from models.telling import own_weight


def _sales(seed: int, own_sd: float, their_sd: float, styles: int = 60, apart: float = 0.0) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    style = np.repeat(np.arange(styles), 12)
    own = np.tile(np.arange(12) < 4, styles)
    level = rng.normal(3.5, 0.5, styles)[style] + np.where(own, 0.0, apart)
    return style, own, level + rng.normal(0, np.where(own, own_sd, their_sd))


def test_own_sales_that_tell_more_count_more() -> None:
    """True weight (0.3 / 0.2)^2 = 2.25; over seeds the mean lies within 10 % of it, a little nearer to 1."""
    found = [own_weight(*_sales(seed, 0.2, 0.3)) for seed in range(20)]
    assert np.mean([one.plain for one in found]) == pytest.approx(2.25, rel=0.1)
    assert all(one.weight > 1 for one in found)
    assert np.mean([one.weight for one in found]) > 1.7


def test_own_sales_like_all_others_count_as_much() -> None:
    found = [own_weight(*_sales(seed, 0.25, 0.25)).weight for seed in range(20)]
    assert np.mean(found) == pytest.approx(1, abs=0.1)


def test_others_that_sell_at_another_level_tell_less() -> None:
    assert own_weight(*_sales(3, 0.25, 0.25, apart=0.25)).weight > 1.4


def test_few_lean_on_one() -> None:
    few = own_weight(*_sales(5, 0.15, 0.45, styles=9))
    many = own_weight(*_sales(5, 0.15, 0.45, styles=200))
    assert 1 < few.weight < many.weight <= 4
    assert few.error > many.error


@pytest.mark.parametrize("mine", [np.zeros(24, dtype=bool), np.ones(24, dtype=bool), np.arange(24) < 2])
def test_nothing_to_compare_says_one(mine: np.ndarray) -> None:
    found = own_weight(np.repeat([0, 1], 12), mine, np.linspace(3, 4, 24))
    assert (found.weight, found.styles < 8) == (1, True)
