"""What is in the comps table: the loads that brought it, and what it holds by status and by category."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sourcing.comps.batch import of_batch
from sourcing.comps.columns import STATUSES
from sourcing.comps.layout import Layout
from sourcing.comps.load import problems_of
from sourcing.comps.report import Problem
from sourcing.comps.values import iso
from sourcing.storage import Store


@dataclass(frozen=True)
class Batch:
    """One load of one file."""

    id: int
    file_name: str
    sha256: str
    loaded_at: str  # ISO 8601, UTC
    as_of: date | None
    read: int
    new: int
    known: int
    rejected: int
    undone_at: str | None  # None: the batch is live
    corrects: int | None = None  # the load whose rejected rows these are


@dataclass(frozen=True)
class CategoryCount:
    """What the table holds of one category."""

    category: str  # "" for rows without one
    sold: int
    open: int
    ended_unsold: int
    products: int
    newest: date | None  # latest end of a listing, else latest listing


@dataclass(frozen=True)
class Overview:
    """What the table holds."""

    comps: int
    sold: int
    open: int
    ended_unsold: int
    products: int  # items told apart: styles, barcodes without a style, titles without either
    codes: int  # barcodes known
    newest: date | None
    oldest: date | None
    undated: int  # comps with neither day
    by_category: tuple[CategoryCount, ...]  # most comps first


def batches(store: Store) -> list[Batch]:
    """Return every load, the newest first, undone ones included."""
    rows = store.read(
        'SELECT id, file_name, sha256, loaded_at, as_of, "read", "new", known, rejected, undone_at, corrects '
        "FROM batch ORDER BY id DESC"
    )
    return [
        Batch(number, name, digest, at, _date(day), read, new, known, rejected, undone, corrects)
        for number, name, digest, at, day, read, new, known, rejected, undone, corrects in rows
    ]


def layout_of(store: Store, batch_id: int) -> Layout | None:
    """Return how a load's file was read; None for our own format.

    Raises
    ------
    NotFound
        There is no such load.
    """
    (layout,) = of_batch(store, batch_id, "layout")
    return Layout.from_json(layout) if layout else None


def problems(store: Store, batch_id: int) -> tuple[Problem, ...]:
    """Return the problems kept with a load, the first thousand at most.

    Raises
    ------
    NotFound
        There is no such load.
    """
    of_batch(store, batch_id, "id")
    return problems_of(store, batch_id)


def overview(store: Store) -> Overview:
    """Count what the table holds, in one pass over it."""
    rows = store.read(
        "SELECT category, sum(status = 1), sum(status = 0), sum(status = 2), count(DISTINCT product_id), "
        "max(coalesce(ended, listed)), min(coalesce(ended, listed)), sum(coalesce(ended, listed) IS NULL) "
        "FROM comp WHERE out = 0 GROUP BY category ORDER BY count(*) DESC, category"
    )
    assert STATUSES == ("open", "sold", "ended unsold")  # the numbers in the statement above
    newest = max((row[5] for row in rows if row[5] is not None), default=None)
    oldest = min((row[6] for row in rows if row[6] is not None), default=None)
    sold, opened, ended = (sum(row[place] for row in rows) for place in (1, 2, 3))
    return Overview(
        comps=sold + opened + ended,
        sold=sold,
        open=opened,
        ended_unsold=ended,
        products=store.read("SELECT count(*) FROM product WHERE root = id")[0][0],
        codes=store.read("SELECT count(*) FROM code")[0][0],
        newest=_date(newest),
        oldest=_date(oldest),
        undated=sum(row[7] for row in rows),
        by_category=tuple(
            CategoryCount(name, sold, opened, ended, products, _date(newest))
            for name, sold, opened, ended, products, newest, _, _ in rows
        ),
    )


def _date(day: int | None) -> date | None:
    return None if day is None else date.fromisoformat(iso(day))
