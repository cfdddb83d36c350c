"""What is fitted beside a truth that is known because the test made it."""

from __future__ import annotations

import pytest

from benchmarks._fit_costs import chance_below
from benchmarks._open_durations import known_truth

pytestmark = pytest.mark.filterwarnings("ignore:Starting with pandas")


def test_slope_and_speeds_of_a_made_market() -> None:
    """Two draws of 20,000 listings of 3,000 styles by Zipf's law; a Cox model without the speeds is far off."""
    found = known_truth(20_000, 2)
    assert found["slope_error"] <= 0.15
    assert found["brier"] <= 1.10
    assert found["brier_cox"] > 1.2


def test_chance_of_profit_beside_a_sum_over_levels() -> None:
    """The closed forms over the days beside the sum over 4,096 levels, of spreads of 1, 10 and 20 %."""
    assert max(chance_below(spread) for spread in (0.0001, 0.01, 0.04)) <= 0.002
