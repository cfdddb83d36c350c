"""Understand what was typed or scanned: a barcode's number, an ISBN, or else a style code.

Decided here, where no standard decides:

- Digits of a GTIN's length are a barcode's number. A wrong check digit is refused, since one mistyped digit would name
  another item; "style" in front takes the same digits as a style code. "UPC", "EAN-8", "ISBN" and their like in front
  are understood too, and settle which of two numbers eight digits are.
- A fraction in a code is refused. Superscript, circled and other scripts' digits count as digits: the check digit
  guards a barcode's number, and no maker tells two styles apart by them.
- Numbers that a spreadsheet has spoilt (9.52E+12) are refused, since digits are lost; one that lost its leading zero
  is a style code with a note, because it may be one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from sourcing.codes.gtin import LENGTHS, check_digit, expand_upce, is_gtin, is_isbn10, isbn10_to_13
from sourcing.codes.kinds import Kind, classify, note_on
from sourcing.codes.style import FRACTION, plain_text, style_key
from sourcing.errors import BadInput
from sourcing.language import gettext, separated

LONGEST = 80
_LABEL = re.compile(
    r"(?:(UPC[ -]?[AE]?|EAN[ -]?(?:8|13)?|GTIN(?:-(?:8|12|13|14))?|ISBN(?:-1[03])?)(?::\s*|\s+)(?=[0-9Xx\s-]+$)"
    r"|(STYLE)(?:\s+CODE)?(?::\s*|\s+)(?=\S))",
    re.I,
)
_SPOILT = re.compile(r"[0-9]+(?:[.,][0-9]+[eE][+]?|[eE][+])[0-9]{1,3}")
_POWER = re.compile(r"[0-9]+e[0-9]{1,3}", re.I)
_WHOLE = re.compile(r"([0-9]{7,14})[.,]0+")
_LETTER_FOR_DIGIT = str.maketrans("OIL", "011")


@dataclass(frozen=True)
class Code:
    """A code as understood.

    ``typed`` is what was typed; ``gtin`` the canonical GTIN-14 or ""; ``style_key`` the canonical style code or "";
    ``note`` plain words for the user; ``alternatives`` other GTIN-14 that the same digits may mean.
    """

    typed: str
    kind: Kind
    gtin: str
    style_key: str
    note: str = ""
    alternatives: tuple[str, ...] = ()


def parse_code(text: str, *, symbology: str | None = None, as_style: bool = False) -> Code:
    """Understand a typed or scanned code: a barcode's number, an ISBN, or else a style code.

    Parameters
    ----------
    text : str
        As typed; kept in ``typed``.
    symbology : str, optional
        "EAN8" or "UPCE" when a reader told which, so that eight digits are not ambiguous. Others say nothing.
    as_style : bool
        Take digits of a barcode's length as a style code all the same.

    Raises
    ------
    BadInput
        Nothing readable, too long, a fraction, a number spoilt by a spreadsheet, or a barcode's number with a wrong
        check digit or a letter in it.
    """
    typed = text.strip()
    if len(typed) > LONGEST:
        raise BadInput(
            gettext(
                "The code has {number} characters, beginning “{start}”.",
                number=separated(f"{len(typed):,}"),
                start=typed[:20],
            ),
            gettext("Up to {most}.", most=LONGEST),
            gettext("Type only the digits under the bars, or the style code."),
            field="code",
        )
    body, label = _labelled(plain_text(typed).strip())
    as_style = as_style or label == "STYLE"
    key = style_key(body)
    if not key:
        raise BadInput(
            gettext("“{typed}” holds no letter or digit.", typed=typed) if typed else gettext("No code was given."),
            gettext("A barcode number or a style code."),
            gettext("Type the digits under the bars, or the style code on the tongue or box label."),
            field="code",
        )
    if FRACTION in key:
        raise BadInput(
            gettext("“{typed}” holds a fraction, which no code does.", typed=typed),
            gettext("Letters, digits and dashes."),
            gettext("Type the code alone; a half size goes into the size field, as 8.5."),
            field="code",
        )
    if as_style:
        return Code(typed, "style code", "", key)
    if _SPOILT.fullmatch(body):
        raise BadInput(
            gettext(
                "“{typed}” is a number that a spreadsheet has shortened: digits of the code are lost.", typed=typed
            ),
            gettext("All the digits under the bars."),
            gettext("Format that column as text and enter the code anew."),
            field="code",
        )
    whole = _WHOLE.fullmatch(body)
    if whole:  # a spreadsheet's decimal places, not digits of the code
        key = whole[1]
    if _is_book(body, key, label):
        return _classified(typed, "0" + isbn10_to_13(key))
    if len(key) in LENGTHS and key.isdecimal():
        return _number(typed, key, _symbology(label or symbology or ""))
    return _style(typed, body, key)


def gtin_key(text: str) -> str:
    """Return the canonical GTIN-14 of a barcode's number, or of an ISBN-10.

    Raises
    ------
    BadInput
        Not digits of a GTIN's length, or a wrong check digit.
    """
    code = parse_code(text)
    if code.gtin:
        return code.gtin
    key = code.style_key
    if is_isbn10(key):
        return "0" + isbn10_to_13(key)
    if _POWER.fullmatch(text.strip()):
        wrong = gettext("“{text}” is a number that was shortened: digits of the code are lost.", text=text[:40])
    elif not key.isdecimal():
        wrong = gettext("“{text}” is no barcode number: it holds letters.", text=text[:40])
    else:
        wrong = gettext("“{text}” is no barcode number: it has {number} digits.", text=text[:40], number=len(key))
    if code.alternatives:
        longer = gettext(
            "With the zero in front that a spreadsheet drops, it would be {code}.", code=code.alternatives[0][2:]
        )
        wrong = f"{wrong} {longer}"
    raise BadInput(wrong, gettext("8, 12, 13 or 14 digits."), gettext("Type the digits under the bars."), field="code")


def _labelled(text: str) -> tuple[str, str]:
    """Split off a word in front that says what kind of code follows."""
    found = _LABEL.match(text)
    if not found:
        return text, ""
    return text[found.end() :], (found[1] or found[2]).upper()


def _symbology(text: str) -> str:
    return re.sub(r"[ _-]", "", text.upper())


def _is_book(body: str, key: str, label: str) -> bool:
    """Tell an ISBN-10: ten digits alone may be a style code, so X, a label or the book trade's three dashes decide."""
    if not is_isbn10(key):
        return False
    return key.endswith("X") or label.startswith("ISBN") or len(re.findall(r"\w[-\s]+(?=\w)", body)) == 3


