"""Numbers as people type them, whatever the locale of their settings and the keys of their phone."""

from __future__ import annotations

from decimal import Decimal

import pytest

from sourcing.errors import BadInput
from sourcing.typed_number import plain_number, typed_money


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", "12"), ("12.5", "12.5"), ("12,50", "12.50"), (".5", "0.5"), ("1,299.00", "1299"), ("1.299,00", "1299"),
        ("1 299,5", "1299.5"), ("1’234’567.89", "1234567.89"), ("1.299", "1.299"), ("1,299", "1.299"),
    ],
)  # fmt: skip
def test_either_mark_is_that_of_decimals(text: str, number: str) -> None:
    assert plain_number(text) == Decimal(number)


@pytest.mark.parametrize(
    "text",
    ["", "-5", "+5", "1e3", "nan", "inf", "1_000", "12,5o", "1.2.3", "1.299.00", "01.299,00", "1.29,00", "١٢"],
)
def test_nothing_is_guessed(text: str) -> None:
    assert plain_number(text) is None


@pytest.mark.parametrize("locale", ["en_US", "de_DE"])
@pytest.mark.parametrize(
    ("text", "amount"), [("12.50", "12.50"), ("12,50", "12.50"), ("12,50 €", "12.50"), ("€5", "5")]
)
def test_an_amount_reads_alike_in_every_locale(text: str, amount: str, locale: str) -> None:
    assert typed_money(text, "EUR", locale, "price") == Decimal(amount)


def test_where_decimals_cannot_be_the_locale_tells() -> None:
    assert typed_money("1,299", "USD", "en_US", "price") == 1299
    assert typed_money("1.299", "EUR", "de_DE", "price") == 1299
    for text, currency, locale in (("1.299", "USD", "en_US"), ("1000001", "USD", "en_US"), ("12.50", "JPY", "ja_JP")):
        with pytest.raises(BadInput, match="not an amount"):
            typed_money(text, currency, locale, "price")
