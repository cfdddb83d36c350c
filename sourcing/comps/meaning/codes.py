"""Codes that were taken for numbers, and what can be found inside a title."""

from __future__ import annotations

import re
from collections.abc import Collection
from decimal import Decimal

from sourcing.codes import check_digit, style_key
from sourcing.comps.meaning import terms

_CODE = re.compile(r"(?<![\w-])(?=[\w-]*\d)(?=[\w-]*[A-Z])[A-Z0-9]{2,}(?:-[A-Z0-9]{2,})*(?![\w-])", re.ASCII)
_FLOAT = re.compile(r"(\d)(?:[.,](\d+))?[eE]\+?(\d{2})", re.ASCII)


def with_zeros(cell: str) -> str:
    """Return the barcode number a cell was before a program took it for a number; "" when that cannot be told.

    Leading zeros are put back up to 12 digits, or 8, and "7.62012345675E+11" is written out; only where no digit was
    lost and the check digit is right (GS1 General Specifications, section 7.9).
    """
    text = cell.strip()
    if match := _FLOAT.fullmatch(text):
        digits, power = match[1] + (match[2] or ""), int(match[3])
        if not 10 <= power <= 13 or len(digits) < power + 1 - 1:
            return ""  # digits were lost, and no check digit brings them back
        text = str(int(Decimal(text.replace(",", ".").lower())))
        lost = True
    else:
        text, lost = re.sub(r"\.0$", "", text), text.endswith(".0")
    if not (text.isascii() and text.isdigit()) or int(text) == 0:
        return ""
    if lost and len(text) in (12, 13, 14) and _right(text):
        return text
    if 9 <= len(text) <= 11 or len(text) == 7:
        padded = text.zfill(8 if len(text) == 7 else 12)
        return padded if _right(padded) else ""
    return ""


def _right(number: str) -> bool:
    return str(check_digit(number[:-1])) == number[-1]


def inside(field: str, text: str, known_styles: Collection[str] = ()) -> str:
    """Return the style code, size or condition a text holds; "" for none, or for two that differ."""
    if field == "size":
        found = {terms.size_text(match) for match in terms.IN_TEXT.findall(text)}
    elif field == "condition":
        return terms.condition_in(text)
    elif field == "style_code":
        tokens = set(_CODE.findall(text))
        found = {token for token in tokens if style_key(token).casefold() in known_styles} or {
            token for token in tokens if sum(c.isdigit() for c in token) >= 3
        }
    else:
        return ""
    return next(iter(found)) if len(found) == 1 else ""
