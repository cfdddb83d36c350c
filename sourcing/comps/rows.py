"""Judge a block of rows: turn each into what is kept of it, or into the problems that keep it out.

What holds between the cells of a row is looked at once for the whole block; only rows that stand out are judged one by
one. That is a third of the work of doing it all row by row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import compress, islice
from operator import itemgetter
from typing import Any

from sourcing.comps import values
from sourcing.comps.cells import Cells
from sourcing.comps.columns import STATUSES
from sourcing.comps.keys import row_keys, row_texts
from sourcing.comps.read import Block
from sourcing.comps.report import Problem
from sourcing.comps.standing import OPEN as OPEN
from sourcing.comps.standing import SOLD, Columns, standing_out, stands
from sourcing.comps.titles import fold_title
from sourcing.comps.translate import Source
from sourcing.comps.values import Finding
from sourcing.language import gettext, gettext_noop

_NUMBERS = ("status", "gtin", "asking_price", "sold_price", "shipping_charged", "listed_on", "ended_on")
_WORDS = ("size", "condition", "channel", "style_code", "brand", "category", "title", "note")
_LATER = ("listing", "currency")  # part of a key only where filled, so that the keys of older rows stay
STORED = (
    "key", "status", "gtin", "ask", "sold", "ship", "listed", "ended",
    "size", "condition", "channel", "style_code", "brand", "category", "title", "note",
)  # fmt: skip
"""Names in storage: the key, then `_NUMBERS` and `_WORDS` in that order, which the keys of all rows rest on."""

_RAGGED = gettext_noop("The row has not as many cells as the header.")
_FIRST, _SECOND = itemgetter(0), itemgetter(1)


@dataclass(frozen=True)
class Judged:
    """What became of a block of rows."""

    products: list[str]  # of each good row, the key of the product it speaks of
    columns: list[Sequence[Any]]  # of the good rows, in the order of `Judge.stored`
    problems: list[Problem]
    rejected: int
    texts: Sequence[str] = ()  # of the good rows, what the file said, where other words may be put for its
    raw: Sequence[tuple[int, list[str]]] = ()  # row number and cells of the rejected rows that fit the header


class Judge:
    """Judge the rows of one file, block by block.

    Parameters
    ----------
    sources : mapping of str to Source
        Where each documented field comes from.
    latest : date
        The latest day the file can speak of.
    aliases : mapping of str to mapping, optional
        For "style", "brand" and "category": words, folded, that are read as others.
    status : int, optional
        What a row is that says neither how it stands nor what it sold for.
    shared_price : bool
        One column holds the sold price of sold rows and the asking price of the others.

    Attributes
    ----------
    stored : tuple of str
        What the columns of a judged block hold: `STORED`, listing and currency when the file has one of them, row.
    """

    def __init__(
        self,
        sources: Mapping[str, Source],
        *,
        latest: date,
        aliases: Mapping[str, Mapping[str, str]] | None = None,
        status: int | None = None,
        shared_price: bool = False,
    ) -> None:
        self._sources = sources
        self._status, self._shared_price = status, shared_price
        self._aliases = {kind: words for kind, words in (aliases or {}).items() if words}
        self._later = _LATER if any(name in sources for name in _LATER) else ()
        self.stored = (*STORED, *self._later, "row")
        self._cells = Cells(sources, latest)
        self.latest_day: int | None = None  # the latest day named by a good row

    def judge(self, block: Block) -> Judged:
        """Return the good rows and what is wrong with the others."""
        columns, found = self._cells.read(block)
        self._fill_status(columns)
        products = _products(columns)
        bad = {
            place
            for place in sorted({*found, *standing_out(columns, products)})
            if not stands(place, columns, found.setdefault(place, []))
        }
        problems = [
            _problem(
                number,
                "",
                gettext("{number} cells", number=cells),
                Finding(gettext(_RAGGED), gettext("Quote cells that hold a comma.")),
            )
            for number, cells in block.ragged
        ]
        problems += [fault.as_problem() for fault in block.faults]
        problems += [
            _problem(block.numbers[place], self._said(name), cell, finding)
            for place, findings in found.items()
            for name, cell, finding in findings
        ]
        if self._shared_price:  # one cell, read as either price
            problems = list(dict.fromkeys(problems))
        problems.sort(key=lambda problem: problem.row)
        rejected = len(block.ragged) + len(bad) + sum(fault.rejected for fault in block.faults)
        places: Sequence[int] = block.numbers
        if bad:
            good = [place not in bad for place in range(len(products))]
            products, places = list(compress(products, good)), list(compress(places, good))
            columns = {name: list(compress(column, good)) for name, column in columns.items()}
        columns["style_code"] = list(map(_FIRST, columns["style_code"]))
        self._note_latest_day(columns)
        said = [columns[name] for name in (*_NUMBERS, *_WORDS, *self._later)]
        gtins = None if bad else self._cells.gtins  # as text already, which is what takes longest to make of a number
        texts = _texts([gtins if gtins and column is columns["gtin"] else column for column in said])
        keys = row_keys(texts)
        if self._aliases:
            products = self._renamed(products, columns)
            said = [columns[name] for name in (*_NUMBERS, *_WORDS, *self._later)]
        raw = [(block.numbers[place], [column[place] for column in block.columns]) for place in sorted(bad)]
        return Judged(products, [keys, *said, places], problems, rejected, texts if self._aliases else (), raw)

    def _renamed(self, products: list[str], columns: Columns) -> list[str]:
        """Put the user's words for the file's, where the user said so; keys were made of the file's."""
        for kind in ("brand", "category"):
            words = self._aliases.get(kind)
            if words:
                columns[kind] = [words.get(fold_title(text), text) for text in columns[kind]]
        styles = {f"s:{theirs}": f"s:{ours}" for theirs, ours in self._aliases.get("style", {}).items()}
        return [styles.get(product, product) for product in products]

    def _said(self, name: str) -> str:
        return self._sources[name].said if name in self._sources else name

    def _fill_status(self, columns: Columns) -> None:
        """Count a row without a status as sold when it has a sold price, else as what the file is known to hold."""
        if None in columns["status"]:
            told = SOLD if not self._shared_price else self._status
            columns["status"] = [
                status if status is not None else told if sold is not None else self._status
                for status, sold in zip(columns["status"], columns["sold_price"], strict=True)
            ]
        if self._shared_price:
            was_sold = [status == SOLD for status in columns["status"]]
            columns["sold_price"] = [
                sold if was else None for sold, was in zip(columns["sold_price"], was_sold, strict=True)
            ]
            columns["asking_price"] = [
                None if was else ask for ask, was in zip(columns["asking_price"], was_sold, strict=True)
            ]

    def _note_latest_day(self, columns: Columns) -> None:
        days = {self.latest_day, *columns["listed_on"], *columns["ended_on"]}  # no listing ended before it was listed
        days.discard(None)
        self.latest_day = max(days, default=None)


