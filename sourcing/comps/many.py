"""Statements over many values or rows at once."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any

_AT_ONCE = 500


def blocks(values: Sequence[Any]) -> Iterator[Sequence[Any]]:
    """Cut a sequence into pieces small enough for one statement."""
    for at in range(0, len(values), _AT_ONCE):
        yield values[at : at + _AT_ONCE]


def marks(values: Sequence[Any]) -> str:
    """Return the placeholders for a piece."""
    return "(" + ",".join("?" * len(values)) + ")"


def insert(raw: sqlite3.Connection, into: str, row: str, rows: Sequence[tuple[Any, ...]], at_once: int = 50) -> None:
    """Insert rows several to a statement: starting one costs as much as a few values do.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection, inside a write transaction.
    into : str
        The statement up to ``VALUES``. With ``INSERT OR FAIL`` it takes half the time of a plain ``INSERT``, which
        keeps a journal of its own to take back the first rows where a later one is refused; an error ends the whole
        transaction here.
    row : str
        The placeholders of one row, in parentheses.
    rows : sequence of tuple
        The values.
    at_once : int
        Rows to a statement.
    """
    whole = len(rows) - len(rows) % at_once
    several = (tuple(chain.from_iterable(rows[at : at + at_once])) for at in range(0, whole, at_once))
    raw.executemany(f"{into} VALUES {', '.join([row] * at_once)}", several)
    raw.executemany(f"{into} VALUES {row}", rows[whole:])


def insert_columns(
    raw: sqlite3.Connection,
    into: str,
    row: str,
    columns: Sequence[Sequence[Any]],
    at_once: int = 50,
    numbered: Sequence[Any] = (),
    end: str = "",
) -> None:
    """Do as `insert` for values that come as columns.

    `numbered` are those that numbered placeholders stand for, the same in every row, and `end` what follows the rows
    in the statement.
    """
    width, rows = len(columns), len(columns[0])
    values: list[Any] = [None] * (width * rows)
    for place, column in enumerate(columns):
        values[place::width] = column
    for step, first, last in ((at_once, 0, rows - rows % at_once), (1, rows - rows % at_once, rows)):
        some = (values[at : at + step * width] for at in range(first * width, last * width, step * width))
        raw.executemany(f"{into} VALUES {', '.join([row] * step)}{end}", ([*numbered, *each] for each in some))
