"""The arithmetic of article numbers: check digits, UPC-E, ISBN.

Source: GS1 General Specifications, check digit calculation (sec. 7.9) and UPC-E (sec. 2.1.3.3, 5.2.2.4.2);
ISBN: ISO 2108.
"""

from __future__ import annotations

import re

from sourcing.errors import BadInput
from sourcing.language import gettext

LENGTHS = (8, 12, 13, 14)


def check_digit(body: str) -> str:
    """Return the mod-10 check digit of the digits before it (weights 3, 1, 3 ... from the right).

    Raises
    ------
    BadInput
        Anything but the digits 0-9, or none.
    """
    if not re.fullmatch(r"[0-9]+", body):
        raise BadInput(
            gettext("“{body}” has no check digit.", body=body[:40]), gettext("The digits 0-9 only."), field="code"
        )
    from stdnum import ean  # a quarter of what starting costs, and most loads and lookups do without

    return ean.calc_check_digit(body)


def is_gtin(digits: str) -> bool:
    """Tell whether these are the 8, 12, 13 or 14 digits of a GTIN, the last of them right."""
    return (
        len(digits) in LENGTHS
        and re.fullmatch(r"[0-9]+", digits) is not None
        and check_digit(digits[:-1]) == digits[-1]
    )


def is_isbn10(text: str) -> bool:
    """Tell whether these ten characters, with no dashes between, are an ISBN-10."""
    from stdnum import isbn

    return re.fullmatch(r"[0-9]{9}[0-9X]", text) is not None and isbn.is_valid(text)


def expand_upce(digits: str) -> str:
    """Expand a UPC-E (six digits, or eight with number system 0 and check digit) to its UPC-A of 12 digits.

    Number system 1 is refused: GS1 defines UPC-E for number system 0 only, though some readers take 1 as well.

    Raises
    ------
    BadInput
        Not six or eight digits, number system not 0, or a wrong check digit.
    """
    if not re.fullmatch(r"[0-9]{6}|0[0-9]{7}", digits):
        raise BadInput(
            gettext("“{digits}” is no UPC-E.", digits=digits[:40]),
            gettext("Six digits, or eight starting with 0."),
            gettext("Type the digits under the bars."),
            field="code",
        )
    core = digits if len(digits) == 6 else digits[1:7]
    last = core[5]
    if last in "012":
        body = f"0{core[:2]}{last}0000{core[2:5]}"
    elif last == "3":
        body = f"0{core[:3]}00000{core[3:5]}"
    elif last == "4":
        body = f"0{core[:4]}00000{core[4]}"
    else:
        body = f"0{core[:5]}0000{last}"
    full = body + check_digit(body)
    if len(digits) == 8 and full[-1] != digits[-1]:
        raise BadInput(
            gettext(
                "“{digits}” has a wrong check digit: as a UPC-E it would end in {last}.", digits=digits, last=full[-1]
            ),
            gettext("All eight digits, the small ones at both ends too."),
            gettext("Type the digits under the bars again."),
            field="code",
        )
    return full


def compress_upce(upca: str) -> str:
    """Compress a UPC-A (zeros in front of it allowed, up to 14 digits) to its canonical UPC-E of eight digits.

    Raises
    ------
    BadInput
        No UPC-A, or one that has no UPC-E form.
    """
    short = upca[-12:] if set(upca[:-12]) <= {"0"} and len(upca) <= 14 else ""
    if not is_gtin(short) or len(short) != 12:
        raise BadInput(
            gettext("“{upca}” is no UPC-A.", upca=upca[:40]),
            gettext("Twelve digits with a right check digit."),
            gettext("Type the digits under the bars."),
            field="code",
        )
    maker, item = short[1:6], short[6:11]
    cores = (  # in the order in which GS1 wants them tried: the first that expands back is the canonical one
        maker[:2] + item[2:] + maker[2],
        maker[:3] + item[3:] + "3",
        maker[:4] + item[4] + "4",
        maker + item[4],
    )
    for core in cores:
        if expand_upce(core) == short:
            return f"0{core}{short[-1]}"
    raise BadInput(
        gettext("{short} has no UPC-E form.", short=short),
        gettext("Only numbers with four or more zeros in the right places have one."),
        gettext("Use the twelve digits."),
        field="code",
    )


def isbn10_to_13(text: str) -> str:
    """Turn an ISBN-10 into its ISBN-13.

    Raises
    ------
    BadInput
        No ISBN, or a wrong check character.
    """
    from stdnum import isbn
    from stdnum.exceptions import ValidationError

    try:
        return isbn.to_isbn13(isbn.validate(text))
    except ValidationError as error:
        raise BadInput(
            gettext("“{text}” is no ISBN.", text=text[:40]),
            gettext("Ten characters, the last one the right check character (0-9 or X)."),
            gettext("Type the number printed above the bars on the back cover."),
            field="code",
        ) from error


def isbn13_to_10(text: str) -> str:
    """Turn an ISBN-13 of prefix 978 into its ISBN-10.

    Raises
    ------
    BadInput
        No ISBN, or one of prefix 979: those have no ISBN-10.
    """
    from stdnum import isbn
    from stdnum.exceptions import ValidationError

    try:
        return isbn.to_isbn10(isbn.validate(text))
    except ValidationError as error:
        raise BadInput(
            gettext("“{text}” has no ISBN-10.", text=text[:40]),
            gettext("An ISBN-13 that starts with 978 and has a right check digit."),
            gettext("Keep the thirteen digits: they are the number to use."),
            field="code",
        ) from error
