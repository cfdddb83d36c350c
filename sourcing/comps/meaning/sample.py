"""What a file is understood from: its sample rows, what the table knows, and the cells of columns that feed a field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sourcing.comps.layout import Layout, Money
from sourcing.comps.meaning import amounts, codes

MONEY = ("asking_price", "sold_price", "shipping_charged")
DAYS = ("listed_on", "ended_on")


@dataclass(frozen=True)
class Known:
    """What the table and the settings hold: folded words by field, the user's own conditions, the home currency."""

    words: Mapping[str, frozenset[str]] = field(default_factory=dict)
    conditions: tuple[str, ...] = ()
    currency: str = "USD"

    def inside(self, name: str, text: str) -> str:
        """Return what a text holds of a field, "" for nothing."""
        return codes.inside(name, text, self.words.get("style_code", frozenset()))


@dataclass(frozen=True)
class Sample:
    """Rows of a file, column by column; `more` holds further distinct cells of the rest of the file."""

    header: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    more: Mapping[int, frozenset[str]] = field(default_factory=dict)

    @classmethod
    def of(cls, header: Sequence[str], rows: Sequence[Sequence[str]]) -> Sample:
        columns = tuple(zip(*rows, strict=True)) if rows else ((),) * len(header)
        return cls(tuple(header), columns)

    def cells(self, place: int) -> list[str]:
        """Return the distinct filled cells of a column, in the order of the file first."""
        return [
            cell for cell in dict.fromkeys((*self.columns[place], *sorted(self.more.get(place, ())))) if cell.strip()
        ]


def places_of(layout: Layout, fields: Sequence[str]) -> list[int]:
    """Return the columns that feed one of these fields, taken whole."""
    return list(dict.fromkeys(use.column for use in layout.uses if use.field in fields and not use.extract))


def marks_in(sample: Sample, place: int) -> tuple[Money, ...]:
    """Return the ways of writing amounts that fit a column."""
    return amounts.marks_of(sample.cells(place))


def _currency_places(layout: Layout) -> dict[int, bool]:
    return {use.column: use.extract for use in layout.uses if use.field == "currency"}


def signs_in(layout: Layout, sample: Sample) -> list[str]:
    """Return the currency signs and codes of a file, each once."""
    found: dict[str, None] = {}
    for place, extract in _currency_places(layout).items():
        for cell in sample.cells(place):
            sign = amounts.apart(cell)[1] if extract else cell.strip()
            if sign:
                found.setdefault(sign)
    return list(found)


def cells_with(layout: Layout, sample: Sample, sign: str) -> list[str]:
    """Return the cells that hold a currency sign."""
    return [cell for place in _currency_places(layout) for cell in sample.cells(place) if sign in cell]
