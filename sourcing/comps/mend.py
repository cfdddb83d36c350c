"""Mend rejected rows in place, and load just those."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sourcing.comps.batch import of_batch
from sourcing.comps.files.blocks import Block, Records
from sourcing.comps.header import fold_name, match_header
from sourcing.comps.layout import Layout
from sourcing.comps.load import aliases
from sourcing.comps.loading import Loading, NothingStored
from sourcing.comps.report import LoadReport, Problem
from sourcing.comps.rows import Judge
from sourcing.comps.translate import documented, fixed_status, shared_price, sources
from sourcing.errors import BadInput, Refused
from sourcing.language import gettext
from sourcing.storage import Store


@dataclass(frozen=True)
class Reject:
    """One row that was not loaded, as its file had it, and what is wrong with it by the file's column names."""

    row: int
    cells: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def wrong(self) -> tuple[str, ...]:
        """The columns that keep it out."""
        return tuple(dict.fromkeys(one.column for one in self.problems if one.rejected and one.column))


@dataclass(frozen=True)
class Rejects:
    """The rejected rows of a load that are not mended yet."""

    batch_id: int
    file_name: str
    header: tuple[str, ...]
    rows: tuple[Reject, ...]
    total: int  # of which `rows` are the first

    def place(self, column: str) -> int | None:
        """Return where a column a problem names stands; None when the file has no such column."""
        if column in self.header:
            return self.header.index(column)
        return next((place for place, name in enumerate(self.header) if fold_name(name) == column), None)


class _Mended(Records):
    """Rows that are at hand, as if they came from a file."""

    def __init__(self, header: Sequence[str], rows: Sequence[tuple[int, list[str]]]) -> None:
        self.header, self.said = list(header), list(header)
        self._rows = rows

    def blocks(self) -> Iterator[Block]:
        numbers, cells = zip(*self._rows, strict=True)
        yield Block(numbers, list(zip(*cells, strict=True)))


def rejects(store: Store, batch_id: int, *, most: int = 50, after: int = 0) -> Rejects:
    """Return rejected rows of a load with their problems, from a row number on.

    Raises
    ------
    NotFound
        There is no such load.
    """
    name, header = of_batch(store, batch_id, "file_name", "header")
    where = "batch_id = ? AND mended_by IS NULL"
    total = store.read(f"SELECT count(*) FROM reject WHERE {where}", (batch_id,))[0][0]  # noqa: S608
    kept = store.read(
        f'SELECT "row", cells FROM reject WHERE {where} AND "row" > ? ORDER BY "row" LIMIT ?',  # noqa: S608
        (batch_id, after, most),
    )
    rows = _with_problems(store, batch_id, [(row, json.loads(cells)) for row, cells in kept])
    return Rejects(batch_id, name, tuple(json.loads(header)) if header else (), rows, total)


def _with_problems(store: Store, batch_id: int, rows: Sequence[tuple[int, list[str]]]) -> tuple[Reject, ...]:
    """Judge the rows again, so that what is wrong is told of every one however many there are."""
    if not rows:
        return ()
    header, layout, as_of = _how(store, batch_id)
    judge = _judge(store, header, layout, as_of)
    problems: dict[int, list[Problem]] = {}
    for block in _Mended(header, rows).blocks():
        for problem in judge.judge(block).problems:
            problems.setdefault(problem.row, []).append(problem)
    return tuple(Reject(row, tuple(cells), tuple(problems.get(row, ()))) for row, cells in rows)


