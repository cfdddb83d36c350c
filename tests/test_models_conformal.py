"""Split conformal prediction, against published coverage and exact arithmetic."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.conformal import conformal_quantile, conformal_rank, coverage_beta, coverage_range


# Vovk, Gammerman & Shafer 2005; Lei et al. 2018 (JASA 113:1094): k = ceil((n + 1)(1 - alpha)).
@pytest.mark.published
@pytest.mark.parametrize(("count", "alpha", "rank"), [
    (9, 0.2, 8), (9, 0.1, 9), (19, 0.1, 18), (19, 0.05, 19), (20, 0.1, 19), (29, 0.1, 27), (99, 0.1, 90),
    (100, 0.1, 91), (500, 0.1, 451), (1000, 0.1, 901),
])  # fmt: skip
def test_rank_and_quantile(count: int, alpha: float, rank: int) -> None:
    scores = np.random.default_rng(count).permutation(np.arange(1.0, count + 1.0))
    for same in (alpha, str(alpha), Decimal(str(alpha)), Fraction(str(alpha)), np.float64(alpha)):
        assert conformal_rank(count, same) == rank
        assert conformal_quantile(scores, same) == rank


@pytest.mark.published
def test_too_few_scores_are_unbounded() -> None:
    assert conformal_rank(8, 0.1) == 9
    assert conformal_quantile(np.arange(8.0), 0.1) == inf
    assert conformal_quantile([], 0.2) == inf


def test_a_miss_rate_from_float_arithmetic_does_not_raise_the_rank() -> None:
    assert 1 - 0.9 != 0.1  # a library in use gives rank 91 for the first and an infinite interval for the second
    assert conformal_rank(99, 1 - 0.9) == 90
    assert conformal_quantile(np.arange(1.0, 10.0), 1 - 0.9) == 9


def test_the_common_recipe_with_numpy_is_one_rank_too_high() -> None:
    """quantile(s, ceil((n + 1)(1 - a)) / n, "higher") is what not to use."""
    scores = np.arange(1.0, 101.0)
    assert np.quantile(scores, 91 / 100, method="higher") == 92
    assert conformal_quantile(scores, 0.1) == 91


@given(st.integers(0, 300), st.integers(1, 99))
def test_naive_rank(count: int, percent: int) -> None:
    """Whole numbers only: the smallest k with 100 k >= (n + 1)(100 - percent)."""
    k = 0
    while 100 * k < (count + 1) * (100 - percent):
        k += 1
    assert conformal_rank(count, percent / 100) == k
    scores = np.random.default_rng(count).normal(size=count)
    assert conformal_quantile(scores, percent / 100) == (sorted(scores)[k - 1] if k <= count else inf)


@pytest.mark.published
@pytest.mark.parametrize(("count", "alpha", "mean"), [(9, 0.2, 0.8), (20, 0.1, 0.904762), (100, 0.1, 0.900990)])
def test_mean_coverage(count: int, alpha: float, mean: float) -> None:
    """k / (n + 1), between 1 - alpha and 1 - alpha + 1 / (n + 1) (Lei et al. 2018); by simulation too."""
    a, b = coverage_beta(count, alpha)
    assert a / (a + b) == pytest.approx(mean, abs=1e-6)
    assert 1 - alpha - 1e-12 <= a / (a + b) <= 1 - alpha + 1 / (count + 1)
    rng = np.random.default_rng(1)
    scores, later = np.sort(rng.random((200_000, count)), axis=1), rng.random(200_000)
    covered = later <= scores[:, conformal_rank(count, alpha) - 1]
    assert np.mean(covered) == pytest.approx(mean, abs=0.003)


@pytest.mark.published
def test_coverage_given_the_calibration_set() -> None:
    """Beta(k, n + 1 - k) (Vovk 2012; Marques 2025), values from scipy.stats."""
    assert coverage_beta(1000, 0.1) == (901, 100)
    assert coverage_range(1000, 0.1) == pytest.approx((0.88408, 0.91522), abs=5e-6)
    assert coverage_beta(100, 0.1) == (91, 10)
    assert coverage_range(100, 0.1) == pytest.approx((0.84820, 0.94474), abs=5e-6)


def test_bad_input_is_refused() -> None:
    for call in (lambda: conformal_rank(5, 0.0), lambda: conformal_rank(5, 1), lambda: conformal_rank(-1, 0.1),
                 lambda: conformal_quantile([1.0, float("nan")], 0.5), lambda: coverage_beta(8, 0.1)):  # fmt: skip
        with pytest.raises(ValueError, match=r"must|cannot|unbounded"):
            call()
