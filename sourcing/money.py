"""Money at the edges: reading what a person typed, rounding to the minor unit, showing it in their locale."""

from __future__ import annotations

import re
from collections.abc import Callable
from copy import copy
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

from sourcing.errors import BadInput
from sourcing.language import gettext

if TYPE_CHECKING:
    from babel.core import Locale
    from babel.numbers import NumberPattern

DEAREST = Decimal(1_000_000)
# ISO 4217 minor units where they are not two; CLDR's differ for some, so that table is not used for storage.
_DIGITS = {
    **dict.fromkeys(["JPY", "KRW", "CLP", "ISK", "VND", "UGX"], 0),
    **dict.fromkeys(["KWD", "BHD", "TND", "JOD", "OMR", "IQD", "LYD"], 3),
    "CLF": 4,
    "UYW": 4,
}


def minor_digits(currency: str) -> int:
    """Return how many decimals a price in this currency may have (ISO 4217); gold and "none" are no currency."""
    if currency in ("XAU", "XXX"):
        raise BadInput(
            gettext("{currency} has no minor unit and cannot price anything.", currency=currency), field="currency"
        )
    return _DIGITS.get(currency, 2)


def check_currency(currency: str) -> None:
    """Refuse what is no currency, and those whose small change our two stored decimals cannot hold.

    Raises
    ------
    BadInput
        Not an ISO 4217 code, a code without a minor unit, or a currency with three or four decimals.
    """
    from babel.numbers import list_currencies

    if currency not in list_currencies() or minor_digits(currency) > 2:
        raise BadInput(
            gettext("The currency “{currency}” cannot be used.", currency=currency[:20]),
            gettext("An ISO 4217 code in capitals of a currency with at most two decimals, such as USD or EUR."),
            gettext("Change the currency."),
            field="currency",
        )


def check_locale(locale: str) -> None:
    """Refuse a locale that amounts cannot be written in.

    Raises
    ------
    BadInput
        Not a locale of the Unicode CLDR.
    """
    from babel.core import Locale, UnknownLocaleError

    try:
        Locale.parse(locale)
    except (UnknownLocaleError, ValueError, TypeError) as error:
        raise BadInput(
            gettext("The locale “{locale}” is not known.", locale=locale[:20]),
            gettext("A language and country such as en_US or de_DE."),
            gettext("Change the locale."),
            field="locale",
        ) from error


def parse_money(text: str, *, currency: str = "USD", field: str = "", locale: str = "en_US") -> Decimal:
    """Read an amount from 0 to 1,000,000 as the locale writes it.

    Raises
    ------
    BadInput
        Not an amount, negative, too large, or with more decimals than the currency has.
    """
    from babel.numbers import NumberFormatError, format_decimal, parse_decimal

    plain = text.strip()
    digits = minor_digits(currency)
    example = format_decimal(
        Decimal("12.50").quantize(Decimal(1).scaleb(-digits)), "0." + "0" * digits if digits else "0", locale
    )
    wrong = BadInput(
        gettext("“{plain}” is not an amount of money.", plain=plain[:40]),
        gettext(
            "An amount from 0 to 1,000,000 with at most {digits} decimals, such as {example}.",
            digits=digits,
            example=example,
        ),
        gettext("Type the amount again."),
        field=field,
    )
    if not re.fullmatch(r"[0-9][0-9.,  ]*", plain) or len(plain) > 20:
        raise wrong  # signs, exponents, NaN and letters never reach the parser, which would take some of them
    try:
        amount = Decimal(parse_decimal(plain, locale=locale, strict=True))
    except (NumberFormatError, ValueError) as error:
        raise wrong from error
    exponent = amount.as_tuple().exponent
    if not amount.is_finite() or amount > DEAREST or not isinstance(exponent, int) or -exponent > digits:
        raise wrong
    return amount


