"""What a purchase costs at the till: discounts one after another, purchase tax, prices for several pieces.

Every line is rounded half up to the cent before the next, as a till prints it, so that a receipt adds up exactly.
"""

from __future__ import annotations

import re
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import Any, NamedTuple

from sourcing.errors import BadInput
from sourcing.language import gettext, separated, speaking, spoken
from sourcing.money import cents

MOST_STEPS = 5
MOST_PIECES = 999
_CENT = Decimal("0.01")
_HALF = _CENT / 2
_THEN = re.compile(r"\s+then\s+|\s*\+\s*", re.IGNORECASE)
_NUMBER = re.compile(r"\d{1,9}(?:[.,]\d{1,6})?")


class Step(NamedTuple):
    """One discount: a share of the price so far, or an amount off it, which never takes it below 0."""

    value: Decimal
    share: bool

    def off(self, price: Decimal) -> Decimal:
        """Return what is left of a price; a share's rounded half up to the cent."""
        return cents(price * (1 - self.value)) if self.share else max(price - self.value, Decimal(0))

    def before(self, left: Decimal) -> Decimal:
        """Return the highest price, in cents, of which at most ``left`` (in cents, not below 0) is left."""
        return _highest(left, 1 - self.value) if self.share else left + self.value

    def __str__(self) -> str:
        return f"{_plain(self.value * 100)}%" if self.share else f"{self.value:.2f}"


class Discounts:
    """Store discounts in the order the till takes them, as “30% then 5.00”; hashable, and equal by their steps.

    Raises
    ------
    BadInput
        A step takes the whole price or more, is no discount, or there are too many.
    """

    __slots__ = ("steps",)

    def __init__(self, *steps: Step) -> None:
        for step in steps:
            if step.value < 0:
                raise _wrong(str(step))
            if step.share and step.value >= 1:
                raise BadInput(
                    gettext("A store discount of {step} takes the whole price.", step=step),
                    gettext("Less than 100 %."),
                    gettext("Lower it."),
                    field="discount",
                )
        if len(steps) > MOST_STEPS:
            raise BadInput(
                gettext("{number} discounts.", number=len(steps)),
                gettext("Up to {most}, one after another.", most=MOST_STEPS),
                field="discount",
            )
        self.steps = tuple(step for step in steps if step.value)

    @classmethod
    def of_share(cls, share: Decimal) -> Discounts:
        """Return one discount of a share: 0.20 is 20 % off."""
        return cls(Step(share, True))

    @classmethod
    def parse(cls, text: str) -> Discounts:
        """Read “20”, “20%”, “30% then 5.00” or “5.00 off”; one bare number is a percentage.

        Point and comma are both taken as the decimal mark.

        Raises
        ------
        BadInput
            The text says no discount; ``field`` is “discount”.
        """
        parts = _THEN.split(text.strip())
        return cls(*(_step(part.strip(), len(parts) == 1, text) for part in parts))

    def off(self, shelf: Decimal) -> Decimal:
        """Return what the till asks for a shelf price before tax."""
        for step in self.steps:
            shelf = step.off(shelf)
        return shelf

    def before(self, left: Decimal) -> Decimal:
        """Return the highest shelf price, in cents, for which the till asks at most ``left`` (in cents)."""
        for step in reversed(self.steps):
            left = step.before(left)
        return left

    def __str__(self) -> str:
        if len(self.steps) == 1 and not self.steps[0].share:
            return f"{self.steps[0]} off"  # alone, a bare number is a percentage
        return " then ".join(map(str, self.steps)) or "0%"

    def __repr__(self) -> str:
        return f"Discounts({self})"

    def shown(self) -> str:
        """Return the same to be read, not typed: percentages as the language of the moment writes them."""
        return " ".join(separated(word) if word.endswith("%") else word for word in str(self).split(" "))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Discounts) and self.steps == other.steps

    def __hash__(self) -> int:
        return hash(self.steps)


NO_DISCOUNT = Discounts()


def kept_discount(value: Any) -> Discounts | None:
    """Read a discount as a check keeps it: its text, or a bare share as older checks have it."""
    if value is None:
        return None
    text = str(value)
    return Discounts.parse(text) if in_words(text) else Discounts.of_share(Decimal(text))


def in_words(text: str) -> bool:
    """Whether a text is more than the bare share that older files and checks hold."""
    return any(mark in text.casefold() for mark in ("%", "off", "then", "+"))


def taxed(price: Decimal, tax: Decimal) -> Decimal:
    """Return a price with purchase tax, rounded half up to the cent."""
    return cents(price * (1 + tax))


def untaxed(landed: Decimal, tax: Decimal) -> Decimal:
    """Return the highest price, in cents, that comes to at most ``landed`` (not below 0) with tax."""
    return _highest(landed.quantize(_CENT, ROUND_FLOOR), 1 + tax)


def each_of(text: str) -> tuple[int, str]:
    """Part a price for several pieces: “3 for 20” gives (3, "20"), any other text (1, itself).

    The language of the moment has its own word, as in “3 für 20”; the English one is always taken.

    Raises
    ------
    BadInput
        No pieces; ``field`` is “price”.
    """
    found = _several("en").fullmatch(text.strip()) or _several(spoken()).fullmatch(text.strip())
    if not found:
        return 1, text
    pieces = int(found["pieces"])
    if not 1 <= pieces <= MOST_PIECES:
        raise BadInput(
            gettext("“{text}” names no pieces.", text=text.strip()[:40]),
            gettext("From 1 to {most} pieces, such as 3 for 20.", most=MOST_PIECES),
            gettext("Type the price on the tag."),
            field="price",
        )
    return pieces, found["amount"]


@lru_cache
def _several(language: str) -> re.Pattern[str]:
    """Return how a price for several pieces is written in a language."""
    with speaking(language):
        said = re.escape(gettext("{pieces} for {amount}"))
    for name, what in (("pieces", "[0-9]{1,3}"), ("amount", ".+")):
        said = said.replace(re.escape(f"{{{name}}}"), f"(?P<{name}>{what})")
    return re.compile(said.replace(r"\ ", r"\s+"), re.IGNORECASE)


def unit_price(price: Decimal, pieces: int, digits: int = 2) -> Decimal:
    """Return the price of one of several pieces, rounded half up to the currency's decimals."""
    return (price / pieces).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)


def _highest(left: Decimal, factor: Decimal) -> Decimal:
    """Return the highest price in cents whose product with ``factor`` rounds half up to at most ``left``."""
    price = ((left + _HALF) / factor).quantize(_CENT, ROUND_FLOOR)
    # Half a cent rounds up, so the price that meets it exactly is one too many.
    while price > 0 and cents(price * factor) > left:
        price -= _CENT
    return price


def _step(part: str, alone: bool, text: str) -> Step:
    amount = part.casefold().endswith("off")
    bare = part[:-3].strip() if amount else part
    share = bare.endswith("%") or (alone and not amount)
    number = bare.removesuffix("%").strip()
    if not _NUMBER.fullmatch(number):
        raise _wrong(text)
    value = Decimal(number.replace(",", "."))
    if share:
        value /= 100
    if (share and value >= 1) or (not share and value != cents(value)):
        raise _wrong(text)
    return Step(value, share)


def _wrong(text: str) -> BadInput:
    return BadInput(
        gettext("“{text}” is not a discount.", text=text.strip()[:60]),
        gettext("A percentage from 0 to under 100, such as 20, or several in the till's order, such as 30% then 5.00."),
        gettext("Type what the store takes off."),
        field="discount",
    )


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"
