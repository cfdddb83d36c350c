"""Cut many plain lines of a CSV file into columns at once, which costs half of parsing them row by row.

Only lines that cannot be misread are cut: each is one row as wide as the header. Anything else is left to the `csv`
module, whose reading of such lines this is held to by a test.
"""

from __future__ import annotations

import csv
import io
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, repeat
from pathlib import Path
from typing import TextIO

PIECE = 1 << 15  # characters taken together: so few that the processor keeps them at hand
_BETWEEN = "\x1f"  # stands between the cells of lines that were taken apart; hardly ever found in a file


class Lines:
    """The lines of a text, which can be looked at before they are taken.

    Parameters
    ----------
    text : iterable of str, or text stream
        The lines with their ends. A stream, which is to leave line ends as they are, is read in pieces.
    """

    def __init__(self, text: Iterable[str] | TextIO) -> None:
        self._stream = text if isinstance(text, io.TextIOBase) else None
        self._text = iter(()) if self._stream is not None else iter(text)
        self._pending: deque[str] = deque()

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        if not self._pending:
            self._pending.extend(_lines_of(self._piece()))
        return self._pending.popleft() if self._pending else next(self._text)

    def _piece(self) -> str:
        """Take the next whole lines of a stream."""
        return "" if self._stream is None else self._stream.read(PIECE) + self._stream.readline()

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

        Returns
        -------
        list of list of str, optional
            The columns: of `count` lines or, where the text is a stream, of about as many as a piece holds.
        """
        if not self._pending:
            piece = self._piece()
            columns = _columns_of(piece, width, delimiter, longest)
            if columns is not None:
                return columns
            self._pending.extend(_lines_of(piece))
        self._pending.extend(islice(self._text, max(0, count - len(self._pending))))
        lines = list(islice(self._pending, count))
        columns = _columns(lines, width, delimiter, longest)
        if columns is not None:
            if len(lines) == len(self._pending):
                self._pending.clear()
            else:
                for _ in lines:
                    self._pending.popleft()
        return columns


def _lines_of(piece: str) -> list[str]:
    return io.StringIO(piece, newline="").readlines()


def _columns_of(text: str, width: int, delimiter: str, longest: int) -> list[list[str]] | None:
    """Do as `_columns` for whole lines that hold no quote, without taking the lines apart first."""
    if not text or '"' in text or len(text) > longest:
        return None
    end = "\r\n" if "\r\n" in text else "\n"
    if not text.endswith(end):
        text += end
    rows = text.count(end)
    if text.count("\n") != rows or text.count("\r") != rows * (len(end) - 1):
        return None
    cells = text.replace(end, f"{delimiter}\n{delimiter}").split(delimiter)
    # Every line end stands where a row of that width has it, and there are no others.
    if len(cells) != rows * (width + 1) + 1 or cells[width :: width + 1].count("\n") != rows:
        return None
    cells.pop()
    columns = [cells[place :: width + 1] for place in range(width)]
    if all("" in column for column in columns) and not all(map(any, zip(*columns, strict=True))):  # a blank row
        return None
    return columns


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