def _products(columns: Columns) -> list[str]:
    """Return the key of the product each row speaks of, "" where nothing names one."""
    products = list(map(_SECOND, columns["style_code"]))
    if not all(products):
        others = zip(products, columns["gtin"], columns["title"], strict=True)
        products = [product or _other_product(gtin, title) for product, gtin, title in others]
    return products


_WRITTEN: dict[str, Callable[[Any], str]] = {
    "status": lambda value: STATUSES[value],
    "gtin": lambda value: f"{value:014d}",
    "listed": values.iso,
    "ended": values.iso,
}


def as_stored(names: Sequence[str], columns: Sequence[Sequence[Any]], most: int) -> list[dict[str, str]]:
    """Write the first rows of a judged block by their names in storage, as our own format writes them."""
    found = []
    for row in islice(zip(*columns, strict=True), most):
        told = {name: value for name, value in zip(names, row, strict=True) if value not in (None, "")}
        written = {name: _WRITTEN.get(name, str)(value) for name, value in told.items() if name != "key"}
        for name in ("ask", "sold", "ship"):
            if name in told:
                written[name] = values.plain(told[name])
        found.append(written)
    return found


def text_of(row: Sequence[Any]) -> str:
    """Return the canonical text of a row whose values stand in the order of `Judge.stored`."""
    return _texts([[value] for value in row[1:-1]])[0]


def _texts(said: Sequence[Sequence[Any]]) -> list[str]:
    """Return the canonical texts of rows, given the columns of `_NUMBERS`, `_WORDS`, and perhaps `_LATER`."""
    whole = len(_NUMBERS) + len(_WORDS)
    texts = row_texts(*said[:whole])
    for name, column in zip(_LATER, said[whole:], strict=False):
        texts = [f"{text}\x1f{name} {value}" if value else text for text, value in zip(texts, column, strict=True)]
    return texts


def _other_product(gtin: int | None, title: str) -> str:
    """Return the key of the product of a row without a style code."""
    if gtin is not None:
        return f"g:{gtin:014d}"
    return "t:" + fold_title(title) if title else ""


def _problem(number: int, column: str, value: str, finding: Finding) -> Problem:
    return Problem(number, column, value[:200], finding.reason, finding.fix, finding.rejected)
