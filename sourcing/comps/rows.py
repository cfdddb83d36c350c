"""Judge a block of rows: turn each into what is kept of it, or into the problems that keep it out.

Cells are read column by column, and what holds between the cells of a row is looked at once for the whole block;
only rows that stand out are judged one by one. That is a third of the work of doing it all row by row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import compress
from operator import itemgetter
from typing import Any

from sourcing.answer import Problem
from sourcing.comps import values
from sourcing.comps.columns import NAMES, STATUSES
from sourcing.comps.header import Header
from sourcing.comps.keys import row_keys, row_texts
from sourcing.comps.read import Block
from sourcing.comps.titles import fold_title
from sourcing.comps.values import Finding, Memo

OPEN, SOLD = STATUSES.index("open"), STATUSES.index("sold")

_NUMBERS = ("status", "gtin", "asking_price", "sold_price", "shipping_charged", "listed_on", "ended_on")
_WORDS = ("size", "condition", "channel", "style_code", "brand", "category", "title", "note")
_LATER = ("listing", "currency")  # part of a key only where filled, so that the keys of older rows stay
STORED = (
    "key", "status", "gtin", "ask", "sold", "ship", "listed", "ended",
    "size", "condition", "channel", "style_code", "brand", "category", "title", "note",
)  # fmt: skip
"""Names in storage: the key, then `_NUMBERS` and `_WORDS` in that order, which the keys of all rows rest on."""

_RAGGED = "The row has not as many cells as the header."
_TEXTS = {
    name: values.LONG_TEXT if name in ("title", "note") else values.SHORT_TEXT
    for name in ("brand", "category", "title", "size", "condition", "channel", "note", "listing")
}
_FIRST, _SECOND = itemgetter(0), itemgetter(1)
Columns = dict[str, list[Any]]
Findings = dict[int, list[tuple[str, str, Finding]]]  # place in the block -> column, cell, finding


@dataclass(frozen=True)
class Judged:
    """What became of a block of rows."""

    products: list[str]  # of each good row, the key of the product it speaks of
    columns: list[Sequence[Any]]  # of the good rows, in the order of `Judge.stored`
    problems: list[Problem]
    rejected: int
    texts: Sequence[str] = ()  # of the good rows, what the file said, where other words may be put for its


class Judge:
    """Judge the rows of one file, block by block.

    Parameters
    ----------
    header : Header
        Where the columns stand.
    latest : date
        The latest day the file can speak of.
    digits : int
        Decimals of the currency.
    aliases : mapping of str to mapping, optional
        For "style", "brand" and "category": words, folded, that are read as others.

    Attributes
    ----------
    stored : tuple of str
        What the columns of a judged block hold: `STORED`, listing and currency when the file has one of them, row.
    """

    def __init__(
        self,
        header: Header,
        *,
        latest: date,
        digits: int = 2,
        aliases: Mapping[str, Mapping[str, str]] | None = None,
    ) -> None:
        self._places = header.places
        self._aliases = {kind: words for kind, words in (aliases or {}).items() if words}
        self._later = _LATER if any(name in header.places for name in _LATER) else ()
        self.stored = (*STORED, *self._later, "row")
        price = partial(values.money, digits=digits)
        date_of = partial(values.day, latest=latest)
        parsers: dict[str, Callable[[str], values.Reading]] = {
            "gtin": values.gtin,
            "style_code": _style,
            "asking_price": price,
            "sold_price": price,
            "shipping_charged": partial(price, zero_is_fine=True),
            "listed_on": date_of,
            "ended_on": date_of,
            "status": values.status,
            "currency": values.currency,
        }
        parsers |= {name: partial(values.text, longest=longest) for name, longest in _TEXTS.items()}
        self._memos = {name: Memo(parsers[name]) for name in NAMES}
        self.latest_day: int | None = None  # the latest day named by a good row

    def judge(self, block: Block) -> Judged:
        """Return the good rows and what is wrong with the others."""
        found: Findings = {}
        columns = self._read(block, found)
        _fill_status(columns)
        products = _products(columns)
        bad = {
            place
            for place in sorted({*found, *_standing_out(columns, products)})
            if not _stands(place, columns, found.setdefault(place, []))
        }
        problems = [
            _problem(number, "", f"{cells} cells", Finding(_RAGGED, "Quote cells that hold a comma."))
            for number, cells in block.ragged
        ]
        problems += [fault.as_problem() for fault in block.faults]
        problems += [
            _problem(block.numbers[place], *finding) for place, findings in found.items() for finding in findings
        ]
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
        texts = _texts(said)
        keys = row_keys(texts)
        if self._aliases:
            products = self._renamed(products, columns)
            said = [columns[name] for name in (*_NUMBERS, *_WORDS, *self._later)]
        return Judged(products, [keys, *said, places], problems, rejected, texts if self._aliases else ())

    def _renamed(self, products: list[str], columns: Columns) -> list[str]:
        """Put the user's words for the file's, where the user said so; keys were made of the file's."""
        for kind in ("brand", "category"):
            words = self._aliases.get(kind)
            if words:
                columns[kind] = [words.get(fold_title(text), text) for text in columns[kind]]
        styles = {f"s:{theirs}": f"s:{ours}" for theirs, ours in self._aliases.get("style", {}).items()}
        return [styles.get(product, product) for product in products]

    def _read(self, block: Block, found: Findings) -> Columns:
        """Read the cells of every documented column."""
        columns: Columns = {}
        for name in NAMES:
            memo = self._memos[name]
            memo.trim()
            if name not in self._places or not block.numbers:
                columns[name] = [memo[""]] * len(block.numbers)
                continue
            cells = block.columns[self._places[name]]
            if _TEXTS.get(name) == values.LONG_TEXT and _plain_text(cells):  # hardly ever the same twice
                columns[name] = list(map(str.strip, cells))
                continue
            if name == "gtin":
                memo.update(values.plain_gtins(cell for cell in set(cells) if cell not in memo))
            columns[name] = list(map(memo.__getitem__, cells))
            if memo.findings:
                for place, cell in enumerate(cells):
                    if cell in memo.findings:
                        found.setdefault(place, []).append((name, cell, memo.findings[cell]))
        return columns

    def _note_latest_day(self, columns: Columns) -> None:
        days = {
            listed if ended is None else ended
            for listed, ended in zip(columns["listed_on"], columns["ended_on"], strict=True)
        }
        days.add(self.latest_day)
        days.discard(None)
        self.latest_day = max(days, default=None)


