"""Money: what is accepted as an amount, minor units, rounding, showing."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal
from itertools import product

import pytest
from babel.core import Locale
from hypothesis import given
from hypothesis import strategies as st

from sourcing.errors import BadInput
from sourcing.money import (
    cents,
    check_currency,
    check_locale,
    currency_marks,
    format_money,
    from_minor,
    minor_digits,
    money_writer,
    parse_money,
    to_minor,
)

# ISO 4217, list one (maintenance agency's table), as read by the general library iso4217 1.16.
ISO_DIGITS = {
    2: "USD EUR GBP CAD AUD MXN HUF COP TWD AFN ALL LAK MGA MRU RSD",
    0: "JPY KRW CLP ISK VND UGX",
    3: "KWD BHD TND JOD OMR IQD LYD",
    4: "CLF UYW",
}
# CLDR (Babel) gives these other digits than ISO 4217 does.
CLDR_DIFFERS = "IQD AFN ALL IRR KPW LAK LBP MGA MMK RSD SOS SYP YER"


@pytest.mark.published
@pytest.mark.parametrize(
    ("currency", "digits"), [(code, digits) for digits, codes in ISO_DIGITS.items() for code in codes.split()]
)
def test_minor_digits_are_those_of_iso_4217(currency: str, digits: int) -> None:
    assert minor_digits(currency) == digits


@pytest.mark.published
@pytest.mark.parametrize("currency", CLDR_DIFFERS.split())
def test_where_cldr_differs_iso_wins(currency: str) -> None:
    from babel.numbers import get_currency_precision

    assert minor_digits(currency) == (3 if currency == "IQD" else 2)
    assert get_currency_precision(currency) != minor_digits(currency)


@pytest.mark.parametrize("currency", ["XAU", "XXX"])
def test_what_has_no_minor_unit_prices_nothing(currency: str) -> None:
    with pytest.raises(BadInput, match="no minor unit"):
        minor_digits(currency)
    with pytest.raises(BadInput):
        check_currency(currency)


@pytest.mark.parametrize("currency", ["usd", "", "QQQ", "US", "KWD", "CLF", "$", "U" * 200])
def test_currencies_that_cannot_be_kept_are_refused(currency: str) -> None:
    with pytest.raises(BadInput) as caught:
        check_currency(currency)
    assert caught.value.field == "currency"
    assert caught.value.accepted
    assert caught.value.next_step


@pytest.mark.parametrize("locale", ["zz_QQ", "", "en US!", "12"])
def test_unknown_locales_are_refused(locale: str) -> None:
    with pytest.raises(BadInput, match="locale"):
        check_locale(locale)


def test_usual_currencies_and_locales_pass() -> None:
    for currency, locale in (("USD", "en_US"), ("EUR", "de_DE"), ("JPY", "ja_JP"), ("RSD", "sr_Latn_RS")):
        check_currency(currency)
        check_locale(locale)


@pytest.mark.parametrize(
    ("text", "currency", "locale", "amount"),
    [
        ("12.50", "USD", "en_US", "12.50"),
        (" 12.5 ", "USD", "en_US", "12.5"),
        ("0", "USD", "en_US", "0"),
        ("1,234.56", "USD", "en_US", "1234.56"),
        ("1,000,000", "USD", "en_US", "1000000"),
        ("12,50", "EUR", "de_DE", "12.50"),
        ("1.234,50", "EUR", "de_DE", "1234.50"),
        ("12.345", "KWD", "en_US", "12.345"),
        ("1250", "JPY", "en_US", "1250"),
    ],
)
def test_amounts_are_read_as_the_locale_writes_them(text: str, currency: str, locale: str, amount: str) -> None:
    assert parse_money(text, currency=currency, locale=locale, field="price") == Decimal(amount)


@pytest.mark.parametrize(
    ("text", "currency"),
    [
        ("", "USD"),
        ("   ", "USD"),
        ("12,5o", "USD"),
        ("12,50", "USD"),  # a decimal comma where the comma groups thousands
        ("-1", "USD"),
        ("\u22121", "USD"),
        ("+1", "USD"),
        ("(12.00)", "USD"),
        ("free", "USD"),
        ("1e308", "USD"),
        ("1E308", "USD"),
        ("NaN", "USD"),
        ("sNaN", "USD"),
        ("Infinity", "USD"),
        ("inf", "USD"),
        ("0x10", "USD"),
        ("1_000", "USD"),
        ("12.345", "USD"),
        ("12.5", "JPY"),
        ("1.2.3", "USD"),
        ("1000000.01", "USD"),
        ("9" * 400, "USD"),
        ("\u0663", "USD"),
        ("\u00bd", "USD"),
        ("<b>1</b>", "USD"),
    ],
)
def test_what_is_no_amount_says_so(text: str, currency: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_money(text, currency=currency, field="shelf_price")
    error = caught.value
    assert text.strip()[:40] in error.wrong
    assert "0 to 1,000,000" in error.accepted
    assert error.next_step
    assert error.field == "shelf_price"
    assert len(str(error)) < 300


@given(st.text(max_size=30))
def test_any_text_is_an_amount_in_range_or_bad_input(text: str) -> None:
    try:
        amount = parse_money(text, currency="USD", field="price")
    except BadInput:
        return
    assert 0 <= amount <= 1_000_000
    assert amount == cents(amount)


@given(st.integers(0, 10**8))
def test_minor_units_round_trip(minor: int) -> None:
    assert to_minor(from_minor(minor)) == minor
    assert parse_money(str(from_minor(minor)), currency="USD", field="") == from_minor(minor)


@pytest.mark.parametrize(
    ("amount", "rounded"),
    [("0.125", "0.13"), ("0.124999", "0.12"), ("2.675", "2.68"), ("-0.125", "-0.13"), ("1.005", "1.01")],
)
def test_cents_round_half_up(amount: str, rounded: str) -> None:
    assert cents(Decimal(amount)) == Decimal(rounded)


@pytest.mark.published
def test_a_fee_is_rounded_half_up_per_line() -> None:
    """13.25 % of 20.06 is 2.65795, charged as 2.66 (retail arithmetic, Levy & Weitz; rounding per line)."""
    assert cents(Decimal("0.1325") * Decimal("20.06")) == Decimal("2.66")


@pytest.mark.parametrize(
    ("amount", "currency", "locale", "shown"),
    [
        ("1234.5", "USD", "en_US", "$1,234.50"),
        ("0.125", "USD", "en_US", "$0.13"),
        ("1234.5", "EUR", "de_DE", "1.234,50\u00a0€"),
        ("12.5", "RSD", "en_US", "RSD12.50"),  # CLDR alone would say 13
        ("12.5", "JPY", "en_US", "¥13"),
    ],
)
def test_amounts_are_shown_with_iso_decimals(amount: str, currency: str, locale: str, shown: str) -> None:
    assert format_money(Decimal(amount), currency, locale) == shown
    assert money_writer(currency, locale)(Decimal(amount)) == shown


@pytest.mark.parametrize(
    ("currency", "locale", "example"), [("EUR", "de_DE", "12,50"), ("JPY", "ja_JP", "12."), ("USD", "en_US", "12.50")]
)
def test_the_example_of_an_amount_is_written_as_the_locale_does(currency: str, locale: str, example: str) -> None:
    with pytest.raises(BadInput, match=f"such as {re.escape(example)}"):
        parse_money("x", currency=currency, locale=locale)


def test_marks_beside_an_amount() -> None:
    assert currency_marks("CAD", "en_CA") == ("CA$", "CAD", "$")
    assert currency_marks("EUR", "de_DE") == ("EUR", "€")


@pytest.mark.parametrize("currency", ["USD", "EUR", "CHF", "SEK", "JPY", "KWD"])
def test_amounts_are_written_as_babel_writes_them(currency: str) -> None:
    """Babel's own call, one amount at a time, with the ISO 4217 decimals of the currency."""
    digits = minor_digits(currency)
    places = ("en_US", "en_IN", "de_DE", "de_CH", "fr_FR", "es_MX", "pt_BR", "ja_JP", "ar_EG", "sv_SE")
    places += ("bn_BD", "de_AT", "en_ZA", "eu_ES", "fa_IR", "gsw_CH", "he_IL", "hi_IN", "lt_LT", "ne_NP", "nl_NL")
    for locale, amount in product(places, ("0", "12.50", "-3.21", "-0.001", "99999.99", "1234567.89")):
        known = Locale.parse(locale)
        pattern = known.currency_formats["standard"]
        rounded = Decimal(amount).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
        expected = pattern.apply(rounded, known, currency=currency, currency_digits=digits != 2)
        assert format_money(Decimal(amount), currency, locale) == expected
