"""Load a comps file: all of it or nothing, in one transaction, adding only rows that are not there yet."""

from __future__ import annotations

import gc
import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import astuple, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import BinaryIO

from sourcing.answer import LoadReport, Problem
from sourcing.comps import values
from sourcing.comps.header import match_header
from sourcing.comps.layout import Layout, fitted
from sourcing.comps.read import Records, opened
from sourcing.comps.rows import Judge, as_stored
from sourcing.comps.translate import documented, fixed_status, shared_price, sources
from sourcing.comps.write import Writer
from sourcing.errors import BadInput
from sourcing.storage import Store

MOST_PROBLEMS = 1_000  # kept in full; the rest are counted
MOST_REJECTS = 10_000  # rejected rows kept as the file had them
SHOWN = 12  # rows of a dry run


class NothingStored(Exception):
    """Roll the transaction back and hand the report out."""

    def __init__(self, report: LoadReport) -> None:
        self.report = report


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
    digits: int = 2,
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
    digits : int
        Decimals of the currency.
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
            feeding, notes = documented(header), (*notes, *header.notes)
        else:
            layout = fitted(layout, records.header)
            feeding = sources(layout)
        same = None if dry else _same_again(store, records.sha256, name, as_of, layout)
        if same is not None:
            return same
        judge = Judge(
            feeding, latest=latest, digits=digits, aliases=aliases(store),
            status=fixed_status(layout) if layout else None, shared_price=bool(layout and shared_price(layout)),
        )  # fmt: skip
        try:
            with store.write_rows() as raw, _without_cycles():
                loading = Loading(raw, judge, name=name, sha256=records.sha256, header=records.header, layout=layout)
                return loading.run(records, notes, as_of, on_progress, keep_good=keep_good, dry=dry, digits=digits)
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


class Loading:
    """One load, inside its transaction.

    Parameters
    ----------
    raw : sqlite3.Connection
        Inside a write transaction.
    judge : Judge
        Of the file's rows.
    name, sha256, header, layout
        The file's; the batch keeps them.
    corrects : int, optional
        The batch whose rejected rows these are.
    """

    def __init__(
        self,
        raw: sqlite3.Connection,
        judge: Judge,
        *,
        name: str,
        sha256: str,
        header: Sequence[str],
        layout: Layout | None,
        corrects: int | None = None,
    ) -> None:
        self._raw = raw
        self._judge = judge
        self._name, self._sha256 = name, sha256
        self._problems: list[Problem] = []
        self._problems_total = 0
        self._raw_rows: list[tuple[int, list[str]]] = []
        self._shown: list[dict[str, str]] = []
        self._read = self._rejected = 0
        cursor = raw.execute(
            'INSERT INTO batch (file_name, sha256, loaded_at, "read", "new", known, rejected, layout, header, '
            "corrects) VALUES (?, ?, ?, 0, 0, 0, 0, ?, ?, ?)",
            (
                name, sha256, datetime.now(UTC).isoformat(timespec="seconds"), layout.to_json() if layout else "",
                json.dumps(list(header), ensure_ascii=False), corrects,
            ),
        )  # fmt: skip
        assert cursor.lastrowid is not None
        self._batch = cursor.lastrowid
        self._writer = Writer(raw, self._batch, judge.stored)

    def run(
        self,
        records: Records,
        notes: Sequence[Problem],
        as_of: date | None,
        on_progress: Callable[[int], None] | None,
        *,
        keep_good: bool,
        dry: bool,
        digits: int,
    ) -> LoadReport:
        """Judge and write every row; raise `NothingStored` where nothing is to be kept."""
        self._note(list(notes))
        for block in records.blocks():
            judged = self._judge.judge(block)
            self._read += len(judged.products) + judged.rejected
            self._rejected += judged.rejected
            self._note(judged.problems)
            self._raw_rows += judged.raw[: MOST_REJECTS - len(self._raw_rows)]
            if dry and len(self._shown) < SHOWN:
                self._shown += as_stored(self._judge.stored, judged.columns, SHOWN - len(self._shown), digits)
            self._writer.add(judged)
            if on_progress is not None:
                on_progress(self._read)
        if not self._read:
            raise BadInput("The file holds a header and no rows.", "One row a listing below the header.", field="file")
        self._writer.flush()
        day = self._judge.latest_day if as_of is None else values.days(as_of)
        self._note_identical()
        told_before, ended = self._writer.finish(day)
        self._note_ended(ended)
        report = self._report(day, self._writer.new - told_before)
        nothing = (self._rejected and not keep_good) or (not self._writer.new and self._adds_nothing(day))
        if dry or nothing:
            raise NothingStored(replace(report, batch_id=None))
        self._finish(report)
        return report

    def _note(self, problems: list[Problem]) -> None:
        self._problems_total += len(problems)
        self._problems += problems[: max(0, MOST_PROBLEMS - len(self._problems))]

    def _note_identical(self) -> None:
        if self._writer.identical:
            reason = "Rows identical to an earlier one of this file; each is kept as a listing of its own."
            fix = "Remove them if the file repeats itself."
            self._note([Problem(1, "", f"{self._writer.identical} rows", reason, fix, False)])

    def _note_ended(self, ended: int) -> None:
        if ended:
            reason = f"The file ended {ended:,} {'listing that was' if ended == 1 else 'listings that were'} open."
            self._note([Problem(1, "", f"{ended} rows", reason, "", False)])

    def _adds_nothing(self, day: int | None) -> bool:
        """Tell whether a live batch of the very same file already speaks for this one."""
        found = self._raw.execute(
            "SELECT max(coalesce(as_of, -1)) FROM batch WHERE sha256 = ? AND undone_at IS NULL AND id <> ?",
            (self._sha256, self._batch),
        ).fetchone()[0]
        return found is not None and (day is None or found >= day)

    def _report(self, day: int | None, new: int) -> LoadReport:
        return LoadReport(
            file_name=self._name,
            batch_id=self._batch,
            read=self._read,
            new=new,
            known=self._read - new - self._rejected,
            rejected=self._rejected,
            problems=tuple(self._problems),
            problems_total=self._problems_total,
            as_of=None if day is None else date.fromisoformat(values.iso(day)),
            shown=tuple(self._shown),
        )

    def _finish(self, report: LoadReport) -> None:
        run = self._raw
        run.execute(
            'UPDATE batch SET "read" = ?, "new" = ?, known = ?, rejected = ? WHERE id = ?',
            (report.read, report.new, report.known, report.rejected, self._batch),
        )
        run.executemany(
            "INSERT INTO problem VALUES (?, ?, ?, ?, ?, ?, ?)",
            ((self._batch, *astuple(problem)) for problem in self._problems),
        )
        run.executemany(
            'INSERT INTO reject (batch_id, "row", cells) VALUES (?, ?, ?)',
            ((self._batch, row, json.dumps(cells, ensure_ascii=False)) for row, cells in self._raw_rows),
        )
