"""Retail arithmetic against textbook figures.

Formulas: Levy & Weitz, Retailing Management; Berman & Evans, Retail Management. Worked inputs marked Olivier are from
J. Olivier, Business Math: A Step-by-Step Handbook, ch. 6. The rest were computed from the formula.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing import retail
from sourcing.errors import BadInput

D = Decimal
pytestmark = pytest.mark.published


def near(value: Decimal, expected: str) -> bool:
    """Hold a value to the digits shown."""
    shown = D(expected)
    exponent = shown.as_tuple().exponent
    assert isinstance(exponent, int)
    return abs(value - shown) <= D(5).scaleb(exponent - 1)


def test_markup_and_margin() -> None:
    assert retail.markup_on_cost(D("0.50"), D("0.65")) == D("0.3")
    assert near(retail.margin(D("0.50"), D("0.65")), "0.230769")
    assert near(retail.margin_of_markup(D("1.320952")), "0.569142")  # Olivier, ch. 6
    assert retail.margin_of_markup(D(1)) == D("0.5")  # keystone
    assert retail.markup_of_margin(D("0.5")) == 1


@pytest.mark.parametrize("call", [lambda: retail.markup_of_margin(D(1)), lambda: retail.markup_of_margin(D("1.2"))])
def test_a_margin_of_the_whole_price_is_an_error(call: object) -> None:
    with pytest.raises(BadInput, match="margin"):
        call()  # type: ignore[operator]


def test_break_even_units_and_sales() -> None:
    assert retail.break_even_units(D(20000), D(400), D(250)) == 134  # 133.33, up to the next whole one
    assert retail.break_even_units(D(4500), D("2.00"), D("0.50")) == 3000
    assert retail.break_even_sales(D(4500), D("2.00"), D("0.50")) == 6000


@pytest.mark.parametrize(
    ("cost", "charges", "rate", "exact", "charged"),
    [
        ("30", "8.30", "0.13", "44.022989", "44.03"),
        ("30", "0.30", "0.13", "34.827586", "34.83"),
        ("30", "10", "0.20", "50.000000", "50.00"),
        ("12", "5.40", "0.1325", "20.057637", "20.06"),
    ],
)
def test_break_even_price_with_a_percentage_fee(cost: str, charges: str, rate: str, exact: str, charged: str) -> None:
    price = retail.price_for(D(cost), D(charges), D(rate))
    assert near(price, exact)
    up = price.quantize(D("0.01"), "ROUND_CEILING")
    assert up == D(charged)
    left = [p * (1 - D(rate)) - D(charges) - D(cost) for p in (up, up - D("0.01"))]
    assert left[0] >= 0 > left[1]
    if charged == "44.03":
        assert near(-left[1], "0.0026")


def test_target_profit_and_its_inverse() -> None:
    assert retail.price_for(D(30), D(8), D("0.20"), D(12)) == D("62.5")
    assert retail.most_to_pay(D("62.50"), D(8), D("0.20"), D(12)) == 30


@pytest.mark.parametrize("rate", ["1", "1.0001", "2"])
def test_a_fee_of_the_whole_price_is_an_error(rate: str) -> None:
    for call in (retail.price_for, retail.most_to_pay):
        with pytest.raises(BadInput, match="fee rate") as caught:
            call(D(10), D(1), D(rate))
        assert caught.value.accepted == "Less than 100 %."


@given(
    st.decimals(0, 1000, places=2),
    st.decimals(0, 50, places=2),
    st.decimals(0, "0.9", places=3),
    st.decimals(0, 100, places=2),
)
def test_most_to_pay_is_the_inverse_of_price_for(cost: D, charges: D, rate: D, profit: D) -> None:
    price = retail.price_for(cost, charges, rate, profit)
    assert abs(retail.most_to_pay(price, charges, rate, profit) - cost) < D("1e-20")


def test_maintained_markup() -> None:
    """Olivier, example 6.4C: cost 10, average markup 41.50, sale 30 off, a quarter of the buyers pay it."""
    regular = retail.regular_price(D(10), D("41.50"), D(30), D("0.25"))
    assert (regular, regular - 30) == (59, 29)
    assert (regular - 10) * D("0.75") + (regular - 30 - 10) * D("0.25") == D("41.50")


def test_gross_margin_on_inventory() -> None:
    assert near(retail.gmroi(D("0.135"), D("12.2")), "1.90405")  # published 1.90 (trade example)
    assert near(retail.gmroi(D("0.120"), D("14.5")), "1.97727")  # published 1.98
    assert retail.gmroi_of_amounts(D(40), D(20)) == 2
    # The same by margin and turns: 100 of sales, stock of 20 at cost is 33.33 at retail at a margin of 40 %.
    assert near(retail.gmroi(D("0.40"), D(100) / (D(20) / D("0.60"))), "2.000000")


def test_days_of_supply_and_turnover() -> None:
    assert near(retail.days_of_supply(D("12.2")), "29.918")
    assert near(retail.days_of_supply(D("14.5")), "25.172")
    assert retail.turnover(D(120000), D(30000), D(10000)) == 6
    assert near(retail.days_of_supply(D(6)), "60.83")


def test_gross_profit_is_the_margin_of_sales() -> None:
    for sales, share, profit in (("12.30", "0.135", "1.6605"), ("12.64", "0.12", "1.5168")):
        cost = D(sales) - D(profit)
        assert retail.margin(cost, D(sales)) == D(share)


def test_sell_through() -> None:
    assert retail.sell_through(D(650_000), D(350_000)) == D("0.65")  # of 1,000,000 received
    assert retail.sell_through(D(30), D(70)) == D("0.3")  # not 30/70
    with pytest.raises(BadInput):
        retail.sell_through(D(0), D(0))


def test_annual_return() -> None:
    assert near(retail.annual_return(D(12), D(30), D(45)), "3.2444")
    with pytest.raises(BadInput):
        retail.annual_return(D(12), D(0), D(45))
