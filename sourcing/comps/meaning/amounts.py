"""How a column writes amounts: the decimal and the thousands mark, and the currency beside them.

The marks are those of a whole column, never of one cell: "1,299" says nothing until its neighbours speak.
Currencies: ISO 4217 and the signs of the Unicode CLDR, by babel.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache, lru_cache

from sourcing.comps.layout import Mark, Money

MARKS = tuple(
    Money(decimal, thousands)  # type: ignore[arg-type]
    for decimal, thousands in (
        (".", ""),
        (".", ","),
        (",", "."),
        (",", " "),
        (",", ""),
        (".", " "),
        (".", "'"),
        (",", "'"),
    )
)
_SPACES = dict.fromkeys(map(ord, "\u00a0\u202f\u2009\u2007"), " ")
_APOSTROPHES = dict.fromkeys(map(ord, "\u2019\u02bc`\u00b4"), "'")
_SIGNED = re.compile(r"([^\d\s.,'()+\-\u2212]{0,4}\.?)\s*([(\-\u2212+]?\s*\d.*?)\s*([^\d\s.,')\-]{0,4}\.?)")
LONGEST = 40  # characters of an amount with its currency
_BARE = re.compile(r"[0-9][0-9.,' ]*", re.ASCII)


@cache
def _codes() -> frozenset[str]:
    from babel import Locale

    return frozenset(Locale("en").currencies)


@cache
def _signs() -> dict[str, tuple[str, ...]]:
    """Signs and the codes they may stand for."""
    from babel import Locale

    found: dict[str, set[str]] = {}
    for language in ("en", "de", "fr", "es", "it", "nl", "pl", "sv", "cs"):
        for code, sign in Locale(language).currency_symbols.items():
            if sign != code and not sign.isascii():
                found.setdefault(sign, set()).add(code)
    signs = {sign: tuple(sorted(codes)) for sign, codes in found.items() if len(codes) == 1 and len(sign) == 1}
    return {**signs, "$": ("USD", "CAD", "AUD", "NZD", "MXN", "HKD", "SGD"), "\u00a3": ("GBP",),
            "\u00a5": ("JPY", "CNY"),
            "kr": ("SEK", "NOK", "DKK"), "\u20ac": ("EUR",)}  # fmt: skip


def may_be(sign: str) -> tuple[str, ...]:
    """Return the currencies a sign or code may stand for; none when it is neither."""
    code = sign.strip().upper()
    if code in _codes() and len(code) == 3:
        return (code,)
    return _signs().get(sign.strip().casefold().rstrip("."), ())


@lru_cache(8192)
def apart(cell: str) -> tuple[str, str]:
    """Part a cell into its number, spaces and apostrophes made plain, and the currency beside it ("" for none)."""
    text = cell.translate(_SPACES).translate(_APOSTROPHES).strip()
    if text and text[0].isdigit() and (text.isascii() and text[-1].isdigit()):
        return text, ""
    match = _SIGNED.fullmatch(text) if len(text) <= LONGEST else None
    if match is None:
        return text, ""
    sign = match[1] or match[3]
    if sign and not (match[1] and match[3]) and may_be(sign):
        return match[2].strip(), sign.strip()
    return text, ""


@cache
def _pattern(marks: Money) -> re.Pattern[str]:
    decimal = rf"(?:{re.escape(marks.decimal)}[0-9]+)?"
    whole = "[0-9]+"
    if marks.thousands:
        mark = re.escape(marks.thousands)
        whole = rf"(?:[0-9]+|[0-9]{{1,3}}(?:{mark}[0-9]{{2,3}})*{mark}[0-9]{{3}})"
    return re.compile(whole + decimal, re.ASCII)


@lru_cache(8192)
def _fitting(number: str) -> tuple[bool, ...]:
    """Tell of each of `MARKS` whether a number is written so."""
    return tuple(_pattern(marks).fullmatch(number) is not None for marks in MARKS)


def reads(cell: str, marks: Money) -> bool:
    """Tell whether a cell is written by these marks; an empty one is."""
    number, _ = apart(cell)
    return not number or _pattern(marks).fullmatch(number) is not None


def plain_amount(cell: str, marks: Money) -> str:
    """Return an amount as the documented format writes it; what is none under these marks is returned as it stands."""
    number, _ = apart(cell)
    if _pattern(marks).fullmatch(number) is None:
        return cell.strip()
    if marks.thousands:
        number = number.replace(marks.thousands, "")
    return number.replace(",", ".") if marks.decimal == "," else number


@lru_cache(8192)
def is_amount(cell: str) -> bool:
    """Tell whether a cell is written like an amount under some marks."""
    number, _ = apart(cell)
    return _BARE.fullmatch(number) is not None and any(_fitting(number))


def marks_of(cells: Iterable[str]) -> tuple[Money, ...]:
    """Return the ways of writing that fit most cells of a column: one, or several that read some cell differently."""
    numbers = {apart(cell)[0] for cell in cells}
    numbers = {number for number in numbers if _BARE.fullmatch(number)}
    if not any(mark in number for number in numbers for mark in ".,' "):
        return (Money(),)
    counts = dict(zip(MARKS, map(sum, zip(*map(_fitting, numbers), strict=True)), strict=True))
    most = max(counts.values())
    seen: dict[tuple[str, ...], Money] = {}
    order = sorted(numbers)
    for marks, count in counts.items():
        if count == most:
            seen.setdefault(tuple(plain_amount(number, marks) for number in order), marks)
    if len(seen) > 1:  # "1299.5" and "1.299": where only one way needs no third decimal, both stay; the user knows
        return tuple(seen.values())
    only = next(iter(seen.values()))
    return (_widened(only, numbers),)


def _widened(marks: Money, numbers: Iterable[str]) -> Money:
    """Let a column with a sure decimal mark group thousands by the other one in rows not looked at."""
    if marks.thousands or not any(marks.decimal in number for number in numbers):
        return marks
    other: Mark = "," if marks.decimal == "." else "."
    return Money(marks.decimal, other)
