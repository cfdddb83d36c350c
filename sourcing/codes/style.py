"""Style codes: one canonical key for every spelling, and the known codes closest to a miss.

Source: Unicode Standard Annex 15 (NFKC) and the marks that it leaves in place.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

FRACTION = "\u2044"  # what NFKC makes of the bar in one half


def plain_text(text: str) -> str:
    """Return the text in NFKC, without format characters (zero-width ones, soft hyphens)."""
    kept = text
    if not text.isascii():
        kept = unicodedata.normalize("NFKC", "".join(c for c in text if unicodedata.category(c) != "Cf"))
    return kept


def style_key(text: str) -> str:
    """Return the canonical style code: NFKC, upper case, letters and digits only; "" when nothing is left.

    Dashes, spaces, dots and slashes are how people write a code, not part of it. Superscript and circled digits, Roman
    numerals and ligatures become plain ones as NFKC has it; digits of other scripts become 0-9 by their value. A
    fraction keeps its bar, so that "AB½" is never the same key as "AB12"; `parse_code` refuses it.
    """
    key = _fold(text)
    while (again := _fold(key)) != key:  # what stood apart may join once the marks between are gone
        key = again
    return key


def _fold(text: str) -> str:
    upper = plain_text(plain_text(text).upper())
    if upper.isascii():
        return "".join(filter(str.isalnum, upper))
    return "".join(_digit(char) for char in upper if char.isalnum() or char == FRACTION)


def _digit(char: str) -> str:
    return str(unicodedata.decimal(char)) if char.isdecimal() else char


def closest(key: str, known: Sequence[str], limit: int = 5) -> list[str]:
    """Return the known codes most like ``key``, best first; nothing that is hardly alike."""
    from rapidfuzz import fuzz, process

    best = process.extract(key, known, scorer=fuzz.ratio, limit=limit, score_cutoff=70)
    return [match for match, _, _ in best]
