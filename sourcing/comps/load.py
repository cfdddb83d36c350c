"""Load a comps file: all of it or nothing, in one transaction, adding only rows that are not there yet."""

from __future__ import annotations

import gc
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import astuple, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import BinaryIO

from sourcing.answer import LoadReport, Problem
from sourcing.comps import values
from sourcing.comps.header import match_header
from sourcing.comps.read import Records, opened
from sourcing.comps.rows import Judge
from sourcing.comps.write import Writer
from sourcing.errors import BadInput
from sourcing.storage import Store

MOST_PROBLEMS = 1_000  # kept in full; the rest are counted


class _NothingStored(Exception):
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
    digits: int = 2,
    on_progress: Callable[[int], None] | None = None,
) -> LoadReport:
    """Load one CSV or XLSX file of comps.

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
    digits : int
        Decimals of the currency.
    on_progress : callable, optional
        Called with the number of rows read so far.

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
    with opened(source) as records:
        # A day of grace: where the file was made it may be tomorrow already.
        latest = as_of or datetime.now(UTC).date() + timedelta(days=1)
        header = match_header(records.header, mapping)
        same = _same_again(store, records.sha256, name, as_of)
        if same is not None:
            return same
        judge = Judge(header, latest=latest, digits=digits, aliases=_aliases(store))
        try:
            with store.write_rows() as raw, _without_cycles():
                loading = _Loading(
                    raw, records, judge, name=name, keep_good=keep_good, notes=(*records.notes, *header.notes)
                )
                return loading.run(as_of, on_progress)
        except _NothingStored as nothing:
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


def _same_again(store: Store, sha256: str, name: str, as_of: date | None) -> LoadReport | None:
    """Answer for the very same bytes without reading them again, when a live batch holds all their rows."""
    found = store.read(
        "SELECT id, read, as_of FROM batch WHERE sha256 = ? AND undone_at IS NULL AND rejected = 0 ORDER BY id",
        (sha256,),
    )
    if not found:
        return None
    batch_id, read, day = found[-1]
    if as_of is not None and (day is None or values.days(as_of) > day):
        return None
    kept = problems_of(store, batch_id)
    known_day = None if day is None else date.fromisoformat(values.iso(day))
    return LoadReport(name, None, read, 0, read, 0, kept, len(kept), known_day)


def _aliases(store: Store) -> dict[str, dict[str, str]]:
    """Return the words that are read as others, by kind."""
    aliases: dict[str, dict[str, str]] = {}
    for kind, theirs, ours in store.read("SELECT kind, theirs, ours FROM alias"):
        aliases.setdefault(kind, {})[theirs] = ours
    return aliases


def problems_of(store: Store, batch_id: int) -> tuple[Problem, ...]:
    """Return the problems that were kept with a batch, in row order."""
    rows = store.read(
        'SELECT "row", "column", value, reason, fix, rejected FROM problem WHERE batch_id = ? ORDER BY rowid',
        (batch_id,),
    )
    return tuple(
        Problem(row, column, value, reason, fix, bool(rejected)) for row, column, value, reason, fix, rejected in rows
    )


class _Loading:
    """One load, inside its transaction."""

    def __init__(
        self,
        raw: sqlite3.Connection,
        records: Records,
        judge: Judge,
        *,
        name: str,
        keep_good: bool,
        notes: tuple[Problem, ...],
    ) -> None:
        self._raw = raw
        self._records = records
        self._judge = judge
        self._name = name
        self._keep_good = keep_good
        self._problems = list(notes)
        self._problems_total = len(notes)
        self._read = self._rejected = 0
        cursor = raw.execute(
            'INSERT INTO batch (file_name, sha256, loaded_at, "read", "new", known, rejected) '
            "VALUES (?, ?, ?, 0, 0, 0, 0)",
            (name, records.sha256, datetime.now(UTC).isoformat(timespec="seconds")),
        )
        assert cursor.lastrowid is not None
        self._batch = cursor.lastrowid
        self._writer = Writer(raw, self._batch, judge.stored)

    def run(self, as_of: date | None, on_progress: Callable[[int], None] | None) -> LoadReport:
        for block in self._records.blocks():
            judged = self._judge.judge(block)
            self._read += len(judged.products) + judged.rejected
            self._rejected += judged.rejected
            self._note(judged.problems)
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
        if self._rejected and not self._keep_good:
            raise _NothingStored(replace(report, batch_id=None))
        if not self._writer.new and self._adds_nothing(day):
            raise _NothingStored(replace(report, batch_id=None))
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
            (self._records.sha256, self._batch),
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
