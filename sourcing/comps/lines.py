"""Cut many plain lines of a CSV file into columns at once, which costs half of parsing them row by row.

Only lines that cannot be misread are cut: each is one row as wide as the header. Anything else is left to the `csv`
module, whose reading of such lines this is held to by a test.
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, repeat
from pathlib import Path

_BETWEEN = "\x1f"  # stands between the cells of lines that were taken apart; hardly ever found in a file


class Lines:
    """The lines of a text, which can be looked at before they are taken."""

    def __init__(self, text: Iterable[str]) -> None:
        self._text = iter(text)
        self._pending: deque[str] = deque()
        self._error: UnicodeDecodeError | None = None

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        if self._pending:
            return self._pending.popleft()
        if self._error is not None:
            raise self._error
        return next(self._text)

    def put_back(self, lines: Sequence[str]) -> None:
        """Give lines back that were taken last, to be taken again."""
        self._pending.extendleft(reversed(lines))

    def columns(self, count: int, width: int, *, delimiter: str = ",", longest: int) -> list[list[str]] | None:
        """Take the next lines as columns, or leave them all and return None when one of them needs a closer look.

        Parameters
        ----------
        count : int
            How many lines.
        width : int
            The number of cells a line is to have.
        delimiter : str
            What stands between cells.
        longest : int
            Characters a cell may have.
        """
        self._peek(count)
        lines = list(islice(self._pending, count))
        columns = _columns(lines, width, delimiter, longest)
        if columns is not None:
            if len(lines) == len(self._pending):
                self._pending.clear()
            else:
                for _ in lines:
                    self._pending.popleft()
        return columns

    def _peek(self, count: int) -> None:
        if len(self._pending) < count and self._error is None:
            try:
                self._pending.extend(islice(self._text, count - len(self._pending)))
            except UnicodeDecodeError as error:  # told when the lines before it have been read
                self._error = error


def _columns(lines: list[str], width: int, delimiter: str, longest: int) -> list[list[str]] | None:
    """Return the columns of lines that are surely one row each, as wide as told and not blank, or None."""
    # A line of nothing but delimiters is no longer than this, its end of one or two characters included.
    if not lines or len(min(lines, key=len)) <= width + 1 or len(max(lines, key=len)) > longest:
        return None
    if not lines[-1].endswith(("\n", "\r")):
        lines[-1] += "\n"
    text = "".join(lines)
    if '"' in text:
        taken = _taken_apart(lines, delimiter)
        if taken is None:
            return None
        lines, delimiter = taken, _BETWEEN
        text = "".join(lines)
    text = text.replace("\r\n", "\n")
    if "\r" in text or set(map(str.count, lines, repeat(delimiter))) != {width - 1}:
        return None
    cells = text.replace("\n", delimiter).split(delimiter)
    return [cells[place:-1:width] for place in range(width)]


def _taken_apart(lines: Sequence[str], delimiter: str) -> list[str] | None:
    """Return the lines with another mark between cells and without quotes, or None when they are not so simple."""
    quoted = [place for place, line in enumerate(lines) if '"' in line]
    if any(_BETWEEN in line for line in lines):
        return None
    try:
        rows = list(csv.reader([lines[place] for place in quoted], delimiter=delimiter, strict=True))
    except csv.Error:
        return None
    if len(rows) != len(quoted) or not all(map(any, rows)):  # a cell runs over several lines, or a row is blank
        return None
    apart = [line.replace(delimiter, _BETWEEN) for line in lines]
    for place, row in zip(quoted, rows, strict=True):
        apart[place] = _BETWEEN.join(row) + "\n"
    return apart


def count_lines(path: Path) -> int | None:
    """Return about how many rows a text file has, by its line ends; None for a file of another kind."""
    found = 0
    with path.open("rb") as file:
        while part := file.read(1 << 20):
            if not found and (b"\0" in part[:4_096] or part.startswith((b"PK", b"PAR1"))):
                return None
            found += part.count(b"\n") or part.count(b"\r")
    return found if found > 1 else None
