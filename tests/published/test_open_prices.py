"""Prices and pace through the real loader, on open data of other trades."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks._open_prices import auctions, flow, houses

pytestmark = pytest.mark.published


def test_what_buyers_pay_of_the_asking_price(tmp_path: Path) -> None:
    """Stat2Data::GrinnellHouses (list price, sale price, day): no further off, held out, than the median ratio."""
    found = houses(tmp_path)
    assert found["haggle"] == pytest.approx(found["median_log_ratio"], abs=0.001)
    assert found["error"] <= found["error_plain"]


def test_months_to_sell_without_listing_dates(tmp_path: Path) -> None:
    """ggplot2::txhousing: the column ``inventory`` (one decimal) from listings on hand and a year's dated sales."""
    areas = flow(tmp_path)
    assert len(areas) == 8
    for area, months, published in areas:
        # Half a unit of its last decimal, and 1 % for months of unequal length.
        assert months == pytest.approx(published, abs=0.05 + 0.01 * published), area


def test_price_interval_of_the_auctions(tmp_path: Path) -> None:
    """openintro::mariokart: pinball loss at 10, 50 and 90 %, held out in five folds three times.

    No worse than the unshrunk quantiles of the like auctions, nor than scikit-learn's boosted quantile regression.
    """
    loss = auctions(tmp_path, 3)
    assert loss["ours"] <= loss["group"]
    assert loss["ours"] <= loss["boosted"]