def _number(typed: str, digits: str, symbology: str) -> Code:
    if len(digits) == 8:
        return _eight(typed, digits, symbology)
    if not is_gtin(digits):
        raise _wrong_check_digit(typed, digits)
    return _classified(typed, digits.zfill(14))


def _eight(typed: str, digits: str, symbology: str) -> Code:
    short = digits.zfill(14) if is_gtin(digits) and symbology != "UPCE" else ""
    long = ""
    if digits[0] == "0" and symbology != "EAN8":
        full = expand_upce(digits[1:7])
        long = full.zfill(14) if full[-1] == digits[-1] else ""
    if short and long:
        found = _classified(typed, long)
        note = gettext(
            "These eight digits can be two numbers: taken as a UPC-E, {code}. If it is an EAN-8, type "
            "“EAN-8 {digits}”.",
            code=long[2:],
            digits=digits,
        )
        return Code(typed, found.kind, long, "", f"{note} {found.note}".strip(), (short,))
    if not short and not long:
        raise _wrong_check_digit(typed, digits)
    return _classified(typed, long or short)


def _wrong_check_digit(typed: str, digits: str) -> BadInput:
    said = {"typed": typed, "digits": digits[:-1], "last": check_digit(digits[:-1])}
    wrong = (
        gettext(
            "“{typed}” has a wrong check digit: {digits} would end in {last} (as a UPC-E in {other}).",
            other=expand_upce(digits[1:7])[-1],
            **said,
        )
        if len(digits) == 8 and digits[0] == "0"
        else gettext("“{typed}” has a wrong check digit: {digits} would end in {last}.", **said)
    )
    return BadInput(
        wrong,
        gettext("All the digits under the bars, the small ones at both ends too."),
        gettext("Type or scan it again; if it is a style code, type “style {digits}”.", digits=digits),
        field="code",
    )


def _classified(typed: str, gtin: str) -> Code:
    kind = classify(gtin)
    return Code(typed, kind, gtin, "", note_on(kind, gtin))


def _style(typed: str, body: str, key: str) -> Code:
    """Take it as a style code, and say so where it looks like a barcode's number gone wrong."""
    digits = sum(char.isdecimal() for char in key)
    if len(key) == 11 and digits == 11 and is_gtin("0" + key):
        note = gettext(
            "Eleven digits, taken as a style code. With the zero that spreadsheets drop it is barcode {code}.",
            code=f"0{key}",
        )
        return Code(typed, "style code", "", key, note, (key.zfill(14),))
    if is_isbn10(key):
        book = "0" + isbn10_to_13(key)
        note = gettext("Taken as a style code. If it is a book's number, type “ISBN {code}”.", code=key)
        return Code(typed, "style code", "", key, note, (book,))
    if _POWER.fullmatch(body):
        note = gettext(
            "Taken as a style code. If a spreadsheet made it of a barcode's number, digits are lost: type them all."
        )
        return Code(typed, "style code", "", key, note)
    if len(key) in LENGTHS and len(key) - 2 <= digits < len(key):
        letters = "".join(dict.fromkeys(char for char in key if not char.isdecimal()))
        guess = key.translate(_LETTER_FOR_DIGIT)
        if len(key) > 8 and is_gtin(guess):
            raise BadInput(
                gettext(
                    "“{typed}” holds “{letters}” where a barcode number has digits: {guess} would be one.",
                    typed=typed,
                    letters=letters,
                    guess=guess,
                ),
                gettext("Digits only."),
                gettext(
                    "Type {guess} if that stands under the bars; if it is a style code, type “style {typed}”.",
                    guess=guess,
                    typed=typed,
                ),
                field="code",
            )
        if len(key) > 8:
            note = gettext(
                "Taken as a style code, for it holds “{letters}”; a barcode number has digits only.", letters=letters
            )
            return Code(typed, "style code", "", key, note)
    return Code(typed, "style code", "", key)