def _style(text: str) -> values.Reading:
    """Read a style code as typed and as the key of its product."""
    (clean, key), finding = values.style(text)
    return (clean, f"s:{key}" if key else ""), finding


def _products(columns: Columns) -> list[str]:
    """Return the key of the product each row speaks of, "" where nothing names one."""
    products = list(map(_SECOND, columns["style_code"]))
    if not all(products):
        others = zip(products, columns["gtin"], columns["title"], strict=True)
        products = [product or _other_product(gtin, title) for product, gtin, title in others]
    return products


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


def _fill_status(columns: Columns) -> None:
    """Count a row without a status as sold when it has a sold price."""
    if None in columns["status"]:
        columns["status"] = [
            SOLD if status is None and sold is not None else status
            for status, sold in zip(columns["status"], columns["sold_price"], strict=True)
        ]


def _other_product(gtin: int | None, title: str) -> str:
    """Return the key of the product of a row without a style code."""
    if gtin is not None:
        return f"g:{gtin:014d}"
    return "t:" + fold_title(title) if title else ""


def _standing_out(columns: Columns, products: list[str]) -> list[int]:
    """Return the places of the rows that cannot stand as they are."""
    states = zip(
        columns["status"], columns["sold_price"], columns["listed_on"], columns["ended_on"], products, strict=True
    )
    return [
        place
        for place, (status, sold, listed, ended, product) in enumerate(states)
        if (status == SOLD) is (sold is None)
        or status is None
        or not product
        or (ended is not None and (status == OPEN or (listed is not None and ended < listed)))
    ]


def _stands(place: int, columns: Columns, findings: list[tuple[str, str, Finding]]) -> bool:
    """Judge what holds between the cells of one row: say what is wrong, mend what can be, tell whether it is good."""
    if any(finding.rejected for _, _, finding in findings):
        return False
    status, sold = columns["status"][place], columns["sold_price"][place]
    listed, ended = columns["listed_on"][place], columns["ended_on"][place]
    if status is None:
        findings.append(("status", "", Finding("It is empty, and so is sold_price.", "Fill in one of them.")))
        return False
    if status == SOLD and sold is None:
        findings.append(("sold_price", "", Finding("A sale needs its price.", "Fill it in.")))
        return False
    if status != SOLD and sold is not None:
        reason = f"The row is {STATUSES[status]}, yet has a sold price."
        findings.append(("sold_price", values.plain(sold), Finding(reason, "Correct the status or empty it.")))
        return False
    if ended is not None and status == OPEN:
        reason = "An open listing has not ended." + values.KEPT
        mend = Finding(reason, "Correct the status or empty it.", False)
        findings.append(("ended_on", values.iso(ended), mend))
        columns["ended_on"][place] = None
    elif ended is not None and listed is not None and ended < listed:
        wrong = Finding("It ended before it was listed.", "Correct the days.")
        findings.append(("ended_on", values.iso(ended), wrong))
        return False
    if columns["style_code"][place][1] or columns["gtin"][place] is not None or columns["title"][place]:
        return True
    _nothing_identifies(findings)
    return False


def _nothing_identifies(findings: list[tuple[str, str, Finding]]) -> None:
    for place, (name, cell, finding) in enumerate(findings):
        if name == "gtin":
            findings[place] = (name, cell, Finding(finding.reason.removesuffix(values.KEPT), finding.fix))
            return
    reason = "Nothing says what the item is: gtin, style_code and title are all empty."
    findings.append(("title", "", Finding(reason, "Fill in one of them.")))


def _plain_text(cells: Sequence[str]) -> bool:
    """Tell in one go whether a whole column needs nothing but its outer spaces dropped."""
    return "".join(cells).isprintable() and max(map(len, cells)) <= values.LONG_TEXT


def _problem(number: int, column: str, value: str, finding: Finding) -> Problem:
    return Problem(number, column, value[:200], finding.reason, finding.fix, finding.rejected)
