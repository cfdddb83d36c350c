"""How a column writes days: the order of day, month and year, month names, spreadsheet serials, epochs.

Month names come from the Unicode CLDR by babel. Days are kept as the file shows them; times and zones are cut off.
Serials: ECMA-376 part 1, 18.17.4.1 (the 1900 system counts a 29 February 1900 that never was; the 1904 system starts on
1904-01-01). Two-digit years: POSIX strptime, 69 to 99 are 1969 to 1999.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from functools import cache, lru_cache

from sourcing.comps.layout import DayOrder
from sourcing.comps.meaning.header_words import fold
from sourcing.language import gettext_noop

LANGUAGES = ("en", "de", "fr", "es", "it", "nl")
ORDERS: tuple[DayOrder, ...] = ("ymd", "dmy", "mdy")
WRITTEN = {
    "ymd": gettext_noop("year, month, day"),
    "dmy": gettext_noop("day, month, year"),
    "mdy": gettext_noop("month, day, year"),
    "serial 1900": gettext_noop("days counted from 1900, as most spreadsheets do"),
    "serial 1904": gettext_noop("days counted from 1904, as some spreadsheets do"),
    "epoch": gettext_noop("seconds or milliseconds since 1970, days as in UTC"),
}
_TIME = re.compile(r"(?<=\d)(?:[T ,]+|\s+(?:um|at|a|\u00e0|alle|om)\s+)\d{1,2}[:.h]\d{2}.*$", re.IGNORECASE)
_WORDS = re.compile(r"[^\W\d_]+|\d+")
_GLANCE = 40  # cells
_DIGIT = re.compile(r"\d")
LONGEST = 60  # characters of a day with its weekday, time and zone
_NUMBERS = re.compile(r"(\d{1,4})\s*[./\-\u2010-\u2014 ]\s*(\d{1,2})\s*[./\-\u2010-\u2014 ]\s*(\d{1,4})\.?", re.ASCII)
_COMPACT = re.compile(r"(19|20)(\d{2})(\d{2})(\d{2})", re.ASCII)
_SERIAL = re.compile(r"(\d{5})(?:[.,]\d+)?", re.ASCII)
_EPOCH = re.compile(r"\d{9,10}(?:\.\d+)?|\d{12,13}", re.ASCII)


@cache
def _months() -> dict[str, int]:
    from babel import Locale

    found: dict[str, int] = {}
    for language in LANGUAGES:
        months = Locale(language).months
        for context in ("format", "stand-alone"):
            for width in ("wide", "abbreviated"):
                for number, name in months[context][width].items():
                    found.setdefault(fold(name).rstrip("."), number)
    return found


def day_text(cell: str, order: DayOrder) -> str:
    """Return a day as the documented format writes it; what is none in this order is returned as it stands."""
    found = read_day(cell, order)
    return cell.strip() if found is None else found


@lru_cache(16_384)
def read_day(cell: str, order: DayOrder) -> str | None:
    """Return YYYY-MM-DD, which may name a day that does not exist; None when the cell is not written so."""
    text = cell.strip()
    if len(text) > LONGEST or _DIGIT.search(text) is None:
        return None
    if order in ("serial 1900", "serial 1904"):
        match = _SERIAL.fullmatch(text)
        start = date(1899, 12, 30) if order == "serial 1900" else date(1904, 1, 1)
        return (start + timedelta(days=int(match[1]))).isoformat() if match else None
    if order == "epoch":
        if _EPOCH.fullmatch(text) is None:
            return None
        seconds = float(text) / (1000 if len(text.split(".")[0]) > 10 else 1)
        return datetime.fromtimestamp(seconds, UTC).date().isoformat()
    text = _TIME.sub("", text).strip()
    if order == "ymd" and (match := _COMPACT.fullmatch(text)):
        return f"{match[1]}{match[2]}-{match[3]}-{match[4]}"
    if match := _NUMBERS.fullmatch(text):
        parts = dict(zip(order, match.groups(), strict=True))
        if len(parts["d"]) > 2 or len(parts["m"]) > 2 or len(parts["y"]) not in (2, 4):
            return None
        return _iso(parts["y"], int(parts["m"]), int(parts["d"]))
    return _named(text, order)


def _named(text: str, order: DayOrder) -> str | None:
    words = [word for word in _WORDS.findall(fold(text)) if word not in ("de", "den", "of", "th", "st")]
    if len(words) > 4:
        return None
    months = [_months()[word] for word in words if word in _months()]
    numbers = [word for word in words if word.isdigit()]
    if len(months) != 1 or len(numbers) != 2:  # a weekday may stand before
        return None
    first, second = numbers
    if len(first) == 4 or (len(second) < 4 and order == "ymd"):
        first, second = second, first
    if len(first) > 2 or len(second) not in (2, 4):
        return None
    return _iso(second, months[0], int(first))


def _iso(year: str, month: int, day: int) -> str:
    whole = int(year) if len(year) == 4 else int(year) + (2000 if int(year) < 69 else 1900)
    return f"{whole:04d}-{month:02d}-{day:02d}"


def exists(iso: str | None) -> bool:
    """Tell whether a text names a day of the calendar within the years that comps come from."""
    try:
        return iso is not None and 1990 <= date.fromisoformat(iso).year <= datetime.now(UTC).year + 1
    except ValueError:
        return False


def orders_of(cells: Iterable[str]) -> tuple[DayOrder, ...]:
    """Return the orders that make most cells of a column days: none, one, or several that differ in some cell."""
    texts = sorted({cell.strip() for cell in cells} - {""})
    tried: tuple[DayOrder, ...] = (*ORDERS, "serial 1900", "serial 1904", "epoch")
    readings = {order: tuple(read_day(text, order) for text in texts) for order in tried}
    counts = {order: sum(map(exists, read)) for order, read in readings.items()}
    most = max(counts.values(), default=0)
    if not most:
        return ()
    seen: dict[tuple[str | None, ...], DayOrder] = {}
    for order in tried:
        if counts[order] == most:
            seen.setdefault(readings[order], order)
    return tuple(seen.values())


def share_of_days(cells: Iterable[str]) -> float:
    """Return the share of the filled cells that are days in the order that fits best."""
    texts = [cell for cell in cells if cell.strip()]  # a column of days holds one early on
    orders = orders_of(texts[:_GLANCE]) and orders_of(texts)
    return sum(exists(read_day(text, orders[0])) for text in texts) / len(texts) if orders else 0.0
