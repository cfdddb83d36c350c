"""Designs kept by group, held to the dense matrix they stand for."""

from __future__ import annotations

import numpy as np
import pytest

from models.blocks import Blocks


@pytest.mark.parametrize("groups", [1, 7])
def test_products_are_those_of_the_dense_matrix(groups: int) -> None:
    """Two common columns and two of each group; rows in no order, one group without rows."""
    rng = np.random.default_rng(3)
    group = rng.choice(np.arange(groups) * 2, 60)
    width = 2 + 2 * (2 * groups - 1)
    dense = np.zeros((60, width))
    dense[:, :2] = rng.normal(size=(60, 2))
    for column in range(2):
        dense[np.arange(60), 2 + 2 * group + column] = rng.normal(size=60)
    blocks = Blocks.of(group, width, lambda rows: dense[rows])
    values, weight = rng.normal(size=width), rng.uniform(0, 2, 60)
    assert blocks.times(values) == pytest.approx(dense @ values)
    assert blocks.back(weight) == pytest.approx(weight @ dense)
    assert blocks.squared(weight) == pytest.approx(dense.T @ (dense * weight[:, None]))
    assert sum(part.size for _, _, part in blocks.parts) <= 60 * 4
