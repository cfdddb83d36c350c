"""Read one cell: a value, or a finding that says what is wrong with it and how to mend it; no guesses."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from sourcing.codes import gtin_key, parse_code, style_key
from sourcing.comps.columns import STATUSES
from sourcing.comps.titles import fold_title as fold_title
from sourcing.errors import BadInput
from sourcing.language import gettext, separated

LARGEST = 1_000_000  # money above this is a slip of the keyboard, not a price
SHORT_TEXT = 200
LONG_TEXT = 10_000
EARLIEST = date(1990, 1, 1)
_EPOCH = date(1970, 1, 1).toordinal()
_MONEY = re.compile(r"0*([0-9]+)(?:\.([0-9]*))?", re.ASCII)
_DATE = re.compile(  # a day, or a moment of RFC 3339 (section 5.6), whose zone may be missing
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})"
    r"(?:[Tt ](?:[01][0-9]|2[0-3]):[0-5][0-9](?::(?:[0-5][0-9]|60)(?:\.[0-9]+)?)?"
    r"(?:[Zz]|[+-](?:[01][0-9]|2[0-3]):[0-5][0-9])?)?",
    re.ASCII,
)
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]+")
_MEMO = 50_000  # distinct cells remembered a column; a bound on memory, not on files


@dataclass(frozen=True)
class Finding:
    """What is wrong with one cell."""

    reason: str
    fix: str
    rejected: bool = True  # False: the row is kept without the value, or with it mended
    form: bool = False  # True: it is not written as our own format writes it, which the fix shows


Reading = tuple[Any, Finding | None]


class Memo(dict[str, Any]):
    """Remember how each distinct cell of a column reads; a file repeats most of its cells many times."""

    def __init__(self, parse: Callable[[str], Reading]) -> None:
        super().__init__()
        self._parse = parse
        self.findings: dict[str, Finding] = {}
        self._offered: set[str] = set()

    def unread(self, cells: Iterable[str]) -> set[str]:
        """Return the cells that were not offered before, to be read together where that takes less."""
        fresh = set(cells) - self._offered
        self._offered |= fresh
        return fresh

    def __missing__(self, text: str) -> Any:
        value, finding = self._parse(text)
        if finding is not None:
            self.findings[text] = finding
        self[text] = value
        return value

    def trim(self) -> None:
        """Forget everything once it is a lot; called between blocks."""
        if len(self) > _MEMO:
            self.clear()
            self._offered.clear()
            self.findings.clear()


def days(day: date) -> int:
    """Return a date as the number of days since 1970-01-01."""
    return day.toordinal() - _EPOCH


def money(text: str, *, digits: int = 2, zero_is_fine: bool = False) -> Reading:
    """Read an amount with a decimal point into minor units; an empty cell reads as None."""
    whole, _, cents = text.partition(".")
    if len(cents) == digits > 0 and len(whole) < 7 and text.isascii() and (whole + cents).isdigit() and whole:
        amount = int(whole + cents)  # nearly every price is written like this
        if amount:
            return amount, None
    text = text.strip()
    if not text:
        return None, None
    match = _MONEY.fullmatch(text)
    if match is None:
        return None, Finding(
            _why_not_money(text), gettext("Write it like 1299.50: digits and one decimal point."), form=True
        )
    whole, cents = match[1], match[2] or ""
    if cents.rstrip("0")[digits:]:
        return None, Finding(
            gettext("It has more than {number} decimals.", number=digits),
            gettext("Round it to {number} decimals.", number=digits),
        )
    if len(whole) > len(str(LARGEST)):
        return None, _too_large()
    amount = int(whole) * 10**digits + int((cents + "0" * digits)[:digits] or "0")
    if amount > LARGEST * 10**digits:
        return None, _too_large()
    if amount == 0 and not zero_is_fine:
        return None, Finding(
            gettext("A price of 0 is no price."), gettext("Leave the cell empty when the price is not known.")
        )
    return amount, None


def _too_large() -> Finding:
    return Finding(
        gettext("It is more than {most}.", most=separated(f"{LARGEST:,}")), gettext("Check the decimal point.")
    )


def kept_without() -> str:
    """Say, after a reason, that the row is kept without the value."""
    return f" {gettext('The row is kept without it.')}"


def _why_not_money(text: str) -> str:
    bare = text.lstrip("+-")
    if text.startswith(("-", "(", "−")):
        return gettext("It is negative.")
    if bare.lower() in ("nan", "inf", "infinity"):
        return gettext("It is not a finite number.")
    if re.fullmatch(r"[0-9.]+e[+-]?[0-9]+", bare, re.IGNORECASE):
        return gettext("It is written with an exponent.")
    if re.fullmatch(r"[0-9.,' ’]+", bare):
        return gettext("It holds a comma or another separator, which could mean thousands or decimals.")
    if not any(character.isdigit() for character in text):
        return gettext("It is not a number.")
    return gettext("It holds something besides digits and a decimal point.")


def day(text: str, *, latest: date) -> Reading:
    """Read an ISO date into days since 1970-01-01; an empty cell, and a day after `latest`, read as None.

    Of a moment the day is kept that the file shows; its time and zone are cut off.
    """
    text = text.strip()
    if not text:
        return None, None
    match = _DATE.fullmatch(text)
    if match is None:
        return None, Finding(
            gettext("It is not a date written as YYYY-MM-DD."), gettext("Write it like 2026-03-31."), form=True
        )
    try:
        found = date.fromisoformat(match[1])
    except ValueError:
        return None, Finding(gettext("There is no such day."), gettext("Correct the month or the day."))
    if found < EARLIEST:
        return None, Finding(gettext("It is before {year}.", year=EARLIEST.year), gettext("Correct the year."))
    if found > latest:
        return None, Finding(
            gettext("It is after {day}, the latest day the file can speak of.", day=latest.isoformat())
            + kept_without(),
            gettext("Correct the date."),
            rejected=False,
        )
    return days(found), None


def status(text: str) -> Reading:
    """Read a status word into its number in storage; an empty cell reads as None."""
    words = " ".join(re.sub(r"[_\-\s]+", " ", text).split()).casefold()
    if not words:
        return None, None
    if words in STATUSES:
        return STATUSES.index(words), None
    return None, Finding(gettext("It is no known status."), gettext("Write sold, open, or ended unsold."))


def text(raw: str, *, longest: int) -> Reading:
    """Read text: outer spaces dropped, HTML kept literally, control characters made spaces and noted."""
    clean = raw.strip()
    finding = None
    if not clean.isprintable() and _CONTROL.search(clean):
        clean = _CONTROL.sub(" ", clean).strip()
        finding = Finding(
            gettext("It holds control characters; they were made spaces."),
            gettext("Remove them if they matter."),
            rejected=False,
        )
    if len(clean) > longest:
        return "", Finding(
            gettext("It is longer than {most} characters.", most=separated(f"{longest:,}")), gettext("Shorten it.")
        )
    return clean, finding


def gtin(raw: str) -> Reading:
    """Read a barcode number into its GTIN-14 as an integer; what is not one is dropped and noted."""
    clean = raw.strip()
    if not clean:
        return None, None
    try:
        key = gtin_key(clean)
        code = parse_code(clean)
    except BadInput as error:
        return None, Finding(error.wrong + kept_without(), error.next_step or error.accepted, rejected=False)
    if code.kind in ("store tag", "coupon", "refund", "not a product"):
        wrong = code.note or gettext("It is a {kind}, which names no product.", kind=code.kind)
        return None, Finding(wrong + kept_without(), gettext("Use the maker's code."), rejected=False)
    return int(key), None


def currency(raw: str) -> Reading:
    """Read a currency code into capitals."""
    code = raw.strip().upper()
    if not code or (len(code) == 3 and code.isascii() and code.isalpha()):
        return code, None
    return "", Finding(gettext("It is no currency code."), gettext("Write the three letters of ISO 4217, like EUR."))


def style(raw: str) -> Reading:
    """Read a style code as typed and as its canonical key."""
    clean, finding = text(raw, longest=SHORT_TEXT)
    if not clean:
        return ("", ""), finding
    bare = clean.replace("-", "").replace(" ", "")
    if bare.isascii() and bare.isalnum():  # nearly always, and then nothing else is to be folded
        return (clean, bare.upper()), finding
    return (clean, style_key(clean)), finding


def iso(day_number: int) -> str:
    """Return days since 1970-01-01 as an ISO date."""
    return date.fromordinal(day_number + _EPOCH).isoformat()


def plain(amount: int, *, digits: int = 2) -> str:
    """Return minor units as the plain number a file would hold, for quoting a value back."""
    return f"{amount / 10**digits:.{digits}f}"
