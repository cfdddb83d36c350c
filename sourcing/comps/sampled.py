"""Look through a whole file once: its first rows, and of the others what single columns hold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from sourcing.comps.layout import FileForm
from sourcing.comps.meaning.sample import Sample
from sourcing.comps.read import opened

_ROWS = 1_000  # looked at whole; of the others, what single columns hold
_DISTINCT = 5_000  # cells of a column remembered beyond those rows
_KEPT_AT_MOST = 4

_kept: dict[tuple[str, int, int, FileForm], Sample] = {}  # of the files looked at last


def sample_of(path: Path, form: FileForm, tell: Callable[[int], None]) -> Sample:
    """Return what a look at a file rests on; of the files looked at last it is remembered.

    Parameters
    ----------
    path : Path
        The file.
    form : FileForm
        How its bytes become rows.
    tell : callable
        Called with the number of rows looked through so far. What it raises ends it.
    """
    stat = path.stat()
    key = (str(path), stat.st_mtime_ns, stat.st_size, form)
    found = _kept.get(key)
    if found is None:
        found = _kept[key] = _read_through(path, form, tell)
        for old in list(_kept)[:-_KEPT_AT_MOST]:
            _kept.pop(old, None)
    return found


def _read_through(path: Path, form: FileForm, tell: Callable[[int], None]) -> Sample:
    """Read the whole file once; keep its first rows, and of the others the distinct cells as far as they are few."""
    with opened(path, form) as records:
        header, more = records.header, [set[str]() for _ in records.header]
        rows: list[list[str]] = []
        open_ones = list(range(len(header)))
        read = 0
        for block in records.blocks():
            read += len(block.numbers)
            tell(read)
            if len(rows) < _ROWS:
                rows += block.rows
                continue
            for place in open_ones:
                more[place].update(block.columns[place])
            open_ones = [place for place in open_ones if len(more[place]) < _DISTINCT]
    first = Sample.of(header, rows)
    return replace(first, more={place: frozenset(cells) for place, cells in enumerate(more) if cells})
