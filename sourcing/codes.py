"""Product codes: GTINs and their classes, UPC-E, ISBN, and style codes as makers print them.

Source: GS1 General Specifications, check digit calculation (sec. 7.9), UPC-E (sec. 5.2.2.4.2), restricted
circulation numbers (sec. 2.1.11-2.1.12), prefix table (sec. 1.4); ISBN: ISO 2108; NFKC: Unicode UAX 15.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from stdnum import ean, isbn

from sourcing.errors import BadInput

Kind = Literal["product", "store tag", "coupon", "refund", "demo", "not a product", "unknown", "style code"]
LONGEST = 80
_DASHES = dict.fromkeys(
    [0x2010, 0x2011, 0x2012, 0x2013, 0x2014, 0x2015, 0x2212, 0x00AD, 0x200B, 0x200C, 0x200D, 0x2060, 0xFEFF],
    "",
)
_NOTES: dict[str, str] = {
    "store tag": "This is an in-store tag: it identifies nothing outside that store. Type the maker's style code.",
    "coupon": "This is a coupon, not a product.",
    "refund": "This is a refund receipt, not a product.",
    "not a product": "This number is reserved and names no product.",
    "demo": "This number is from the range kept for demonstrations (prefix 952).",
    "unknown": "This number's prefix is not assigned in the table we know.",
}


@dataclass(frozen=True)
class Code:
    """A code as understood: ``gtin`` is the canonical GTIN-14 or "", ``style_key`` the canonical style code."""

    typed: str
    kind: Kind
    gtin: str
    style_key: str
    note: str = ""
    alternatives: tuple[str, ...] = ()


def check_digit(body: str) -> str:
    """Return the mod-10 check digit of the digits before it (weights 3, 1, 3 ... from the right)."""
    return str(ean.calc_check_digit(body))


def expand_upce(digits: str) -> str:
    """Expand a UPC-E (six digits, or eight with number system 0 and check digit) to its UPC-A of 12 digits.

    Raises
    ------
    BadInput
        Not six or eight digits, number system not 0, or a wrong check digit.
    """
    if not re.fullmatch(r"[0-9]{6}|0[0-9]{7}", digits):
        raise BadInput(f"“{digits}” is no UPC-E.", "Six digits, or eight starting with 0.", field="code")
    core = digits if len(digits) == 6 else digits[1:7]
    d, last = core, core[5]
    if last in "012":
        body = f"0{d[:2]}{last}0000{d[2:5]}"
    elif last == "3":
        body = f"0{d[:3]}00000{d[3:5]}"
    elif last == "4":
        body = f"0{d[:4]}00000{d[4]}"
    else:
        body = f"0{d[:5]}0000{last}"
    full = body + check_digit(body)
    if len(digits) == 8 and full[-1] != digits[-1]:
        raise BadInput(
            f"“{digits}” has a wrong check digit: as a UPC-E it would end in {full[-1]}.",
            next_step="Type the digits again.",
            field="code",
        )
    return full


def compress_upce(upca: str) -> str:
    """Compress a UPC-A to its canonical UPC-E of eight digits.

    Raises
    ------
    BadInput
        The number has no UPC-E form.
    """
    for core in _cores(upca):
        if expand_upce(core) == upca:
            return f"0{core}{upca[-1]}"
    raise BadInput(f"{upca} has no UPC-E form.", field="code")


def _cores(upca: str) -> list[str]:
    if not re.fullmatch(r"0[0-9]{11}", upca):
        return []
    maker, item = upca[1:6], upca[6:11]
    return [
        maker[:2] + item[2:] + maker[2],
        maker[:3] + item[3:] + "3",
        maker[:4] + item[4] + "4",
        maker + item[4],
    ]


def isbn10_to_13(text: str) -> str:
    """Turn an ISBN-10 into its ISBN-13, or raise BadInput."""
    try:
        return str(isbn.to_isbn13(isbn.validate(text)))
    except Exception as error:  # stdnum has one class per defect; the user needs one sentence
        raise BadInput(
            f"“{text}” is no ISBN.", "Ten characters with a right check digit.", field="code"
        ) from error


def isbn13_to_10(text: str) -> str:
    """Turn an ISBN-13 of prefix 978 into its ISBN-10, or raise BadInput."""
    try:
        return str(isbn.to_isbn10(isbn.validate(text)))
    except Exception as error:
        raise BadInput(f"“{text}” has no ISBN-10.", "An ISBN-13 starting with 978.", field="code") from error


def style_key(text: str) -> str:
    """Return the canonical style code: NFKC, upper case, letters and digits only; "" when nothing is left.

    Superscripts and circled digits become plain digits as NFKC has it; a fraction's slash is dropped like any
    other mark, and digits of other scripts become 0-9 by their value.
    """
    plain = unicodedata.normalize("NFKC", text.translate(_DASHES)).upper()
    return "".join(_digit(char) for char in unicodedata.normalize("NFKC", plain) if char.isalnum())


def _digit(char: str) -> str:
    return str(unicodedata.decimal(char)) if char.isdecimal() else char


def gtin_key(text: str) -> str:
    """Return the canonical GTIN-14 of a barcode's number.

    Raises
    ------
    BadInput
        Not digits of a GTIN's length, or a wrong check digit.
    """
    code = parse_code(text)
    if not code.gtin:
        raise BadInput(
            f"“{text[:40]}” is no barcode number.",
            "8, 12, 13 or 14 digits.",
            "Type the digits under the bars.",
            field="code",
        )
    return code.gtin


def parse_code(text: str, *, symbology: str | None = None, as_style: bool = False) -> Code:
    """Understand a typed or scanned code: a barcode number, an ISBN-10, or else a style code.

    Parameters
    ----------
    text : str
        As typed; kept in ``typed``.
    symbology : str, optional
        "EAN8" or "UPCE" when a reader told which, so that eight digits are not ambiguous.
    as_style : bool
        Take digits of a barcode's length as a style code all the same.

    Raises
    ------
    BadInput
        Nothing readable, too long, or a barcode number with a wrong check digit.
    """
    typed = text.strip()
    if len(typed) > LONGEST:
        raise BadInput(
            f"The code has {len(typed)} characters.", f"Up to {LONGEST}.", "Type it anew.", field="code"
        )
    key = style_key(typed)
    if not key:
        raise BadInput(
            f"“{typed}” holds no letter or digit.",
            "A barcode number or a style code.",
            "Type the digits under the bars, or the style code.",
            field="code",
        )
    if not as_style and "½" not in typed:
        compact = key
        if re.fullmatch(r"[0-9]{9}X", compact) and isbn.is_valid(compact):
            return _classified(typed, "0" + isbn10_to_13(compact))
        if re.fullmatch(r"[0-9]+", compact) and len(compact) in (8, 12, 13, 14):
            return _number(typed, compact, symbology)
        if len(compact) == 10 and compact.isdecimal() and isbn.is_valid(compact) and "-" in typed:
            return _classified(typed, "0" + isbn10_to_13(compact))
    return Code(typed, "style code", "", key)


def _number(typed: str, digits: str, symbology: str | None) -> Code:
    if len(digits) == 8:
        return _eight(typed, digits, symbology)
    if check_digit(digits[:-1]) != digits[-1]:
        raise BadInput(
            f"“{typed}” has a wrong check digit: {digits[:-1]} would end in {check_digit(digits[:-1])}.",
            "All digits under the bars, the small ones at both ends too.",
            "Type or scan it again.",
            field="code",
        )
    return _classified(typed, digits.zfill(14))


def _eight(typed: str, digits: str, symbology: str | None) -> Code:
    short = digits.zfill(14) if check_digit(digits[:-1]) == digits[-1] and symbology != "UPCE" else ""
    long = ""
    if digits[0] == "0" and symbology != "EAN8":
        try:
            long = expand_upce(digits).zfill(14)
        except BadInput:
            long = ""
    if short and long:
        found = _classified(typed, long)
        note = f"Eight digits can be two numbers: taken as {long} (UPC-E); as an EAN-8 it would be {short}."
        return Code(typed, found.kind, long, "", note, (short,))
    if not short and not long:
        raise BadInput(
            f"“{typed}” has a wrong check digit: {digits[:-1]} would end in {check_digit(digits[:-1])}.",
            "All eight digits under the bars.",
            "Type or scan it again.",
            field="code",
        )
    return _classified(typed, long or short)


def _classified(typed: str, gtin: str) -> Code:
    kind = classify(gtin)
    return Code(typed, kind, gtin, "", _NOTES.get(kind, ""))


def classify(gtin: str) -> Kind:
    """Return the class of a canonical GTIN-14 by its GS1 prefix."""
    eight = gtin.startswith("000000") and not gtin.startswith("0000000")
    if eight:
        return "store tag" if gtin[6] in "02" else "product"
    if gtin.startswith("0000000"):
        return "store tag"
    prefix = gtin[1:4]
    number = int(prefix)
    if prefix[:2] in ("02", "04") or 200 <= number <= 299:
        return "store tag"
    if prefix[:2] == "05":
        return "not a product"
    if number == 952:
        return "demo"
    if number == 980:
        return "refund"
    if 981 <= number <= 983 or 990 <= number <= 999:
        return "coupon"
    if 140 <= number <= 199 or number in (953, 970) or 984 <= number <= 989:
        return "unknown"
    return "product"


def closest(key: str, known: Sequence[str], limit: int = 5) -> list[str]:
    """Return the known codes most like ``key``, best first; nothing that is hardly alike."""
    from rapidfuzz import fuzz, process

    return [
        match for match, _, _ in process.extract(key, known, scorer=fuzz.ratio, limit=limit, score_cutoff=70)
    ]