@lru_cache(maxsize=32)
def currency_marks(currency: str, locale: str) -> tuple[str, ...]:
    """Return what may stand beside an amount on a tag: the currency's code, its symbol there and its short one."""
    from babel.numbers import get_currency_symbol

    marks = {currency, get_currency_symbol(currency, locale), get_currency_symbol(currency, "en_US")}
    return tuple(sorted(marks, key=lambda mark: (-len(mark), mark)))


def cents(amount: Decimal) -> Decimal:
    """Round half up to two decimals."""
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)


def to_minor(amount: Decimal) -> int:
    """Return the amount in minor units of two decimals."""
    return int(cents(amount) * 100)


def from_minor(minor: int) -> Decimal:
    """Return minor units as an amount."""
    return Decimal(minor).scaleb(-2)


def format_money(amount: Decimal, currency: str = "USD", locale: str = "en_US") -> str:
    """Show an amount as the locale does, rounded half up to the currency's ISO 4217 decimals."""
    return money_writer(currency, locale)(amount)


@lru_cache(maxsize=32)
def money_writer(currency: str = "USD", locale: str = "en_US") -> Callable[[Decimal], str]:
    """Return a call that shows amounts in one currency and locale; the locale's pattern is looked up once.

    A sentence of a verdict holds several amounts and a list has thousands of sentences, so take the writer once
    outside of the loop: ``write = money_writer(settings.currency, settings.locale)``, then ``write(most)``.
    """
    from babel.core import Locale
    from babel.numbers import get_currency_symbol

    digits = minor_digits(currency)
    unit = Decimal(1).scaleb(-digits)
    known = Locale.parse(locale)
    # The symbol is put in beforehand: for each amount anew, the pattern would look up the currency's long name too.
    symbol, pattern = get_currency_symbol(currency, known), copy(known.currency_formats["standard"])
    pattern.prefix = tuple(text.replace("¤", symbol) for text in pattern.prefix)
    pattern.suffix = tuple(text.replace("¤", symbol) for text in pattern.suffix)
    if digits != 2:  # CLDR shows some two-decimal currencies without decimals; the locale's own pattern has two
        pattern.frac_prec = (digits, digits)

    shown = _plain_pattern(pattern, known)

    @lru_cache(maxsize=4_000)  # the same few amounts come again and again: a limit, its room to a price tag
    def write(amount: Decimal) -> str:
        rounded = amount.quantize(unit, ROUND_HALF_UP)
        return str(pattern.apply(rounded, known)) if shown is None else shown(rounded)

    return write


def _plain_pattern(pattern: NumberPattern, locale: Locale) -> Callable[[Decimal], str] | None:
    """Return what writes amounts as a pattern does, with its symbols looked up beforehand; None for an unusual pattern.

    Every amount is met for the first time once, and the pattern then takes ten times as long.
    """
    from babel.numbers import get_decimal_symbol, get_group_symbol

    least, most = pattern.frac_prec
    if least != most or pattern.exp_prec or pattern.scale or "@" in pattern.pattern or not pattern.number_pattern:
        return None
    ends = [
        tuple(re.sub(r"'([^']*)'", lambda found: found.group(1) or "'", text) for text in side)
        for side in zip(pattern.prefix, pattern.suffix, strict=True)
    ]
    point, between = get_decimal_symbol(locale), get_group_symbol(locale)
    first, further = pattern.grouping
    width = pattern.int_prec[0]

    def write(amount: Decimal) -> str:
        before, after = ends[amount.is_signed()]
        whole, _, part = f"{abs(amount):f}".partition(".")
        whole = whole.zfill(width)
        if len(whole) > first:
            groups, rest = [whole[-first:]], whole[:-first]
            while len(rest) > further:
                groups.append(rest[-further:])
                rest = rest[:-further]
            whole = between.join((rest, *reversed(groups)))
        return f"{before}{whole}{point}{part}{after}" if part else f"{before}{whole}{after}"

    return write