def mend(store: Store, batch_id: int, said: Mapping[int, Mapping[int, str]]) -> LoadReport:
    """Load rejected rows with some cells put right.

    Parameters
    ----------
    store : Store
        Where they go.
    batch_id : int
        The load that rejected them.
    said : mapping of int to mapping
        By row number, the new text of cells by the place of their column.

    Returns
    -------
    LoadReport
        Rows that are still wrong stay rejected rows of the first load. The good ones are a load of their own, also
        those that say what is there already: they stay should the load that brought it be undone.

    Raises
    ------
    BadInput
        No row was named, or one that is not waiting to be mended.
    NotFound, Refused
        There is no such load, or it is undone.
    """
    header, layout, as_of = _how(store, batch_id)
    judge = _judge(store, header, layout, as_of)
    try:
        with store.write_rows() as raw:
            (batch,) = raw.execute("SELECT file_name, sha256, undone_at FROM batch WHERE id = ?", (batch_id,))
            name, digest, undone = batch
            if undone:
                wrong = gettext("Load number {batch_id} is undone.", batch_id=batch_id)
                raise Refused(wrong, next_step=gettext("Load the file again, then mend its rows."))
            rows = _put_right(raw, batch_id, said)
            loading = Loading(
                raw,
                judge,
                name=gettext("{name}, mended", name=name),
                sha256=digest,
                header=header,
                layout=layout,
                corrects=batch_id,
            )
            report = loading.run(_Mended(header, rows), (), None, None, keep_good=True, dry=False)
            # Rows that are still wrong were kept with the new load too, however many problems were listed.
            raw.executemany(
                'UPDATE reject SET mended_by = ?1 WHERE batch_id = ?2 AND "row" = ?3 '
                'AND "row" NOT IN (SELECT "row" FROM reject WHERE batch_id = ?1)',
                [(report.batch_id, batch_id, row) for row, _ in rows],
            )
            raw.execute("DELETE FROM reject WHERE batch_id = ?", (report.batch_id,))
            return report
    except NothingStored as nothing:  # all are still wrong
        return nothing.report


def _put_right(raw: Any, batch_id: int, said: Mapping[int, Mapping[int, str]]) -> list[tuple[int, list[str]]]:
    """Return the rows that wait with the cells said, read where nobody else can mend them at the same time."""
    if not said:
        raise BadInput(gettext("No row was put right."), next_step=gettext("Change a cell of one, then try again."))
    rows = []
    for row, texts in said.items():
        found = raw.execute(
            'SELECT cells FROM reject WHERE batch_id = ? AND "row" = ? AND mended_by IS NULL', (batch_id, row)
        ).fetchone()
        if found is None:
            raise BadInput(
                gettext("Row {row} does not wait to be put right.", row=row),
                next_step=gettext("Take one from the list."),
            )
        cells = json.loads(found[0])
        for place, text in texts.items():
            if not 0 <= place < len(cells):
                raise BadInput(
                    gettext("Row {row} has no column number {place}.", row=row, place=place + 1),
                    gettext("1 to {cells}.", cells=len(cells)),
                )
            cells[place] = text
        rows.append((row, cells))
    return rows


def _how(store: Store, batch_id: int) -> tuple[list[str], Layout | None, int | None]:
    header, layout, day = of_batch(store, batch_id, "header", "layout", "as_of")
    if not header:
        raise Refused(
            gettext("That load is of an older version and kept no rejected rows."),
            next_step=gettext("Mend its file instead."),
        )
    return json.loads(header), Layout.from_json(layout) if layout else None, day


def _judge(store: Store, header: Sequence[str], layout: Layout | None, as_of: int | None) -> Judge:
    judge = Judge(
        sources(layout) if layout else documented(match_header(list(header))),
        # A row that was rejected may name a later day than the good ones, of which the load's is the latest.
        latest=datetime.now(UTC).date() + timedelta(days=1),
        aliases=aliases(store),
        status=fixed_status(layout) if layout else None,
        shared_price=bool(layout and shared_price(layout)),
    )
    judge.latest_day = as_of
    return judge


def mended_of(store: Store, batch_id: int) -> list[int]:
    """Return the loads that put rows of a load right and are not undone; they stay when that one is."""
    rows = store.read("SELECT id FROM batch WHERE corrects = ? AND undone_at IS NULL ORDER BY id", (batch_id,))
    return [row[0] for row in rows]
