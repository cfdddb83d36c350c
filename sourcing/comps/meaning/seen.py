"""What the values of one column look like, whatever its name."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from sourcing.comps import values
from sourcing.comps.meaning import amounts, codes, days, terms
from sourcing.comps.meaning.header_words import fold
from sourcing.language import gettext, gettext_noop, separated

ENOUGH = 2_000  # cells looked at a column
SOME, FEW = 120, 40  # of them, whose form is looked at: a share is within 1 in 10 of the whole column's
_SIZE = re.compile(
    r"(?:[a-z]{2}\s?)?\d{1,2}(?:[.,]5|\s?1/2|½)?\s?[a-z]{0,2}|x{0,3}[sl]|m|\d{2}\s?[x/]\s?\d{2}|one size"
)


@dataclass(frozen=True)
class Seen:
    """The cells of one column, and shares of its filled cells that look like this or that."""

    cells: Sequence[str]
    known: Mapping[str, frozenset[str]]  # folded words of the table, by field

    @cached_property
    def filled(self) -> list[str]:
        return [cell.strip() for cell in self.cells[:ENOUGH] if cell.strip()]

    @cached_property
    def distinct(self) -> set[str]:
        return set(self.filled)

    @property
    def variety(self) -> float:
        """Distinct cells a filled one: 1 when none repeats."""
        return len(self.distinct) / len(self.filled) if self.filled else 0.0

    def _share(self, test: Callable[[str], bool]) -> float:
        """Return the share of cells from all over the column that pass; 0 where none of a first few does."""
        if not any(map(test, self._few)):
            return 0.0
        good = {cell for cell in set(self._some) if test(cell)}
        return sum(cell in good for cell in self._some) / len(self._some)

    @cached_property
    def _some(self) -> list[str]:
        return self.filled[:: -(-len(self.filled) // SOME) or 1]

    @cached_property
    def _few(self) -> set[str]:
        return set(self._some[:: -(-len(self._some) // FEW) or 1])

    @cached_property
    def short_of_zeros(self) -> float:
        """Numbers whose check digit comes right once the leading zeros are put back; one in ten does so by chance."""
        share = self._share(lambda cell: codes.with_zeros(cell) != "")
        return share if share > 0.8 and len(self.filled) > 2 else 0.0

    @cached_property
    def gtins(self) -> float:
        return self._share(
            lambda cell: len(re.sub(r"\D", "", cell)) in (8, 12, 13, 14) and values.gtin(cell)[0] is not None
        )

    @cached_property
    def long_numbers(self) -> float:
        return self._share(
            lambda cell: re.fullmatch(r"\d{11,14}|\d\.\d+E\+1\d", cell, re.ASCII | re.IGNORECASE) is not None
        )

    @cached_property
    def amounts(self) -> float:
        return self._share(amounts.is_amount)

    @cached_property
    def signed(self) -> float:
        """Share with a currency beside the number; a single one counts."""
        return sum(bool(amounts.apart(cell)[1]) for cell in self.filled) / len(self.filled) if self.filled else 0.0

    @cached_property
    def with_cents(self) -> float:
        return self._share(lambda cell: re.search(r"[.,]\d{2}$", amounts.apart(cell)[0]) is not None)

    @cached_property
    def fine(self) -> bool:
        """Whether some amounts have more decimals than money: measures, shares, logarithms."""
        return self._share(lambda cell: re.search(r"\d[.,]\d{4,}$", cell) is not None) > 0.05

    @cached_property
    def fractions(self) -> float:
        """Share with one, two, or more than three digits after a mark: no whole numbers, however they are written."""
        return self._share(lambda cell: re.fullmatch(r"[^\d]*\d*[.,](?:\d{1,2}|\d{4,})", cell) is not None)

    @cached_property
    def small(self) -> float:
        """Share of whole numbers that might as well be counts, days, months or years."""
        return self._share(lambda cell: re.fullmatch(r"[0-2]?\d|3[01]|(?:19|20)\d\d", cell) is not None)

    @cached_property
    def counter(self) -> bool:
        """Whether the cells number the rows from 0 or 1."""
        return len(self.filled) > 2 and any(
            self.filled == [str(n + one) for n in range(len(self.filled))] for one in (0, 1)
        )

    @cached_property
    def dates(self) -> float:
        if self.distinct and all(re.fullmatch(r"\d{1,4}", cell) for cell in self.distinct):
            return 0.0
        return days.share_of_days(self.filled)

    @cached_property
    def plain_dates(self) -> float:
        """Days written as days, not as bare numbers that might be anything."""
        return self._share(lambda cell: re.fullmatch(r"[\d.]+", cell) is None or cell.count(".") > 1) * self.dates

    @cached_property
    def statuses(self) -> float:
        return self._share(lambda cell: bool(terms.status_of(cell)))

    @cached_property
    def yes_no(self) -> float:
        return self._share(lambda cell: terms.term(cell) in terms.YES | terms.NO)

    @cached_property
    def conditions(self) -> float:
        own = self.known.get("condition", frozenset())
        return self._share(lambda cell: terms.is_condition(cell) or fold(cell) in own)

    @cached_property
    def currencies(self) -> float:
        return self._share(lambda cell: len(cell) <= 4 and bool(amounts.may_be(cell)) and not cell.istitle())

    @cached_property
    def sizes(self) -> float:
        return self._share(lambda cell: len(cell) <= 24 and _SIZE.fullmatch(fold(terms.size_text(cell))) is not None)

    @cached_property
    def numbers(self) -> float:
        return self._share(lambda cell: re.fullmatch(r"[\d.,\s-]+", cell) is not None)

    @cached_property
    def codes(self) -> float:
        """Share that is one token of digits with letters, dashes or dots: how makers write style codes."""
        return self._share(
            lambda cell: (
                re.fullmatch(r"(?=.*\d)(?=.*[A-Za-z-])[A-Za-z0-9./-]{4,20}", cell) is not None
                and re.search(r"[a-z]{3}", cell) is None
                and not days.exists(days.read_day(cell, "ymd"))
            )
        )

    @cached_property
    def length(self) -> float:
        return sum(map(len, self.filled)) / len(self.filled) if self.filled else 0.0

    @cached_property
    def words(self) -> float:
        """Mean number of words a cell."""
        return sum(len(cell.split()) for cell in self.filled) / len(self.filled) if self.filled else 0.0

    def in_table(self, field: str) -> float:
        """Return the share of cells the table already holds as this field."""
        own = self.known.get(field)
        return self._share(lambda cell: fold(cell) in own) if own else 0.0


def by_values(seen: Seen) -> dict[str, tuple[float, float, str]]:
    """Weigh the values for every field: whether they can be it (0 to 1), how surely they alone say it, and why."""
    money = seen.amounts * (seen.numbers < 1 or seen.gtins < 0.9)
    counts = 0.65 if seen.small == 1 else 1.0
    text = 1 - max(seen.amounts, seen.dates)
    repeated = text * (1 - seen.variety) if len(seen.filled) > 3 else 0.5 * text
    short = seen.length <= 40
    price = 0.55 * money if seen.signed > 0.5 else 0.3 * money if seen.with_cents > 0.5 else 0.0
    whole_days = 0.5 * seen.plain_dates
    brand, category = seen.in_table("brand"), seen.in_table("category")
    style = seen.in_table("style_code")
    lone = seen.variety if len(seen.filled) > 3 else 0.5

    def pct(share: float, what: str) -> str:
        return gettext(what, share=separated(f"{share:.0%}")) if share > 0.05 else ""

    return {
        "gtin": (
            max(seen.gtins, 0.8 * seen.long_numbers, seen.short_of_zeros),
            0.9 * seen.gtins * (seen.length >= 8),
            pct(seen.gtins, gettext_noop("{share} of the cells are barcode numbers with the right check digit")),
        ),
        "style_code": (
            0.2
            if max(seen.gtins, seen.plain_dates, seen.signed, seen.fractions) > 0.5 or seen.words > 3
            else 0.7
            if max(seen.codes, seen.numbers, style) < 0.2
            else 1.0,
            max(0.9 * style, 0.35 * seen.codes),
            pct(style, gettext_noop("{share} of the cells are style codes of your table"))
            if style
            else pct(seen.codes, gettext_noop("{share} of the cells look like makers' codes")),
        ),
        "brand": (
            text * short,
            0.9 * brand or 0.15 * repeated * short,
            pct(brand, gettext_noop("{share} of the cells are brands of your table")),
        ),
        "category": (
            text * short,
            0.9 * category or 0.15 * repeated * short,
            pct(category, gettext_noop("{share} of the cells are categories of yours")),
        ),
        "title": (
            text,
            0.6 * text * min(1.0, max(0.0, seen.words - 1.5) / 3) * lone,
            gettext("texts of {number} words, seldom the same", number=separated(f"{seen.words:.0f}")),
        ),
        "size": (
            1.0 if seen.sizes > 0.5 else 0.4 * (seen.length < 20) * (seen.dates < 0.5),
            0.35 * (seen.sizes if text > 0.2 and seen.variety < 0.5 else 0),
            pct(seen.sizes, gettext_noop("{share} of the cells look like sizes")),
        ),
        "condition": (
            text * short * (1.0 if seen.conditions > 0.3 else 0.75),
            seen.conditions * (0.85 if seen.conditions > 0.6 else 0.4),
            pct(seen.conditions, gettext_noop("{share} of the cells are words for a condition")),
        ),
        "channel": (text * short, 0.9 * seen.in_table("channel"), gettext("repeated short texts")),
        "asking_price": (money * counts, price, pct(seen.amounts, gettext_noop("{share} of the cells are amounts"))),
        "sold_price": (money * counts, price, pct(seen.amounts, gettext_noop("{share} of the cells are amounts"))),
        "shipping_charged": (
            max(money, 0.5 * seen.in_table("shipping")),
            0.4 * price,
            pct(seen.amounts, gettext_noop("{share} of the cells are amounts")),
        ),
        "listed_on": (seen.dates, 0.9 * whole_days, pct(seen.dates, gettext_noop("{share} of the cells are days"))),
        "ended_on": (seen.dates, whole_days, pct(seen.dates, gettext_noop("{share} of the cells are days"))),
        "status": (
            max(seen.statuses, seen.yes_no) if seen.filled else 0.0,
            0.9 * seen.statuses,
            pct(seen.statuses, gettext_noop("{share} of the cells say how a listing stands")),
        ),
        "listing": (
            0.2 if max(seen.plain_dates, seen.fractions, seen.signed) > 0.2 else _as_key(seen),
            0.4
            * (seen.variety > 0.98)
            * (seen.words <= 1.1)
            * (seen.length >= 5)
            * (seen.dates < 0.5)
            * (money == 0 or seen.length > 7)
            * (seen.fractions <= 0.2),
            gettext("no value stands twice"),
        ),
        "currency": (
            seen.currencies,
            0.9 * seen.currencies,
            pct(seen.currencies, gettext_noop("{share} of the cells are currencies of ISO 4217")),
        ),
        "note": (text, 0.1 * text * (seen.length > 20), gettext("free text")),
    }


def _as_key(seen: Seen) -> float:
    """Weigh how well the cells could tell listings apart; a mere count of the rows or short numbers less so."""
    return seen.variety * (0.55 if seen.counter else 0.65 if seen.length < 4 else 1.0)
