"""Numbers and amounts as people type them: point and comma both mark decimals, as keyboards of phones offer either."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from sourcing.money import DEAREST, currency_marks, minor_digits, parse_money

_GROUPED = re.compile(r"[1-9][0-9]{0,2}([., '’])[0-9]{3}(?:\1[0-9]{3})*(?!\1)[.,][0-9]{1,2}")


def plain_number(text: str) -> Decimal | None:
    """Read plain digits with one decimal point or comma: no exponent, no sign, nothing guessed; None for others.

    Thousands may be set apart where the decimals leave no doubt, as in 1,299.00 and 1.299,00; 1.299 could be either.
    """
    if _GROUPED.fullmatch(text):
        decimals = len(text) - max(text.rfind("."), text.rfind(",")) - 1
        return Decimal(re.sub("[^0-9]", "", text)).scaleb(-decimals)
    plain = text.replace(",", ".")
    if len(plain) > 12 or not plain.isascii() or not plain.replace(".", "", 1).isdigit():
        return None
    try:
        return Decimal(plain)
    except InvalidOperation:
        return None


def bare_number(text: str, currency: str, locale: str) -> Decimal | None:
    """Read an amount with the currency's mark beside it or without; None where it is none.

    The locale's own mark between groups of three sets thousands apart: 1,299 in en_US, 1.299 in de_DE. No currency that
    can be set has three decimals, so it can be nothing else there.
    """
    for mark in currency_marks(currency, locale):
        text = text.removeprefix(mark).removesuffix(mark).strip()
    if len(text) > 4 and _whole_groups(locale).fullmatch(text):
        return Decimal(re.sub("[^0-9]", "", text))
    return plain_number(text)


@lru_cache(maxsize=32)
def _whole_groups(locale: str) -> re.Pattern[str]:
    """Return what whole thousands look like that are set apart as the locale does it; spaces are all alike."""
    from babel.numbers import get_group_symbol

    mark = get_group_symbol(locale)
    between = r"\s" if mark.isspace() else re.escape(mark)
    return re.compile(f"[1-9][0-9]{{0,2}}(?:{between}[0-9]{{3}})+")


def typed_money(text: str, currency: str, locale: str, field: str) -> Decimal:
    """Read an amount from 0 to 1,000,000 with either mark of decimals, or as the locale writes it.

    Raises
    ------
    BadInput
        Not an amount, negative, too large, or with more decimals than the currency has.
    """
    found = bare_number(" ".join(text.split()), currency, locale)
    if found is not None and found <= DEAREST and found == round(found, minor_digits(currency)):
        return found
    return parse_money(text, currency=currency, locale=locale, field=field)
