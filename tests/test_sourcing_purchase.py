"""The purchase side: discounts in the till's order, their exact inverse, tax, several pieces for one price."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import settings as run
from hypothesis import strategies as st

from sourcing.errors import BadInput
from sourcing.language import speaking
from sourcing.purchase import NO_DISCOUNT, Discounts, Step, each_of, kept_discount, taxed, unit_price, untaxed
from sourcing.terms import Terms

D = Decimal
CENT = D("0.01")
steps = st.one_of(
    st.builds(Step, st.decimals(0, "0.99", places=4), st.just(True)),
    st.builds(Step, st.decimals(0, 40, places=2), st.just(False)),
)
discounts = st.lists(steps, max_size=4).map(lambda found: Discounts(*found))


@pytest.mark.parametrize(
    ("text", "shelf", "paid"),
    [
        ("30% then 5.00", "40.00", "23.00"),  # 28.00, then 23.00
        ("5.00 then 30%", "40.00", "24.50"),  # 35.00, then 24.50: the order counts
        ("20", "25.00", "20.00"),  # one bare number is a percentage
        ("12,5%", "19.99", "17.49"),  # 17.49125
        ("50%", "2.01", "1.01"),  # 1.005 rounds half up
        ("50% then 50%", "2.01", "0.51"),  # 1.01, then 0.505: each line is rounded, not 0.5025 at the end
        ("5.00 off", "3.00", "0.00"),  # never below nothing
        ("10% + 2,50 + 10%", "50.00", "38.25"),  # 45.00, 42.50, 38.25
        ("0", "9.99", "9.99"),
    ],
)
def test_by_hand(text: str, shelf: str, paid: str) -> None:
    assert Discounts.parse(text).off(D(shelf)) == D(paid)


@pytest.mark.parametrize(
    ("text", "written"),
    [("30% then 5.00", "30% then 5.00"), ("20", "20%"), ("5 off", "5.00 off"), ("7,5 %", "7.5%"), ("0", "0%"),
     ("30% THEN 5,5", "30% then 5.50"), ("0.00 off then 10%", "10%")],
)  # fmt: skip
def test_is_written_as_it_is_read(text: str, written: str) -> None:
    found = Discounts.parse(text)
    assert str(found) == written
    assert Discounts.parse(written) == found
    assert hash(Discounts.parse(written)) == hash(found)


@pytest.mark.parametrize(
    "text",
    ["", "a fifth", "100", "100%", "-5", "30% then", "30% then 5.005", "1e2", "then 5", "20 %%", "5.00 off off",
     "10%+10%+10%+10%+10%+10%", "1,000,000%"],
)  # fmt: skip
def test_no_discount_says_what_is_accepted(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        Discounts.parse(text)
    assert caught.value.field == "discount"
    assert caught.value.accepted


@run(max_examples=400)
@given(discounts, st.decimals(0, "0.3", places=4), st.decimals(0, 500, places=4))
def test_the_shelf_price_for_a_landed_cost_is_the_highest_to_the_cent(
    found: Discounts, tax: Decimal, landed: Decimal
) -> None:
    one = Terms(purchase_tax=tax, store_discount=found)
    shelf = one.shelf_for_landed(landed)
    assert shelf == round(shelf, 2) >= 0
    assert one.landed(shelf) <= landed
    assert one.landed(shelf + CENT) > landed


@given(discounts, st.decimals(0, 500, places=2), st.decimals(0, 50, places=2))
def test_more_on_the_tag_never_costs_less(found: Discounts, shelf: Decimal, more: Decimal) -> None:
    assert found.off(shelf) <= found.off(shelf + more)


@given(discounts)
def test_a_kept_check_keeps_them(found: Discounts) -> None:
    assert kept_discount(str(found)) == found


def test_an_older_check_kept_a_bare_share() -> None:
    assert kept_discount("0.2") == Discounts.parse("20%")
    assert kept_discount("0") == NO_DISCOUNT
    assert kept_discount(None) is None


def test_tax_and_a_resale_exemption() -> None:
    at_till = Terms(purchase_tax=D("0.0825"), store_discount=Discounts.parse("30% then 5.00"))
    assert at_till.landed(D("40.00")) == D("24.90")  # 23.00 and 1.8975 of tax
    assert at_till.shelf_for_landed(D("24.90")) == D("40.00")
    assert at_till.landed(D("40.01")) == D("24.91")  # 28.007 rounds to 28.01, then 23.01, taxed 24.908325
    exempt = Terms(purchase_tax=D("0.0825"), resale_exemption="yes")
    assert exempt.landed(D("40.00")) == D("40.00")


@given(st.decimals(0, 500, places=2), st.decimals(0, "0.3", places=4))
def test_tax_and_back(price: Decimal, tax: Decimal) -> None:
    assert untaxed(taxed(price, tax), tax) >= price
    assert taxed(untaxed(price, tax), tax) <= price


@pytest.mark.parametrize(
    ("text", "pieces", "amount", "each"),
    [("3 for 20", 3, "20", "6.67"), ("2 FOR 5.00", 2, "5.00", "2.50"), ("10  for  1", 10, "1", "0.10"),
     ("14.99", 1, "14.99", "14.99"), ("3 for 0.05", 3, "0.05", "0.02")],
)  # fmt: skip
def test_several_for_one_price(text: str, pieces: int, amount: str, each: str) -> None:
    assert each_of(text) == (pieces, amount)
    assert unit_price(D(amount), pieces) == D(each)


def test_no_pieces_are_refused() -> None:
    with pytest.raises(BadInput, match="names no pieces"):
        each_of("0 for 20")


@pytest.mark.parametrize(
    ("language", "text", "parted"),
    [
        ("en", "3 for 20", (3, "20")), ("de", "3 für 20", (3, "20")), ("de", "3 FÜR  20,00 €", (3, "20,00 €")),
        ("de", "3 for 20", (3, "20")), ("en", "3 für 20", (1, "3 für 20")), ("de", "3 fur 20", (1, "3 fur 20")),
        ("de", "für 20", (1, "für 20")),
    ],
)  # fmt: skip
def test_a_price_for_several_is_read_in_the_language_spoken(language: str, text: str, parted: tuple[int, str]) -> None:
    with speaking(language):
        assert each_of(text) == parted


def test_a_discount_is_shown_as_the_language_writes_percentages() -> None:
    steps = Discounts.parse("12.5% then 5.00")
    assert (str(steps), steps.shown()) == ("12.5% then 5.00", "12.5\xa0% then 5.00")
    with speaking("de"):
        assert steps.shown() == "12,5\xa0% then 5.00"
        with pytest.raises(BadInput, match="3 für 20"):
            each_of("0 für 20")
