"""Numbers as people type them, whatever the locale of their settings and the keys of their phone."""

from __future__ import annotations

from decimal import Decimal

import pytest

from sourcing.errors import BadInput
from sourcing.typed_number import bare_number, plain_number, typed_money


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


@pytest.mark.parametrize(
    ("text", "currency", "locale", "amount"),
    [
        ("1,299", "USD", "en_US", "1299"), ("$1,299", "USD", "en_US", "1299"), ("1.299", "EUR", "de_DE", "1299"),
        ("1,000,000", "USD", "en_US", "1000000"), ("1 299", "EUR", "fr_FR", "1299"), ("1’299", "CHF", "de_CH", "1299"),
        ("1.299", "USD", "en_US", "1.299"), ("1,299", "EUR", "de_DE", "1.299"), ("1,29", "USD", "en_US", "1.29"),
        ("0,299", "USD", "en_US", "0.299"), ("1299,299", "USD", "en_US", "1299.299"), ("1,299,", "USD", "en_US", None),
        ("1,299,29", "USD", "en_US", None), ("1,2999", "USD", "en_US", "1.2999"),
    ],
)  # fmt: skip
def test_the_locale_s_own_mark_between_threes_sets_thousands_apart(
    text: str, currency: str, locale: str, amount: str | None
) -> None:
    """Grouping marks as the Unicode CLDR has them: a comma in en_US, a point in de_DE, a space in fr_FR, ’ in de_CH."""
    assert bare_number(text, currency, locale) == (None if amount is None else Decimal(amount))
