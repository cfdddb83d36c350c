"""Terms of sale: net proceeds, landed cost and its inverse, break-even, the worked receipt."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing.errors import BadInput
from sourcing.fees import one_fee
from sourcing.money import cents
from sourcing.purchase import NO_DISCOUNT, Discounts
from sourcing.retail import price_for
from sourcing.terms import Terms

D = Decimal
CENT = D("0.01")
PLAIN = Terms(
    fees=one_fee(D("0.10"), D("0.30")),
    postage=D("7.50"),
    supplies=D("0.75"),
    return_rate=D("0.04"),
    return_value_lost=D("0.15"),
    hourly_value=D(18),
)
money = st.decimals(0, 500, places=2)
terms = st.builds(
    Terms,
    fees=st.builds(
        one_fee,
        st.decimals(0, "0.5", places=4),
        st.decimals(0, 5, places=2),
        st.none() | st.decimals(0, 30, places=2),
    ),
    postage=st.decimals(0, 30, places=2),
    supplies=st.decimals(0, 5, places=2),
    purchase_tax=st.decimals(0, "0.3", places=4),
    store_discount=st.decimals(0, "0.9", places=2).map(Discounts.of_share),
    return_rate=st.decimals(0, "0.5", places=3),
    return_value_lost=st.decimals(0, "0.8", places=2),
)


def test_a_sale_by_hand() -> None:
    """50.00 less 5.00 and 0.30 fee, 7.50 postage, 0.75 supplies, 0.04 x (7.50 + 7.50) = 0.60 for returns: 35.85."""
    assert PLAIN.net(D(50)) == D("35.85")
    assert PLAIN.labour() == D("1.80")


def test_the_cap_holds_the_percentage_part_only() -> None:
    capped = Terms(fees=one_fee(D("0.10"), D("0.30"), D("4.00")))
    assert [capped.fee(D(total)) for total in (30, 40, 50, 5000)] == [D("3.30"), D("4.30"), D("4.30"), D("4.30")]


@pytest.mark.published
def test_a_fee_line_is_rounded_half_up() -> None:
    """13.25 % of 20.06 is 2.65795 (retail arithmetic, Levy & Weitz; rounding per line)."""
    assert Terms(fees=one_fee(D("0.1325"))).fee(D("20.06")) == D("2.66")


def test_landed_cost_by_hand() -> None:
    at_till = Terms(purchase_tax=D("0.08"), store_discount=Discounts.parse("20%"))
    assert at_till.landed(D("25.00")) == D("21.60")
    assert at_till.landed(D("25.00"), NO_DISCOUNT) == D("27.00")
    assert at_till.shelf_for_landed(D("21.60")) == D("25.00")


@given(terms, st.decimals(0, 500, places=4))
def test_the_shelf_price_for_a_landed_cost_is_the_highest(one: Terms, landed: Decimal) -> None:
    shelf = one.shelf_for_landed(landed)
    assert shelf == cents(shelf) >= 0
    assert one.landed(shelf) <= landed
    assert one.landed(shelf + CENT) > landed


def test_half_a_cent_at_the_till_rounds_up() -> None:
    """At half price 2.01 lands at 1.005, rung up as 1.01: more than the 1.00 that is worth paying."""
    assert Terms(store_discount=Discounts.parse("50")).shelf_for_landed(D("1.00")) == D("2.00")


def test_no_shelf_price_below_nothing() -> None:
    assert PLAIN.shelf_for_landed(D("-3")) == 0


@pytest.mark.parametrize("discount", ["1", "1.5"])
def test_a_discount_of_everything_is_refused(discount: str) -> None:
    with pytest.raises(BadInput, match="takes the whole price") as caught:
        Discounts.of_share(D(discount))
    assert caught.value.field == "discount"


@given(terms, money)
def test_break_even_is_the_smallest_total_that_covers_everything(one: Terms, landed: Decimal) -> None:
    total = one.break_even_sale(landed)
    need = landed + one.labour()
    assert one.net(total) >= need
    assert total == 0 or one.net(total - CENT) < need


@pytest.mark.published
@pytest.mark.parametrize(
    ("cost", "charges", "rate", "price"),
    [("30", "8.30", "0.13", "44.02"), ("30", "0.30", "0.13", "34.83"), ("30", "10", "0.20", "50.00"),
     ("12", "5.40", "0.1325", "20.06")],
)  # fmt: skip
def test_break_even_against_the_textbook_formula(cost: str, charges: str, rate: str, price: str) -> None:
    """p = (c + x) / (1 - f), Levy & Weitz; the first is 44.03 before the fee line is rounded to 5.72, 44.02 after."""
    none = D(0)
    one = Terms(fees=one_fee(D(rate), D(charges)), postage=none, supplies=none, return_rate=none, hourly_value=none)
    assert one.break_even_sale(D(cost)) == D(price)
    assert abs(price_for(D(cost), D(charges), D(rate)) - D(price)) < CENT


@pytest.mark.parametrize("rate", ["1", "1.2"])
def test_no_break_even_when_fees_take_everything(rate: str) -> None:
    with pytest.raises(BadInput, match="whole price"):
        Terms(fees=one_fee(D(rate), D("0.30")), return_rate=D(0)).break_even_sale(D(10))
    capped = Terms(fees=one_fee(D(rate), D("0.30"), D(5)), return_rate=D(0))
    assert capped.net(capped.break_even_sale(D(10))) >= 10  # the cap saves it


@given(terms, money, money)
def test_more_paid_never_nets_less(one: Terms, total: Decimal, more: Decimal) -> None:
    # Each of two lines is rounded on its own, so a cent may go the other way.
    assert one.net(total + more) >= one.net(total) - CENT


@given(terms, money, st.none() | money)
def test_the_receipt_adds_up(one: Terms, total: Decimal, shelf: Decimal | None) -> None:
    *lines, left = one.receipt(total, shelf)
    assert sum(line.amount for line in lines) == left.amount
    spent = one.labour() + (one.landed(shelf) if shelf is not None else 0)
    assert left.amount == one.net(total) - spent
