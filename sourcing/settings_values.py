"""Reading one setting's value: what each unit accepts, said in words when a value is not it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

from sourcing.errors import BadInput
from sourcing.fees import Bracket
from sourcing.language import gettext, gettext_noop
from sourcing.purchase import Discounts, in_words
from sourcing.settings_table import OFF, Setting
from sourcing.terms import SHIPPING


def read_value(setting: Setting, value: Any) -> Any:
    """Read one value as TOML gives it; a number in quotes counts as the number.

    Raises
    ------
    BadInput
        The value is of the wrong type or out of range; the message says what is accepted.
    """
    if isinstance(value, str):
        value = value.strip()
        if setting.optional and value.casefold() == OFF:
            return None
    reader: Callable[[Setting, Any], Any] = _READ.get(setting.unit, _number)
    try:
        return reader(setting, _unquoted(setting, value))
    except _Wrong:
        pass  # said below, for all kinds alike
    raise BadInput(
        gettext("{name} is {value}.", name=setting.name, value=_shown(value)),
        accepted(setting),
        gettext("Change it and send it again."),
        field=setting.name,
    )


def accepted(setting: Setting) -> str:
    """Say in words what a setting accepts."""
    if setting.choices:
        words = gettext("One of {choices}", choices=", ".join(setting.choices))
    else:
        words = gettext(
            _ACCEPTED.get(setting.unit, _A_NUMBER),
            lowest=f"{setting.lowest:f}",
            highest=f"{setting.highest:f}",
            unit=gettext(setting.unit),
            shipping=", ".join(SHIPPING),
        )
    return gettext('{accepted}, or "off".', accepted=words) if setting.optional else f"{words}."


_A_NUMBER = gettext_noop("A number from {lowest} to {highest} ({unit})")
_ACCEPTED = {
    "text": gettext_noop("A text of up to 80 characters"),
    "date": gettext_noop("A day such as 2026-01-31"),
    "days": gettext_noop("A whole number of days from 1 to 3650"),
    "money": gettext_noop("An amount from {lowest} to {highest} with at most two decimals"),
    "cuts": gettext_noop("Pairs of whole day and share off, both rising: [[30, 0.10], [60, 0.20]]"),
    "steps": gettext_noop(
        "Grams and price, or a price for each zone; grams rising, prices not falling: [[500, 4.90], [1000, 7.40]]"
    ),
    "zones": gettext_noop("Shares of the zones that come to 1: [0.5, 0.3, 0.2]"),
    "brackets": gettext_noop(
        "A share from {lowest} to {highest}, or brackets from 0 on as [from this amount, share] or [from, share, flat "
        "amount], each from a higher amount than the one before, so that none overlap: [[0, 0.13], [1000, 0.02]]"
    ),
    "shipping": gettext_noop("One of {shipping}, or an amount from {lowest} to {highest}"),
    "pieces": gettext_noop("A whole number from {lowest} to {highest}"),
    "whole": gettext_noop("A whole number from {lowest} to {highest}"),
    "shares": gettext_noop("Three shares, rising, each over 0 and up to 5: [0.15, 0.30, 0.50]"),
    "words": gettext_noop('Up to 30 words or phrases of up to 40 characters: ["no box", "box missing"]'),
    "rates": gettext_noop("Days and amounts, the earliest day first: [[2026-01-31, 0.30]]"),
    "sides": gettext_noop("Length, width and height in cm, each over 0 and up to 300: [35, 25, 14]"),
}


class _Wrong(Exception):
    pass


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(map(_shown, value[:6])) + "]"
    return f"“{value[:60]}”" if isinstance(value, str) else str(value)[:60]


def _unquoted(setting: Setting, value: Any) -> Any:
    if not isinstance(value, str) or setting.unit in ("text", "choice", "date", "discounts", "shipping"):
        return value
    if setting.unit == "words" and not value.startswith("["):
        return value
    try:
        # A form sends texts; the value inside is read exactly as the file's own would be.
        return tomllib.loads(f"v = {' '.join(value.split())}", parse_float=Decimal)["v"]
    except tomllib.TOMLDecodeError:
        raise _Wrong from None


def _decimal(value: Any) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise _Wrong
    number = Decimal(value)
    if not number.is_finite() or (number != 0 and not -12 < number.adjusted() < 12) or len(str(number)) > 30:
        raise _Wrong
    return abs(number) if number == 0 else number


def _number(setting: Setting, value: Any) -> Decimal:
    number = _decimal(value)
    if not setting.lowest <= number <= setting.highest:
        raise _Wrong
    return number


def _money(setting: Setting, value: Any) -> Decimal:
    number = _number(setting, value)
    if number != round(number, 2):
        raise _Wrong
    return number


def _whole(value: Any, lowest: int, highest: int) -> int:
    number = _decimal(value)
    if number != int(number) or not lowest <= number <= highest:
        raise _Wrong
    return int(number)


def _days(_setting: Setting, value: Any) -> int:
    return _whole(value, 1, 3650)


def _discounts(_setting: Setting, value: Any) -> Discounts:
    try:
        if isinstance(value, str) and in_words(value):
            return Discounts.parse(value)
        return Discounts.of_share(_decimal(_plain_number(value)))
    except BadInput:
        raise _Wrong from None


def _plain_number(value: Any) -> Any:
    """Read the number a form sent as text."""
    try:
        return tomllib.loads(f"v = {value}", parse_float=Decimal)["v"] if isinstance(value, str) else value
    except tomllib.TOMLDecodeError:
        raise _Wrong from None


def _pieces(setting: Setting, value: Any) -> int:
    return _whole(value, int(setting.lowest), int(setting.highest))


def _words(_setting: Setting, value: Any) -> tuple[str, ...]:
    if isinstance(value, str):
        value = [part for part in value.split(",") if part.strip()]  # a form's field need not be TOML
    if not isinstance(value, list) or len(value) > 30:
        raise _Wrong
    if any(not isinstance(word, str) or not 0 < len(word.strip()) <= 40 for word in value):
        raise _Wrong
    return tuple(dict.fromkeys(" ".join(word.split()) for word in value))


def _text(setting: Setting, value: Any) -> str:
    if not isinstance(value, str) or not 0 < len(value) <= 80 or (setting.choices and value not in setting.choices):
        raise _Wrong
    return value


def _date(_setting: Setting, value: Any) -> date:
    if type(value) is date:
        return value
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise _Wrong from None


def _pairs(value: Any) -> list[tuple[Any, Any]]:
    if not isinstance(value, list) or any(not isinstance(pair, list) or len(pair) != 2 for pair in value):
        raise _Wrong
    return [(first, second) for first, second in value]


def _cuts(_setting: Setting, value: Any) -> tuple[tuple[int, Decimal], ...]:
    cuts = tuple((_whole(day, 1, 3650), _decimal(share)) for day, share in _pairs(value))
    days, shares = [day for day, _ in cuts], [share for _, share in cuts]
    if not _rising(days) or not _rising(shares) or any(not 0 < share < 1 for share in shares):
        raise _Wrong
    return cuts


def _rows(value: Any, *lengths: int) -> list[list[Any]]:
    if not isinstance(value, list) or any(not isinstance(row, list) or len(row) not in lengths for row in value):
        raise _Wrong
    return value


def _steps(setting: Setting, value: Any) -> tuple[tuple[Any, ...], ...]:
    rows = _rows(value, *range(2, 12))
    steps = tuple((_whole(row[0], 1, 1_000_000), *(_money(setting, price) for price in row[1:])) for row in rows)
    if not steps or len({len(step) for step in steps}) > 1 or not _rising([step[0] for step in steps]):
        raise _Wrong
    if any(list(prices) != sorted(prices) for prices in list(zip(*steps, strict=True))[1:]):
        raise _Wrong
    return steps


def _zones(_setting: Setting, value: Any) -> tuple[Decimal, ...]:
    if not isinstance(value, list) or not 2 <= len(value) <= 10:
        raise _Wrong
    shares = tuple(_decimal(share) for share in value)
    if any(not 0 <= share <= 1 for share in shares) or sum(shares) != 1:
        raise _Wrong
    return shares


def _brackets(setting: Setting, value: Any) -> tuple[Bracket, ...]:
    if not isinstance(value, list):
        return (Bracket(Decimal(0), _number(setting, value)),)
    found = []
    for start, share, *flat in _rows(value, 2, 3):
        extra = _decimal(flat[0]) if flat else Decimal(0)
        found.append(Bracket(_cents(start), _number(setting, share), _cents(extra)))
    starts = [one.start for one in found]
    if not found or starts[0] != 0 or not _rising(starts):
        raise _Wrong
    return tuple(found)


def _cents(value: Any) -> Decimal:
    number = _decimal(value)
    if not 0 <= number <= 1_000_000 or number != round(number, 2):
        raise _Wrong
    return number


def _shipping(setting: Setting, value: Any) -> Decimal | str:
    if isinstance(value, str) and " ".join(value.casefold().split()) in SHIPPING:
        return " ".join(value.casefold().split())
    return _money(setting, _plain_number(value))


def _sides(_setting: Setting, value: Any) -> tuple[Decimal, ...]:
    if not isinstance(value, list) or len(value) != 3:
        raise _Wrong
    sides = tuple(_decimal(side) for side in value)
    if any(not 0 < side <= 300 for side in sides):
        raise _Wrong
    return sides


def _shares(_setting: Setting, value: Any) -> tuple[Decimal, ...]:
    if not isinstance(value, list) or len(value) != 3:
        raise _Wrong
    shares = tuple(_decimal(share) for share in value)
    if not _rising(shares) or any(not 0 < share <= 5 for share in shares):
        raise _Wrong
    return shares


def _rates(setting: Setting, value: Any) -> tuple[tuple[date, Decimal], ...]:
    if not isinstance(value, list) or len(value) > 100:
        raise _Wrong
    return tuple((_date(setting, day), _number(setting, amount)) for day, amount in _rows(value, 2))


def _rising(values: Sequence[Any]) -> bool:
    return all(before < after for before, after in pairwise(values))


_READ: dict[str, Callable[[Setting, Any], Any]] = {
    "money": _money,
    "days": _days,
    "text": _text,
    "choice": _text,
    "date": _date,
    "cuts": _cuts,
    "steps": _steps,
    "zones": _zones,
    "brackets": _brackets,
    "shipping": _shipping,
    "sides": _sides,
    "rates": _rates,
    "shares": _shares,
    "discounts": _discounts,
    "pieces": _pieces,
    "whole": _pieces,
    "words": _words,
}
