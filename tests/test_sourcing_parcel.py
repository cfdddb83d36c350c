"""Billed weight and the postage table.

Divisors: carriers' public service guides; 6000 cm3/kg is the IATA air cargo figure. Volume over divisor, up to the next
whole unit, and the larger of this and the scale weight is billed.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing.errors import BadInput
from sourcing.parcel import billed_weight, postage_for

D = Decimal
SHOE_CARTON = ("14", "10", "6")


def billed(
    sides: tuple[str, ...],
    divisor: str,
    scale: str = "0",
    step: str = "1",
    rounding: str = "none",
    above: str = "0",
) -> Decimal:
    return billed_weight(
        D(scale),
        [D(side) for side in sides],
        D(divisor),
        step=D(step),
        side_rounding=rounding,
        volume_from=D(above),
    )


@pytest.mark.published
@pytest.mark.parametrize(
    ("sides", "divisor", "pounds"),
    [
        (("20", "15", "10"), "139", 22),
        (("20", "15", "10"), "166", 19),
        (("12", "12", "12"), "139", 13),
        (("12", "12", "12"), "166", 11),
        (("12", "12", "12"), "194", 9),
        (SHOE_CARTON, "139", 7),
    ],
)
def test_volumetric_pounds(sides: tuple[str, ...], divisor: str, pounds: int) -> None:
    assert billed(sides, divisor) == pounds


@pytest.mark.published
@pytest.mark.parametrize(
    ("sides", "divisor", "step", "kilos"),
    [
        (("40", "30", "20"), "5000", "0.5", "5.0"),
        (("40", "30", "20"), "5000", "1", "5"),
        (("40", "30", "20"), "6000", "0.5", "4.0"),
        (("35", "25", "14"), "5000", "0.5", "2.5"),
        (("35", "25", "14"), "6000", "0.5", "2.5"),
    ],
)
def test_volumetric_kilograms(sides: tuple[str, ...], divisor: str, step: str, kilos: str) -> None:
    assert billed(sides, divisor, step=step) == D(kilos)


@pytest.mark.published
def test_the_rounding_of_sides_changes_the_bill() -> None:
    sides = ("11.1", "8.5", "6.2")
    assert billed(sides, "139", rounding="up") == 6
    assert billed(sides, "139", rounding="nearest") == 5


@pytest.mark.published
def test_divisors_in_the_two_systems_agree() -> None:
    """One inch is 2.54 cm and one pound 0.45359237 kg (both exact by definition)."""
    per = D("2.54") ** 3 / D("0.45359237")
    for inches, cm in (("139", "5021.7"), ("166", "5997.1")):
        assert abs(D(inches) * per - D(cm)) <= D("0.05")
    for cm, inches in (("5000", "138.40"), ("6000", "166.08")):
        assert abs(D(cm) / per - D(inches)) <= D("0.005")


def test_heavy_for_its_size_goes_by_the_scale() -> None:
    assert billed(SHOE_CARTON, "139", scale="9.3") == D("9.3")


def test_small_parcels_go_by_the_scale_up_to_the_threshold() -> None:
    assert billed(("12", "12", "12"), "166", scale="3", above="1728") == 3
    assert billed(("12", "12", "12.1"), "166", scale="3", above="1728") == 11


@given(st.lists(st.decimals("0.1", 200, places=1), min_size=3, max_size=3), st.decimals("0.1", 40, places=2))
def test_never_billed_below_scale_or_volume(sides: list[Decimal], scale: Decimal) -> None:
    weight = billed_weight(scale, sides, D(5000), step=D("0.5"))
    volumetric = sides[0] * sides[1] * sides[2] / 5000
    assert weight >= max(scale, volumetric)
    assert weight <= max(scale, volumetric + D("0.5"))


TABLE = ((250, D("4.20")), (500, D("4.90")), (1000, D("7.40")))


@pytest.mark.parametrize(("grams", "price"), [("1", "4.20"), ("250", "4.20"), ("250.1", "4.90"), ("1000", "7.40")])
def test_postage_is_the_first_step_that_reaches(grams: str, price: str) -> None:
    assert postage_for(D(grams), TABLE) == D(price)


def test_a_parcel_heavier_than_the_table_says_so() -> None:
    with pytest.raises(BadInput, match=r"1000\.5 g is heavier") as caught:
        postage_for(D("1000.5"), TABLE)
    assert caught.value.accepted == "Up to 1000 g."
    assert "postage_table" in caught.value.next_step
