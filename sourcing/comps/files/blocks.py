"""Rows as they are handed on: in blocks, column by column, with what could not be read told beside them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sourcing.comps.report import Problem


@dataclass(frozen=True)
class Fault:
    """A row of the file that could not be read, or that was left out; what was wrong, what to do."""

    row: int
    value: str
    reason: str
    fix: str = ""
    rejected: bool = True  # False: left out on purpose, which is only noted

    def as_problem(self) -> Problem:
        """Return it as a line of the report."""
        return Problem(self.row, "", self.value, self.reason, self.fix, self.rejected)


@dataclass(frozen=True)
class Block:
    """Some rows of the file: their numbers (the file's first row is 1) and their cells, column by column."""

    numbers: Sequence[int]
    columns: Sequence[Sequence[str]]  # one for each column of the header, each with a cell for each row
    ragged: Sequence[tuple[int, int]] = ()  # (row number, cells found) of rows that do not fit the header
    faults: Sequence[Fault] = ()  # rows that could not be read

    @property
    def rows(self) -> list[list[str]]:
        """The cells row by row."""
        return list(map(list, zip(*self.columns, strict=True)))


class Records:
    """The header and the rows of one open file.

    Attributes
    ----------
    sha256 : of the file as it was given.
    said : the column names as the file writes them.
    header : the same made distinct, and invented where missing.
    notes : what the user is to know about how the file was read.
    """

    sha256: str
    said: list[str]
    header: list[str]
    notes: tuple[Problem, ...] = ()

    def blocks(self) -> Iterator[Block]:
        """Yield the rows below the header, blank ones left out."""
        raise NotImplementedError


def note(row: int, reason: str, *, column: str = "", value: str = "", fix: str = "") -> Problem:
    """Return something to be told that rejects no row."""
    return Problem(row, column, value, reason, fix, False)
