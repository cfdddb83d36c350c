"""Listings retold at another asking price, and bands by resampling groups."""

from __future__ import annotations

import math

import numpy as np
import pytest

from models.replayed import thresholds
from models.resampling import resample
from models.survival import kaplan_meier


def test_thresholds_by_hand() -> None:
    """Sold at 1, unsold at 2, sold at 3: 2/3 left after 1 (three at risk), none after 3 (one at risk)."""
    found = thresholds(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 0.0]))
    left = found.unsold(np.array([0.5, 1.0, 2.5, 3.0, 9.0]))
    assert left == pytest.approx([1.0, 2 / 3, 2 / 3, 0.0, 0.0])
    assert found.rate == pytest.approx((2 + 1) / (6 + 1))


def test_the_tail_goes_on_at_what_was_seen() -> None:
    """Sold at 1, unsold at 2: half are left, then exp(-rate x further), rate (1 + 1) / (3 + 1)."""
    found = thresholds(np.array([1.0, 2.0]), np.array([1.0, 0.0]))
    assert found.unsold(np.array([2.0, 4.0])) == pytest.approx([0.5, 0.5 * math.exp(-0.5 * 2)])
    assert found.seen == pytest.approx(1 + 1 - math.exp(-0.5 * 2))


def test_curve_is_kaplan_meiers() -> None:
    rng = np.random.default_rng(952)
    for _ in range(50):
        spent, sold = rng.exponential(1.0, 12), (rng.random(12) < 0.6).astype(float)
        sold[0] = 1.0
        at = np.linspace(0.0, spent.max(), 40)
        assert thresholds(spent, sold).unsold(at) == pytest.approx(kaplan_meier(spent, sold).at(at))


def test_shares_of_few_watched_listings_are_right_on_average() -> None:
    """Thresholds drawn at a known rate, watched for a while: the share unsold at a point is right over many items."""
    rng, rate = np.random.default_rng(953), 1.4
    at = np.array([0.3, 0.8])
    found = np.zeros(2)
    for _ in range(4_000):
        true, watched = rng.exponential(1.0 / rate, 3), rng.uniform(0.8, 2.0, 3)
        found += thresholds(np.minimum(true, watched), (true <= watched).astype(float)).unsold(at)
    assert found / 4_000 == pytest.approx(np.exp(-rate * at), abs=0.02)  # standard error of it: 0.005


@pytest.mark.published
def test_standard_error_of_a_sum_is_the_bootstraps() -> None:
    """Efron & Tibshirani 1993, (5.12): the ideal bootstrap's standard error of a mean is sqrt(sum of squares) / n."""
    values = np.array([94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0])  # their table 2.1, mice with the treatment
    means = resample(7, 20_000, 1).sums(values[:, None])[:, 0] / 7
    assert means.mean() == pytest.approx(86.86, rel=0.01)
    assert means.std() == pytest.approx(23.36, rel=0.02)  # their table 2.2, the limit of many resamples


def test_errors_of_groups_widen_the_band() -> None:
    sums = np.ones((400, 1))
    drawn = resample(400, 4_000, 2)
    assert drawn.sums(sums).std() == pytest.approx(0.0, abs=1e-9)
    # 400 groups, each off by its own 0.5: the sum is off by 0.5 x sqrt(400), and drawing some twice doubles the square.
    assert drawn.sums(sums, np.full((400, 1), 0.5)).std() == pytest.approx(0.5 * math.sqrt(400 * 2), rel=0.05)
