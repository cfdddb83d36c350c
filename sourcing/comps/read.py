"""Open a comps file, CSV or workbook, and stream its rows in blocks; limits and encoding are checked here."""

from __future__ import annotations

import csv
import hashlib
import io
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import IO, Any, BinaryIO

from sourcing.comps.lines import Lines
from sourcing.comps.workbook import to_csv
from sourcing.errors import BadInput, NotFound

LARGEST_CSV = 110_000_000
MOST_ROWS = 2_000_000
MOST_COLUMNS = 500
LARGEST_CELL = 65_536
BLOCK = 250  # rows handled together: so few that the processor keeps them at hand
_INFLATED = 300_000_000  # the CSV that a workbook unpacks to may be longer than an uploaded one


@dataclass(frozen=True)
class Block:
    """Some rows of the file: their numbers (the header is row 1) and their cells, column by column."""

    numbers: Sequence[int]
    columns: Sequence[Sequence[str]]  # one for each column of the header, each with a cell for each row
    ragged: Sequence[tuple[int, int]] = ()  # (row number, cells found) of rows that do not fit the header

    @property
    def rows(self) -> list[list[str]]:
        """The cells row by row."""
        return list(map(list, zip(*self.columns, strict=True)))


class Records:
    """The header and the rows of one open file."""

    def __init__(self, text: IO[str], sha256: str) -> None:
        csv.field_size_limit(LARGEST_CELL)
        self.sha256 = sha256
        self._lines = Lines(text)
        self._reader = csv.reader(self._lines, strict=True)
        self._number = 0
        self.header = self._first()

    def _first(self) -> list[str]:
        row: list[str] = []
        while not any(row):
            some = self._next(1)
            if not some:
                raise BadInput("The file holds no header.", "A header row, then one row a listing.", field="file")
            row = some[0]
        while row and not row[-1].strip():
            row.pop()
        if len(row) > MOST_COLUMNS:
            raise BadInput(f"The file has {len(row):,} columns.", f"Up to {MOST_COLUMNS} columns.", field="file")
        return [name.strip() for name in row]

    def blocks(self) -> Iterator[Block]:
        """Yield the rows below the header, blank ones left out."""
        width = len(self.header)
        while True:
            start = self._number + 1
            columns = self._lines.columns(BLOCK, width, longest=LARGEST_CELL)
            if columns is not None:  # nearly always
                self._count(len(columns[0]))
                yield Block(range(start, self._number + 1), columns)
                continue
            rows = self._next(BLOCK)
            if not rows:
                return
            yield _sorted_out(start, rows, width)

    def _next(self, count: int) -> list[list[str]]:
        rows: list[list[str]] = []
        try:
            rows.extend(islice(self._reader, count))
        except csv.Error as error:
            raise BadInput(
                f"Row {self._number + len(rows) + 1} cannot be read: {_csv_words(str(error))}",
                "CSV as of RFC 4180: a cell with a comma, a quote or a line break stands in double quotes, "
                "a quote inside it is doubled.",
                "Correct that row and load the file again.",
                field="file",
            ) from error
        except UnicodeDecodeError as error:
            raise BadInput(
                f"The file is not UTF-8: the byte {error.object[error.start]:#04x}, after row "
                f"{self._number + len(rows)}, begins no character.",
                "UTF-8, with or without a byte order mark.",
                "Save it again as CSV UTF-8.",
                field="file",
            ) from error
        self._count(len(rows))
        return rows

    def _count(self, rows: int) -> None:
        self._number += rows
        if self._number > MOST_ROWS + 1:
            raise BadInput(
                f"The file has more than {MOST_ROWS:,} rows.",
                f"Up to {MOST_ROWS:,}.",
                "Split it.",
                field="file",
            )


def _sorted_out(start: int, rows: list[list[str]], width: int) -> Block:
    """Leave out blank rows, set apart those that do not fit the header; empty cells beyond it do no harm."""
    numbers, fitting, ragged = [], [], []
    for number, row in enumerate(rows, start):
        if not any(row):
            continue
        if len(row) < width or any(row[width:]):
            ragged.append((number, len(row)))
        else:
            numbers.append(number)
            fitting.append(row[:width])
    return Block(numbers, list(zip(*fitting, strict=True)) or [()] * width, ragged)


def _csv_words(error: str) -> str:
    if "unexpected end" in error:
        return "a quote is opened in it and never closed."
    if "field larger" in error:
        return f"a cell is longer than {LARGEST_CELL:,} characters, or a quote is never closed."
    if "expected after" in error:
        return "text follows a closing quote."
    return f"{error}."


@contextmanager
def opened(source: str | Path | BinaryIO) -> Iterator[Records]:
    """Open a file by path, or an uploaded binary stream, and yield its records.

    Raises
    ------
    NotFound
        There is no such file.
    BadInput
        The file is empty, too large, not UTF-8, or no spreadsheet this application reads.
    """
    with tempfile.TemporaryDirectory(prefix="comps-") as place:
        try:
            file: BinaryIO = open(source, "rb") if isinstance(source, str | Path) else source  # noqa: SIM115
        except FileNotFoundError as error:
            raise NotFound(f"There is no file {source}.", next_step="Check its name.", field="file") from error
        except OSError as error:
            raise BadInput(f"The file {source} cannot be read: {error.strerror}.", field="file") from error
        try:
            yield from _records(file, Path(place))
        finally:
            if file is not source:
                file.close()


def _records(file: BinaryIO, place: Path) -> Iterator[Records]:
    if not file.seekable():
        spooled = (place / "upload").open("w+b")
        shutil.copyfileobj(file, spooled)
        file = spooled
    file.seek(0)
    start = file.read(8)
    largest = LARGEST_CSV
    if not start:
        raise BadInput("The file is empty.", "A CSV or XLSX file with a header row.", field="file")
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise BadInput(
            "It is an old or encrypted workbook.", "CSV or XLSX without a password.", "Save it as CSV UTF-8."
        )
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadInput("The file is UTF-16.", "UTF-8.", "Save it again as CSV UTF-8.")
    sha256 = _sha256(file)
    if start.startswith(b"PK\x03\x04"):
        packed, unpacked = place / "book.xlsx", place / "sheet.csv"
        with packed.open("wb") as copy:
            shutil.copyfileobj(file, copy)
        to_csv(packed, unpacked)
        file, largest = unpacked.open("rb"), _INFLATED
    if file.seek(0, io.SEEK_END) > largest:
        raise BadInput(f"The file is larger than {largest // 1_000_000} MB.", next_step="Split it into parts.")
    file.seek(0)
    text = io.TextIOWrapper(
        io.BufferedReader(_Unclosed(file), 1 << 20), encoding="utf-8-sig", errors="strict", newline=""
    )
    try:
        yield Records(text, sha256)
    finally:
        text.detach()


class _Unclosed(io.RawIOBase):
    """Lend a stream to a text wrapper: uploads lack some methods it asks for, and stay the caller's."""

    def __init__(self, file: Any) -> None:
        self._file = file

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any, /) -> int:
        chunk = self._file.read(len(buffer))
        buffer[: len(chunk)] = chunk
        return len(chunk)


def _sha256(file: BinaryIO) -> str:
    digest = hashlib.sha256()
    file.seek(0)
    while chunk := file.read(1 << 20):
        digest.update(chunk)
    file.seek(0)
    return digest.hexdigest()
