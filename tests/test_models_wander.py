"""Old sales of styles whose level wanders, held to the textbook's linear algebra."""

from __future__ import annotations

import numpy as np
import pytest

from models.level import item_levels
from models.wander import MONTHS, faded, own_levels


def by_covariance(age, z, precision, prior_mean, prior_var, walk2):
    """Posterior of the level today, the walk going backwards from it: cov(z_i, z_j) = walk2 * min(age_i, age_j)."""
    cov = walk2 * np.minimum(age[:, None], age[None, :]) + np.diag(1.0 / precision)
    inverse = np.linalg.inv(cov)
    var = 1.0 / (1.0 / prior_var + inverse.sum())
    return (prior_mean / prior_var + (inverse @ z).sum()) * var, var


@pytest.mark.parametrize("walk2", [0.0, 0.01, 0.08])
def test_own_levels_are_the_best_linear_ones(walk2: float) -> None:
    """Beside the joint normal of all sales, written out and inverted: one item at a time, one sale a month."""
    rng = np.random.default_rng(5)
    ages, items, z = [], [], []
    for item in range(6):
        months = rng.choice(len(MONTHS) - 1, rng.integers(1, 9), replace=False)
        ages += list(MONTHS[months] + 0.01)
        items += [item] * len(months)
        z += list(rng.normal(4.0, 0.2, len(months)))
    age, item, value = np.array(ages), np.array(items), np.array(z)
    precision = rng.uniform(50.0, 200.0, len(age))
    mean, var = own_levels(np.full(6, 3.9), np.full(6, 0.04), item, age, value, precision, walk2)
    for k in range(6):
        here = item == k
        expected = by_covariance(age[here], value[here], precision[here], 3.9, 0.04, walk2)
        assert (mean[k], var[k]) == pytest.approx(expected, rel=1e-9)


def test_nothing_fades_where_nothing_wanders() -> None:
    share = faded(np.array([0, 0, 1]), np.array([0.1, 2.0, 5.0]), np.array([100.0, 100.0, 100.0]), 2, 0.0)
    assert share.tolist() == [1.0, 1.0, 1.0]
    assert faded(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), 3, 0.02).tolist() == []


def test_more_old_sales_do_not_outvote_a_new_one() -> None:
    """A thousand sales of two years ago say where the level was, not where it is."""
    item = np.zeros(1001, dtype=np.int64)
    age = np.concatenate([np.full(1000, 2.0), [0.01]])
    z = np.concatenate([np.full(1000, 4.0), [4.3]])
    mean, var = own_levels(np.array([4.0]), np.array([1.0]), item, age, z, np.full(1001, 100.0), 0.04)
    assert 4.25 < mean[0] < 4.3
    still, _ = own_levels(np.array([4.0]), np.array([1.0]), item, age, z, np.full(1001, 100.0), 0.0)
    assert still[0] < 4.001
    assert 0.005 < var[0] < 0.01  # one sale's own variance, a little less


def test_sizes_keep_their_differences() -> None:
    """A whole style wanders with all its sizes: a size's distance from the others is as sure as before."""
    count, days = 80, np.full(80, 0.5)
    size = np.arange(count) % 2
    z = 4.0 + 0.2 * size
    common = (np.array([4.0]), np.array([0.05]), np.array([0.02]), np.zeros(count, dtype=np.int64), z)

    def of_size(wanted: int, walk2: float) -> float:
        level = item_levels(
            *common, np.full(count, 0.01), size == wanted, size, np.zeros(count, dtype=bool), days, walk2
        )
        return float(level.mean[0])

    assert of_size(1, 0.04) - of_size(0, 0.04) == pytest.approx(of_size(1, 0.0) - of_size(0, 0.0), abs=1e-3)
