"""What a haul uses of its limits, by hand."""

from __future__ import annotations

from decimal import Decimal

from sourcing.haul_use import Line, Use, used
from sourcing.rules import HaulLimits

D = Decimal
LINES = [
    Line("A1", "shoes", 2, D("10.00"), D(20)),
    Line("A1", "Shoes ", 1, D("12.00"), D(20)),
    Line("B2", "toys", 4, D("3.00"), D(15)),
    Line("C3", "toys", 1, None, D(30)),  # without a forecast
]


def test_every_limit_by_hand() -> None:
    found = used(LINES, HaulLimits(D("40.00"), D("2.5"), 3, D("30.00")))
    assert found == (
        Use("cash", "", D("44.00"), D("40.00")),
        Use("prep_hours", "", D("2.5"), D("2.5")),  # 60 + 60 + 30 minutes
        Use("most_of_style", "B2", D(4), D(3)),
        Use("most_in_category", "shoes", D("32.00"), D("30.00")),
    )
    assert [use.over for use in found] == [D("4.00"), 0, 1, D("2.00")]


def test_each_broken_one_is_named_else_the_nearest() -> None:
    assert [use.what for use in used(LINES, HaulLimits(most_of_style=2))] == ["B2", "A1"]
    assert [use.what for use in used(LINES, HaulLimits(most_in_category=D(100)))] == ["shoes"]
    every = used(LINES, HaulLimits(most_of_style=9), every=True)
    assert [(use.what, int(use.used)) for use in every] == [("B2", 4), ("A1", 3), ("C3", 1)]


def test_off_is_off_and_an_empty_haul_uses_nothing() -> None:
    assert used(LINES, HaulLimits()) == ()
    assert used([], HaulLimits(D(40), D(1), 3, D(30))) == (
        Use("cash", "", D(0), D(40)),
        Use("prep_hours", "", D(0), D(1)),
    )
