# ruff: noqa: S608 - only names of columns and placeholders are put into the statements
"""What a file called the brand or category of a row that was loaded under another name; the row's key tells.

A key is a hash of what the file said, so a spelling that gives the same key is the file's own.
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from itertools import product
from typing import Any

from sourcing.comps.change import Patch
from sourcing.comps.comp import RowId
from sourcing.comps.keys import row_keys
from sourcing.comps.rows import STORED, text_of
from sourcing.comps.titles import fold_title

_KINDS = ("brand", "category")
_COLUMNS = (*STORED, "listing", "currency", "row")
_TWINS = 4  # identical rows of one file that are told apart


def named_since(raw: sqlite3.Connection, before: dict[str, Any], known: set[int]) -> list[Patch]:
    """Return what gives rows loaded since a renaming their names back, those of the renamed rows aside.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection, inside a write transaction; the edit is still live.
    before : dict
        What the edit noted.
    known : set of int
        Keys of the rows it renamed itself.
    """
    words: dict[str, dict[str, tuple[str | None, str]]] = defaultdict(dict)
    for kind, theirs, was, now in before["words"]:
        if kind in _KINDS and now is not None:
            words[kind][theirs] = (was, now)
    patches = []
    for kind, read_as in words.items():
        spelt = _spellings(raw)
        mine = [text for text in spelt[kind] if fold_title(text) in read_as]
        (other,) = set(_KINDS) - {kind}
        for now in {now for _, now in read_as.values()}:
            names = ", ".join(f'"{name}"' for name in _COLUMNS)
            for number, *row in raw.execute(f"SELECT product_id, {names} FROM comp WHERE {kind} = ?", (now,)):
                if row[0] in known:
                    continue
                theirs = _theirs(row, {kind: mine, other: [*spelt[other], row[_COLUMNS.index(other)]]})
                if theirs is not None:
                    text = theirs[kind]
                    was = read_as[fold_title(text)][0]
                    patches.append(Patch(RowId(number, row[0]), {kind: now}, {kind: text if was is None else was}))
    return patches


def _spellings(raw: sqlite3.Connection) -> dict[str, list[str]]:
    """Return how names were spelt that live edits have renamed, by kind."""
    found: dict[str, set[str]] = defaultdict(set)
    for (text,) in raw.execute("SELECT before FROM edit WHERE kind = 'rename' AND undone_at IS NULL"):
        for alike in json.loads(text)["rows"]:
            for kind in _KINDS:
                if kind in alike["was"]:
                    found[kind].add(alike["was"][kind])
    return {kind: sorted(found[kind]) for kind in _KINDS}


def _theirs(row: list[Any], choices: dict[str, list[str]]) -> dict[str, str] | None:
    """Return the names among the choices that a row had in its file; None where its key fits none."""
    for texts in product(*choices.values()):
        said = dict(zip(choices, texts, strict=True))
        values = [said.get(name, value) for name, value in zip(_COLUMNS, row, strict=True)]
        if row[0] in _keys(text_of(values)):
            return said
    return None


def _keys(text: str) -> Iterable[int]:
    return row_keys([text, *(f"{text}\x1e{again}" for again in range(1, _TWINS))])
