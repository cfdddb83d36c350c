"""The engine's promises held against later listings: what is corrected, and what is left alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sourcing.promises import Kept, check, correction
from sourcing.training import Training, lay_out


def market(slower: float, seed: int = 1) -> Training:
    """Draw 300 styles sold at a hazard of 0.04 a day, ``slower`` times that for listings of the newest 80 days."""
    rng = np.random.default_rng(seed)
    rows = []
    for style in range(300):
        level, speed = np.exp(rng.normal(4.0, 0.2)), rng.gamma(3.0, 1 / 3.0)
        for _ in range(rng.poisson(16)):
            listed = int(rng.integers(0, 400))
            ask = level * np.exp(rng.normal(0.05, 0.1))
            hazard = 0.04 * speed * np.exp(-2.0 * np.log(ask / level)) * (slower if listed >= 320 else 1.0)
            days = int(np.ceil(rng.exponential(1 / hazard)))
            sold = listed + days <= 400
            paid = int(100 * ask * 0.97) if sold else None
            ended, seen = (listed + days, None) if sold else (None, 400)
            rows.append(
                (
                    style, "", "shoes", f"style {style}", int(sold), int(100 * ask), paid, 0, listed, ended, seen,
                    "", "new", f"style {style}", "",
                )
            )  # fmt: skip
    return lay_out(rows)


def looked_at(table: Training) -> list[Kept]:
    return check(table, np.zeros(len(table.titles)))


def test_kept_promises_are_left_alone() -> None:
    looks = looked_at(market(1.0))
    assert len(looks) == 2
    for one in looks:
        assert one.sold == pytest.approx(one.promised, abs=4 * np.sqrt(one.promised))
    assert correction(looks) == pytest.approx(1.0, abs=0.1)  # 300 sales: luck of about 0.06


def test_broken_promises_are_drawn_down() -> None:
    """Listings of the newest 80 days sell at 0.6 times the pace: of sales within sixteen days fewer come."""
    looks = looked_at(market(0.6))
    assert sum(one.sold for one in looks) < 0.85 * sum(one.promised for one in looks)
    assert 0.6 < correction(looks) < 0.95


def test_one_look_and_few_sales_hardly_correct() -> None:
    assert correction([]) == 1.0
    assert correction([Kept(12.0, 2)]) == 1.0
    assert 0.85 < correction([Kept(40.0, 20)]) < 1.0
    assert correction([Kept(400.0, 200), Kept(400.0, 204)]) == pytest.approx(0.55, abs=0.07)
    # Two looks that contradict each other say little.
    assert correction([Kept(400.0, 300), Kept(400.0, 520)]) == pytest.approx(1.0, abs=0.05)


def test_nothing_to_look_at() -> None:
    sale = ("S", "", "shoes", "a", 1, 5000, 4800, 0, None, 30, None, "", "new", "a", "")
    assert looked_at(lay_out([sale])) == []
    dated = ("S", "", "shoes", "a", 1, 5000, 4800, 0, 10, 30, None, "", "new", "a", "")
    assert looked_at(lay_out([dated] * 5)) == []


def undated(table: Training, some: np.ndarray) -> Training:
    """Forget on which day some of the sales came."""
    return replace(table, ended=np.where(some & (table.state == 1), np.nan, table.ended))


def test_sales_without_a_day_are_left_out() -> None:
    table = market(1.0)
    looks = looked_at(undated(table, np.arange(len(table.state)) % 7 == 0))
    assert len(looks) == 2
    for one, whole in zip(looks, looked_at(table), strict=True):
        # Nothing of them is known to have come within sixteen days, so neither is it promised.
        assert one.sold == pytest.approx(one.promised, abs=4 * np.sqrt(one.promised))
        assert one.sold < whole.sold


def test_a_category_of_which_no_pace_is_known_is_no_ground_for_promises() -> None:
    table = market(1.0)
    two = replace(table, categories=["hats", "shoes"], category=table.product % 2, cells=["hats\t", "shoes\t"],
                  cell=table.product % 2, cell_category=np.array([0, 1]), product_cell=np.arange(300) % 2)  # fmt: skip
    dated = np.flatnonzero((two.category == 0) & (two.ended < 300))[:7]
    assert looked_at(undated(two, ~np.isin(np.arange(len(two.state)), dated))) == []
