"""One load inside its transaction: judge every row, write the good ones, and say what became of all."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import astuple, replace
from datetime import UTC, date, datetime

from sourcing.comps import values
from sourcing.comps.counted import FOREIGN
from sourcing.comps.layout import Layout
from sourcing.comps.read import Records
from sourcing.comps.report import LoadReport, Problem
from sourcing.comps.rows import Judge, as_stored
from sourcing.comps.write import Writer
from sourcing.errors import BadInput
from sourcing.language import gettext, ngettext, separated

MOST_PROBLEMS = 1_000  # kept in full; the rest are counted
MOST_REJECTS = 10_000  # rejected rows kept as the file had them
SHOWN = 12  # rows of a dry run


class NothingStored(Exception):
    """Roll the transaction back and hand the report out."""

    def __init__(self, report: LoadReport) -> None:
        self.report = report


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
    before_much : callable, optional
        Called before much is written.
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
        before_much: Callable[[], None] = lambda: None,
    ) -> None:
        self._raw = raw
        self._judge = judge
        self._name, self._sha256, self._corrects = name, sha256, corrects
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
        self._writer = Writer(raw, self._batch, judge.stored, before_much)

    def run(
        self,
        records: Records,
        notes: Sequence[Problem],
        as_of: date | None,
        on_progress: Callable[[int], None] | None,
        *,
        keep_good: bool,
        dry: bool,
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
                self._shown += as_stored(self._judge.stored, judged.columns, SHOWN - len(self._shown))
            self._writer.add(judged)
            if on_progress is not None:
                on_progress(self._read)
        if not self._read:
            raise BadInput(
                gettext("The file holds a header and no rows."),
                gettext("One row a listing below the header."),
                field="file",
            )
        day = self._judge.latest_day if as_of is None else values.days(as_of)
        self._writer.flush(day)
        self._note_identical()
        told_before, ended = self._writer.finish(day)
        self._note_ended(ended)
        if "currency" in self._judge.stored:
            self._note_foreign()
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
            reason = gettext("Rows identical to an earlier one of this file; each is kept as a listing of its own.")
            fix = gettext("Remove them if the file repeats itself.")
            self._note([Problem(1, "", _rows(self._writer.identical), reason, fix, False)])

    def _note_foreign(self) -> None:
        """Say which of its rows do not count for being in another currency."""
        found = self._raw.execute(
            "SELECT currency, count(*) FROM comp WHERE batch_id = ? AND out = ? GROUP BY currency ORDER BY 2 DESC",
            (self._batch, FOREIGN),
        ).fetchall()
        for currency, rows in found:
            reason = gettext(
                "They are in {currency}, which is not the currency of your settings: kept, but not counted.",
                currency=currency,
            )
            fix = gettext(
                "Set the currency to {currency} on the Rules page if that is what you sell in.", currency=currency
            )
            self._note([Problem(1, "currency", _rows(separated(f"{rows:,}")), reason, fix, False)])

    def _note_ended(self, ended: int) -> None:
        if ended:
            reason = ngettext(
                "The file ended {number} listing that was open.",
                "The file ended {number} listings that were open.",
                ended,
                number=separated(f"{ended:,}"),
            )
            self._note([Problem(1, "", _rows(ended), reason, "", False)])

    def _adds_nothing(self, day: int | None) -> bool:
        """Tell whether a live batch of the very same file already speaks for this one."""
        if self._corrects is not None:  # of its rows no other does
            return self._read == self._rejected
        found = self._raw.execute(
            "SELECT max(coalesce(as_of, -1)) FROM batch WHERE sha256 = ? AND undone_at IS NULL AND corrects IS NULL "
            "AND id <> ?",
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


def _rows(number: int | str) -> str:
    return gettext("{number} rows", number=number)
