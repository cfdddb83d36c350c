"""Load a comps file: all of it or nothing, in one transaction, adding only rows that are not there yet."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import BinaryIO

from sourcing.comps import values
from sourcing.comps.header import match_header
from sourcing.comps.layout import Layout, fitted
from sourcing.comps.loading import Loading, NothingStored
from sourcing.comps.read import opened
from sourcing.comps.report import LoadReport, Problem
from sourcing.comps.rows import Judge
from sourcing.comps.translate import documented, fixed_status, shared_price, sources
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.storage import Store


def load_file(
    store: Store,
    source: str | Path | BinaryIO,
    *,
    name: str = "",
    keep_good: bool = False,
    as_of: date | None = None,
    mapping: Mapping[str, str] | None = None,
    layout: Layout | None = None,
    dry: bool = False,
    strict: bool = False,
    on_progress: Callable[[int], None] | None = None,
) -> LoadReport:
    """Load one file of comps, in our own format or as a layout says.

    Parameters
    ----------
    store : Store
        Where the comps go.
    source : str, Path or binary stream
        The file, or an uploaded stream.
    name : str
        The file's name as the user knows it; the path's own when left out.
    keep_good : bool
        Store the good rows although others are rejected; otherwise one rejected row stores nothing.
    as_of : date, optional
        The day the file was made; the latest day its good rows name when left out. Days after it (after
        tomorrow, when left out) are noted and dropped.
    mapping : mapping of str to str, optional
        The file's own column names to the documented ones.
    layout : Layout, optional
        How the file is to be read, where it is not in our own format; it goes by the names of the columns, whatever
        their order.
    dry : bool
        Do all of it, report on it with the first rows as they would be stored, and store nothing.
    strict : bool
        Refuse a file with columns that are not documented, instead of leaving them out; without a layout only.
    on_progress : callable, optional
        Called with the number of rows read so far. What it raises ends the load, and nothing is stored.

    Returns
    -------
    LoadReport
        ``read == new + known + rejected``; ``batch_id`` is None when nothing was stored. When a row was
        rejected and `keep_good` is off, `new` and `known` say what would have been stored.

    Raises
    ------
    BadInput, NotFound
        The file as a whole cannot be read.
    Busy, Refused
        The store cannot be written; nothing was changed.
    """
    if not name:
        name = Path(source).name if isinstance(source, str | Path) else "upload"
    with opened(source, layout.form if layout else None) as records:
        # A day of grace: where the file was made it may be tomorrow already.
        latest = as_of or datetime.now(UTC).date() + timedelta(days=1)
        notes: tuple[Problem, ...] = records.notes
        if layout is None:
            header = match_header(records.header, mapping)
            if strict and header.notes:
                wrong = gettext("{column} is no documented column.", column=repr(header.notes[0].column))
                raise BadInput(
                    wrong, gettext("The documented names."), gettext("Match the file's columns."), field="header"
                )
            feeding, notes = documented(header), (*notes, *header.notes)
        else:
            layout = fitted(layout, records.header)
            feeding = sources(layout)
        same = None if dry else _same_again(store, records.sha256, name, as_of, layout)
        if same is not None:
            return same
        judge = Judge(
            feeding, latest=latest, aliases=aliases(store),
            status=fixed_status(layout) if layout else None, shared_price=bool(layout and shared_price(layout)),
        )  # fmt: skip
        try:
            with store.write_rows() as raw, _without_cycles():
                loading = Loading(
                    raw, judge, name=name, sha256=records.sha256, header=records.header, layout=layout,
                    before_much=store.keep_readable,
                )  # fmt: skip
                return loading.run(records, notes, as_of, on_progress, keep_good=keep_good, dry=dry)
        except NothingStored as nothing:
            return nothing.report


@contextmanager
def _without_cycles() -> Iterator[None]:
    """Pause the search for reference cycles: rows make none, and searching them costs a third of a load."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _same_again(store: Store, sha256: str, name: str, as_of: date | None, layout: Layout | None) -> LoadReport | None:
    """Answer for the very same bytes, read the same way, without reading them again when a live batch holds them."""
    found = store.read(
        "SELECT id, read, as_of FROM batch WHERE sha256 = ? AND layout = ? AND undone_at IS NULL AND rejected = 0 "
        "AND corrects IS NULL ORDER BY id",
        (sha256, layout.to_json() if layout else ""),
    )
    if not found:
        return None
    batch_id, read, day = found[-1]
    if as_of is not None and (day is None or values.days(as_of) > day):
        return None
    kept = problems_of(store, batch_id)
    known_day = None if day is None else date.fromisoformat(values.iso(day))
    return LoadReport(name, None, read, 0, read, 0, kept, len(kept), known_day)


def aliases(store: Store) -> dict[str, dict[str, str]]:
    """Return the words that are read as others, by kind."""
    found: dict[str, dict[str, str]] = {}
    for kind, theirs, ours in store.read("SELECT kind, theirs, ours FROM alias"):
        found.setdefault(kind, {})[theirs] = ours
    return found


def problems_of(store: Store, batch_id: int) -> tuple[Problem, ...]:
    """Return the problems that were kept with a batch, in row order."""
    rows = store.read(
        'SELECT "row", "column", value, reason, fix, rejected FROM problem WHERE batch_id = ? ORDER BY rowid',
        (batch_id,),
    )
    return tuple(
        Problem(row, column, value, reason, fix, bool(rejected)) for row, column, value, reason, fix, rejected in rows
    )
