"""Open a file of any kind that is read, and stream its rows as text in blocks; limits are checked here."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, BinaryIO

from sourcing.comps.files.blocks import Block, Fault, Records, note
from sourcing.comps.files.limits import LARGEST_CELL, MOST_COLUMNS, MOST_ROWS
from sourcing.comps.files.shape import DELIMITERS, Shape, distinct, is_totals, shape
from sourcing.comps.files.stage import Staged, stage
from sourcing.comps.files.tape import Tape
from sourcing.comps.layout import FileForm
from sourcing.comps.lines import Lines
from sourcing.comps.report import Problem
from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext, gettext_noop, separated

__all__ = ["Block", "Fault", "Records", "TextRecords", "opened"]

BLOCK = 250  # rows handled together: so few that the processor keeps them at hand
_TOTALS = gettext_noop("It reads like a line of totals, not like a listing; it was left out.")


class TextRecords(Records):
    """The header and the rows of one open delimited text.

    Parameters
    ----------
    text : text stream
        With its line ends as they are.
    sha256 : str
        Of the file.
    delimiter : str
        What stands between cells.
    header_row : int
        The row of the header, or the first above it that is not blank; 0 where there is none.
    width : int
        Columns that rows fill, where the header names fewer.
    doubtful, encoding : bool, str
        Whether some bytes could not be decoded, and as what.
    """

    def __init__(
        self,
        text: IO[str],
        sha256: str,
        *,
        delimiter: str = ",",
        header_row: int = 1,
        width: int = 0,
        doubtful: bool = False,
        encoding: str = "utf-8",
        notes: Sequence[Problem] = (),
    ) -> None:
        self.sha256 = sha256
        self.delimiter = delimiter
        self._lines = Lines(text)
        self._doubtful = doubtful
        self._tape = Tape(self._lines, delimiter, doubtful=doubtful, encoding=encoding)
        self._number = 0
        self._before = Block([], [])  # the last one handed on that holds rows
        self.said = self._first(header_row) if header_row else []
        columns = max(len(self.said), width)
        if columns > MOST_COLUMNS:
            raise BadInput(
                gettext("The file has {number} columns.", number=separated(f"{columns:,}")),
                gettext("Up to {most} columns.", most=MOST_COLUMNS),
                gettext("Leave out those that are not needed and load it again."),
                field="file",
            )
        self.header = distinct(self.said, width)
        self.notes = (*notes, *self._renamed())

    def _first(self, header_row: int) -> list[str]:
        while True:
            some = self._next(1)
            if not some:
                raise BadInput(
                    gettext("The file holds no header."),
                    gettext("A header row, then one row a listing."),
                    gettext("Save the table again with its rows and load that."),
                    field="file",
                )
            if self._number < header_row:
                continue
            row = some[0]
            if isinstance(row, Fault):
                raise BadInput(
                    gettext("The header, row {row}, cannot be read. {reason}", row=row.row, reason=row.reason),
                    row.fix,
                    gettext("Correct that row and load the file again."),
                    field="file",
                )
            if any(cell.strip() for cell in row):
                break
        while row and not row[-1].strip():
            row.pop()
        return [name.strip().removeprefix("\ufeff") for name in row]

    def _renamed(self) -> Iterator[Problem]:
        for place, name in enumerate(self.header):
            own = self.said[place] if place < len(self.said) else ""
            if name != own:
                why = (
                    gettext("Another column has this name; it is told apart as {name}.", name=repr(name))
                    if own
                    else gettext("A column has no name; it is called as {name}.", name=repr(name))
                )
                yield note(max(1, self._number), why, column=name[:200])

    def blocks(self) -> Iterator[Block]:
        """Yield the rows below the header, blank ones left out, a line of totals below them noted."""
        held: Block | None = None
        for block in self._blocks():
            if held is not None:
                yield held
                if held.numbers:
                    self._before = held
            held = block
        if held is not None:
            yield self._without_totals(held)

    def _blocks(self) -> Iterator[Block]:
        width = len(self.header)
        while True:
            start = self._number + 1
            columns = None
            if not self._doubtful:
                columns = self._lines.columns(BLOCK, width, delimiter=self.delimiter, longest=LARGEST_CELL)
            if columns is not None:  # nearly always
                self._count(len(columns[0]))
                yield Block(range(start, self._number + 1), columns)
                continue
            rows = self._next(BLOCK)
            if not rows:
                return
            yield _sorted_out(start, rows, width)

    def _without_totals(self, block: Block) -> Block:
        rows = block.rows
        before = (self._before.rows[-5:] + rows[:-1])[-20:]
        if not rows or not before or not is_totals(rows[-1], before):
            return block
        numbers = list(block.numbers)
        fault = _totals(numbers.pop(), rows[-1])
        return Block(numbers, [column[:-1] for column in block.columns], block.ragged, [*block.faults, fault])

    def _next(self, count: int) -> list[list[str] | Fault]:
        rows = self._tape.take(count, self._number + 1)
        self._count(len(rows))
        return rows

    def _count(self, rows: int) -> None:
        self._number += rows
        if self._number > MOST_ROWS + 1:
            most = separated(f"{MOST_ROWS:,}")
            raise BadInput(
                gettext("The file has more than {most} rows.", most=most),
                gettext("Up to {most}.", most=most),
                gettext("Split it."),
                field="file",
            )


def _sorted_out(start: int, rows: Sequence[list[str] | Fault], width: int) -> Block:
    """Leave out blank rows, set apart those that do not fit the header; empty cells beyond it do no harm."""
    numbers, fitting, ragged, faults = [], [], [], []
    for number, row in enumerate(rows, start):
        if isinstance(row, Fault):
            faults.append(row)
        elif not any(row):
            continue
        elif len(row) < width or any(row[width:]):
            if len(row) < width and is_totals(row + [""] * (width - len(row)), []):
                faults.append(_totals(number, row))
            else:
                ragged.append((number, len(row)))
        else:
            numbers.append(number)
            fitting.append(row[:width])
    return Block(numbers, list(zip(*fitting, strict=True)) or [()] * width, ragged, faults)


def _totals(number: int, row: Sequence[str]) -> Fault:
    said = next((cell for cell in row if cell.strip()), "")
    fix = gettext("If it is a listing, put its title in other words.")
    return Fault(number, said[:60], gettext(_TOTALS), fix, rejected=False)


@contextmanager
def opened(source: str | Path | BinaryIO, form: FileForm | None = None) -> Iterator[Records]:
    """Open a file by path, or an uploaded binary stream, and yield its records.

    Parameters
    ----------
    source : str, Path or binary stream
        Delimited text, XLSX, ODS, JSON lines or Parquet; also inside a zip archive.
    form : FileForm, optional
        How its bytes become cells. Left out, the file itself has to say, and is refused where it does not: then
        `sniff` gives what there is to pick from.

    Raises
    ------
    NotFound
        There is no such file.
    BadInput
        The file is empty, too large, damaged, of another kind, or does not say how it is encoded.
    """
    with unpacked(source, form or FileForm(encoding="", kind="text"), given=form is not None) as staged:
        if staged.asks:
            raise BadInput(staged.wrong, _pick(staged), field=staged.asks)
        if form is not None and staged.kind != form.kind:
            raise BadInput(
                gettext(
                    "The file is of another kind than it is to be read as: {kind}, not {wanted}.",
                    kind=staged.kind,
                    wanted=form.kind,
                ),
                gettext("A file of the same kind."),
                gettext("Let it be looked at anew."),
                field="file",
            )
        yield records(staged, form)[0]


@contextmanager
def unpacked(source: str | Path | BinaryIO, picked: FileForm, *, given: bool, name: str = "") -> Iterator[Staged]:
    """Take a file apart in a folder that is removed afterwards; `given` tells that its kind was picked too."""
    with tempfile.TemporaryDirectory(prefix="comps-") as folder:
        place = Path(folder)
        try:
            file: BinaryIO = open(source, "rb") if isinstance(source, str | Path) else source  # noqa: SIM115
        except FileNotFoundError as error:
            raise NotFound(
                gettext("There is no file {source}.", source=source), next_step=gettext("Check its name."), field="file"
            ) from error
        except OSError as error:
            raise BadInput(
                gettext("The file {source} cannot be read: {strerror}.", source=source, strerror=error.strerror),
                next_step=gettext("Check its path, owner and mode."),
                field="file",
            ) from error
        staged = None
        try:
            if not file.seekable():
                spooled = (place / "upload").open("w+b")
                shutil.copyfileobj(file, spooled)
                file = spooled
            staged = stage(
                file, place, kind=picked.kind if given else "", member=picked.member, encoding=picked.encoding,
                sheet=picked.sheet, name=name,
            )  # fmt: skip
            yield staged
        finally:
            for one in (file, staged.file if staged else None):
                if one is not None and one is not source:
                    one.close()


def records(staged: Staged, form: FileForm | None) -> tuple[Records, FileForm]:
    """Return the rows of a file taken apart, and the form they are read by: the one given, or the one found."""
    found = FileForm(staged.kind, staged.member, staged.encoding, sheet=staged.sheet)
    if staged.kind == "json lines":
        from sourcing.comps.files.json_lines import JsonRecords  # delimited text starts quicker without

        lines = JsonRecords(staged.text, staged.sha256, block=BLOCK, most=MOST_ROWS)
        lines.notes = tuple(note(1, said) for said in staged.notes)
        return lines, found
    sample, whole = staged.sample()
    divided = "," if staged.kind != "text" else form.delimiter if form else ""
    if form and staged.kind == "text" and form.delimiter not in DELIMITERS:
        marks = ", ".join(map(gettext, DELIMITERS.values()))
        raise BadInput(
            gettext("{delimiter} divides no cells.", delimiter=f"{form.delimiter[:20]!r}"),
            gettext("One of {marks}.", marks=marks),
            field="delimiter",
        )
    if staged.kind == "parquet":
        given: int | None = 1
    else:
        given = form.header_row if form else None
    shaped = shape(sample, delimiter=divided, row=given, whole=whole)
    row = shaped.header_row if given is None else given
    text = staged.text()
    rows = TextRecords(
        text, staged.sha256, delimiter=shaped.delimiter, header_row=row, width=shaped.width,
        doubtful=staged.doubtful, encoding=staged.encoding, notes=[*_told(staged, shaped, row, given is None)],
    )  # fmt: skip
    sure = FileForm(staged.kind, staged.member, staged.encoding, shaped.delimiter, staged.sheet, row)
    return rows, sure


def _told(staged: Staged, shaped: Shape, row: int, found: bool) -> Iterator[Problem]:
    """Say how the file was read where it is not the plain way."""
    for said in staged.notes:
        yield note(max(1, row), said)
    if not found:
        return
    if shaped.delimiter != "," and shaped.width > 1 and staged.kind == "text":
        marks = gettext(DELIMITERS[shaped.delimiter]) if shaped.delimiter in DELIMITERS else repr(shaped.delimiter)
        yield note(row, gettext("Cells are divided by {marks}.", marks=marks))
    if shaped.above:
        yield note(row, gettext("The header was found in row {row}; what stands above it was left out.", row=row))
    if shaped.unlike:
        yield note(
            row,
            gettext("The first row holds numbers or dates."),
            fix=gettext("If it is no header, put the column names above it."),
        )


def _pick(staged: Staged) -> str:
    if staged.asks == "member":
        return gettext("One of them: {names}.", names=", ".join(staged.members)[:500])
    names = [f"{one.name}: {one.rows[0][:60] if one.rows else ''}" for one in staged.candidates[:3]]
    return gettext("UTF-8, or its encoding picked; it may be {names}.", names="; ".join(names))
