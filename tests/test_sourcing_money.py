"""Money at the edges, and the conformal rank, against published rules."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from sourcing.errors import BadInput
from sourcing.learning import _conformal
from sourcing.money import cents, format_money, from_minor, minor_digits, parse_money, to_minor


# ISO 4217, the official table of minor units (by way of the iso4217 package, 1.16.20260101).
@pytest.mark.parametrize(
    ("currencies", "digits"),
    [
        ("USD EUR GBP CAD AUD MXN HUF COP TWD AFN ALL LAK MGA MRU RSD", 2),
        ("JPY KRW CLP ISK VND UGX", 0),
        ("KWD BHD TND JOD OMR IQD LYD", 3),
        ("CLF UYW", 4),
    ],
)
def test_minor_units(currencies: str, digits: int) -> None:
    assert {minor_digits(currency) for currency in currencies.split()} == {digits}


def test_decimals_follow_the_currency() -> None:
    assert parse_money("12.345", currency="KWD") == Decimal("12.345")
    for text, currency in (("12.345", "USD"), ("12.5", "JPY"), ("1", "XAU")):
        with pytest.raises(BadInput):
            parse_money(text, currency=currency)


@pytest.mark.parametrize(
    "text", ["12,5o", "-5.00", "(12.00)", "1e308", "NaN", "Infinity", "free", "", "1.2.3", "2000000"]
)
def test_what_is_no_amount_is_refused_with_the_value(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_money(text, field="price")
    assert text in str(caught.value)
    assert caught.value.field == "price"


def test_rounding_and_minor_units() -> None:
    assert cents(Decimal("0.1325") * Decimal("20.06")) == Decimal("2.66")  # 2.65795, half up per line
    assert from_minor(to_minor(Decimal("19.99"))) == Decimal("19.99")
    assert format_money(Decimal("1234.5")) == "$1,234.50"


# k = ceil((n + 1)(1 - alpha)); Vovk, Gammerman & Shafer 2005; Lei et al. 2018, JASA 113:1094.
@pytest.mark.parametrize(("n", "rank"), [(9, 8), (4, 4), (19, 16), (99, 80), (100, 81)])
def test_conformal_rank_at_eighty_percent(n: int, rank: int) -> None:
    assert _conformal(np.arange(1.0, n + 1.0)) == rank
