"""What divides the cells of a text, where the header stands above the rows, and what stands below them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sourcing.comps.files.blocks import Fault
from sourcing.comps.files.tape import Tape
from sourcing.comps.lines import Lines
from sourcing.language import gettext_noop

DELIMITERS = {
    ",": gettext_noop("commas"),
    ";": gettext_noop("semicolons"),
    "\t": gettext_noop("tabs"),
    "|": gettext_noop("vertical bars"),
}
LOOKED_AT = 200  # records
HIGHEST = 50  # records that may stand above the header
_TOLD = re.compile('^(?:\ufeff)?"?sep=(.)"?\\s*$', re.IGNORECASE)  # a line some spreadsheets write to say it
_NUMBER_LIKE = re.compile(r"[^\w]*\d[\d\s.,:/'’T+-]*[^\w]*")
_TOTALS = {
    "total", "totals", "grand total", "sum", "subtotal", "sub total", "summe", "gesamt", "gesamtsumme", "totale",
    "totaal", "suma", "somme", "soma", "итого", "合計", "总计", "합계",
}  # fmt: skip
Record = list[str] | Fault


@dataclass(frozen=True)
class Shape:
    """Where the cells and the header are."""

    delimiter: str
    header_row: int  # counted as records, from 1
    width: int = 0  # columns that most rows fill, named or not
    above: bool = False  # something stands above the header
    unlike: bool = False  # the header holds numbers or dates, so it may be a row


def shape(sample: str, *, delimiter: str = "", row: int | None = None, whole: bool = True) -> Shape:
    """Find the delimiter, unless it is given, and the header in the start of a text.

    Every delimiter is tried: the one that gives most records the same number of cells is taken, the one that gives
    more cells when two do it as well. A text that none divides has one column.

    Parameters
    ----------
    sample : str
        The start of the text, in whole lines.
    delimiter : str
        What divides cells, where that is known.
    row : int
        Where the header stands, where that is known; 0 where there is none.
    whole : bool
        The sample is all of the text; otherwise its last record may be cut.
    """
    told = _TOLD.match(sample[: sample.find("\n") + 1] or sample[:20])
    if not delimiter and told and told[1] in DELIMITERS:
        delimiter = told[1]
    read = {mark: _records(sample, mark, whole) for mark in ([delimiter] if delimiter else DELIMITERS)}
    if not delimiter:
        delimiter = _delimiter(read)
    unlike = False
    if row is None:
        row, unlike = _header_row(read[delimiter], after=1 if told else 0)
    above = any(isinstance(record, Fault) or any(record) for record in read[delimiter][: max(0, row - 1)])
    return Shape(delimiter, row, _width(read[delimiter][row:]), above, unlike)


def _width(records: Sequence[Record]) -> int:
    """Return up to which column more than half of the rows are filled."""
    rows = [row for row in records if not isinstance(row, Fault) and any(row)]
    filled = Counter(place for row in rows for place, cell in enumerate(row) if cell.strip())
    return max((place + 1 for place, count in filled.items() if 2 * count > len(rows) > 1), default=0)


def _records(sample: str, delimiter: str, whole: bool) -> list[Record]:
    records = Tape(Lines(sample.splitlines(keepends=True)), delimiter).take(LOOKED_AT + 1, 1)
    return records[:LOOKED_AT] if whole or len(records) > LOOKED_AT else records[:-1]


def _delimiter(read: dict[str, list[Record]]) -> str:
    scores = {mark: _evenness(records) for mark, records in read.items()}
    best = max(scores, key=scores.__getitem__)
    if scores[best] > (0.0, 1):
        return best
    whole = [mark for mark, records in read.items() if all(isinstance(row, Fault) or len(row) <= 1 for row in records)]
    return next(iter(whole), ",")


def _evenness(records: Sequence[Record]) -> tuple[float, int]:
    """Return the share of records as wide as most, of those that are not blank, and that width; 0, 1 for one column."""
    widths = Counter(0 if isinstance(row, Fault) else len(row) for row in records if isinstance(row, Fault) or any(row))
    if not widths:
        return 0.0, 1
    width = max(widths, key=lambda width: (widths[width], width))
    first = next((row for row in records if not isinstance(row, Fault) and any(row)), [])
    if width < 2:
        # The header alone may be divided: then the rows are broken, and the header says how it was meant.
        return (0.0, len(first)) if len(first) > 1 else (0.0, 1)
    return round(widths[width] / sum(widths.values()), 2), width


def _header_row(records: Sequence[Record], *, after: int = 0) -> tuple[int, bool]:
    """Return where the header stands, counted from 1, and whether it looks like a row.

    Lines above a table fill few of its columns. The header is the first record that looks like names, fills three
    quarters of what records commonly fill, and fills more than those above it; otherwise the first that is not blank.
    """
    filled = [0 if isinstance(row, Fault) else sum(1 for cell in row if cell.strip()) for row in records]
    filled[:after] = [0] * min(after, len(filled))
    some = [count for count in filled if count]
    first = next((at for at, count in enumerate(filled) if count), after)
    if not some:
        return after + 1, False
    at = first
    some.sort()
    common = (some[len(some) // 2] + some[~(len(some) // 2)]) / 2  # the median
    if common > 1:
        widest = 0  # of the lines passed over
        for place, count in enumerate(filled[: first + HIGHEST]):
            if count >= max(2, 0.75 * common) and not _row_like(records[place]):
                at = place if count > widest else first
                break
            widest = max(widest, count)
    return at + 1, _row_like(records[at])


def _row_like(record: Record) -> bool:
    cells = [] if isinstance(record, Fault) else [cell for cell in record if cell.strip()]
    return any(map(_NUMBER_LIKE.fullmatch, cells))


def distinct(said: Sequence[str], width: int = 0) -> list[str]:
    """Return column names of which no two are the same whatever their case: "price", "price (2)", "column 5"."""
    names: list[str] = []
    taken = {_fold(name) for name in said}
    seen: set[str] = set()
    for place in range(max(width, len(said))):
        own = said[place] if place < len(said) else ""
        name = base = own or f"column {place + 1}"
        turn = 1
        while _fold(name) in seen or (name != own and _fold(name) in taken):
            turn += 1
            name = f"{base} ({turn})"
        seen.add(_fold(name))
        names.append(name)
    return names


def _fold(name: str) -> str:
    return " ".join(name.casefold().split())


def is_totals(row: Sequence[str], before: Sequence[Sequence[str]]) -> bool:
    """Tell a line of totals below a table: its first filled cell says so, and it leaves empty what others fill."""
    first = next((cell for cell in row if cell.strip()), "")
    if _fold(first.strip(" :=\t")) not in _TOTALS:
        return False
    filled = [place for place, cell in enumerate(row) if cell.strip()]
    if not any(_NUMBER_LIKE.fullmatch(row[place]) for place in filled[1:]):
        return False
    return len(row) < 4 or any(
        not row[place].strip() and all(other[place].strip() for other in before) for place in range(len(row))
    )
