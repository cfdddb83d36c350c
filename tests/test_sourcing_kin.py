"""What stands in for a category of which nothing is known: the average of the known ones."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from sourcing.fitting import CategoryFit, Fit
from sourcing.kin import pooled


def fit_of(*kinds: tuple[int, tuple[float, float], tuple[float, float], tuple[float, float]]) -> Fit:
    """A fit of categories told by sales, haggle, ask and asking prices seen."""
    categories = {
        f"kind {at}": CategoryFit(
            4.0, 0.01, 0.02, 0.01, 0.05, 0.05, 0.02, (0.0,), "new", {}, haggle, ask, (0.03,) * 6, 200.0, sold, 10,
            "", (0.0,) * 4, (0.0,) * 89, seen,
        )
        for at, (sold, haggle, ask, seen) in enumerate(kinds)
    }  # fmt: skip
    return Fit(
        1, datetime(2026, 1, 1, tzinfo=UTC), 20_000, categories, {}, (4.0, 0.1), {}, 0.0, -2.0, 0.3, (0.04,) * 25, 0.1,
        (1.0,) * 4, (1.0,) * 4,
    )  # fmt: skip


def test_haggling_and_asking_prices_are_averages_by_sales() -> None:
    found = pooled(fit_of((300, (-0.02, 0.06), (0.1, 0.04), (-0.2, 0.3)), (100, (-0.1, 0.1), (0.3, 0.08), (-0.1, 0.5))))
    assert found.haggle == pytest.approx((-0.04, 0.07))
    assert found.ask == pytest.approx((0.15, 0.05))
    assert found.asks_seen == (-0.1, 0.3)


def test_asking_prices_seen_keep_their_order_where_categories_share_none() -> None:
    found = pooled(fit_of((100, (0.0, 0.1), (0.0, 0.1), (-0.6, -0.2)), (100, (0.0, 0.1), (0.0, 0.1), (0.4, 0.8))))
    assert found.asks_seen == pytest.approx((-0.1, 0.3))
