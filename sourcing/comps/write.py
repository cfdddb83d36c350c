"""Write the good rows of a load into the tables: many at a time, in the order they are kept in."""

from __future__ import annotations

import sqlite3

from sourcing.comps.refresh import blocks, marks, refresh
from sourcing.comps.rows import OPEN, STORED, Judged

AT_ONCE = 100_000  # rows sorted together: the more, the fewer pages of the file are written twice
_CACHED = 200_000


class Writer:
    """Add rows to comp, and what they touch elsewhere; one for each load, inside its transaction.

    Parameters
    ----------
    raw : sqlite3.Connection
        The driver's connection.
    batch_id : int
        The load that brings the rows.
    """

    def __init__(self, raw: sqlite3.Connection, batch_id: int) -> None:
        self._raw = raw
        self._batch = batch_id
        self.new = 0  # rows that were not there yet
        self._waiting: list[Judged] = []
        self._open: list[tuple[int, int]] = []
        self._ids: dict[str, int] = {}
        self._touched: set[int] = set()
        self._next_id = raw.execute("SELECT coalesce(max(id), 0) + 1 FROM product").fetchone()[0]
        self._statement = (
            f"INSERT OR IGNORE INTO comp (product_id, {', '.join(STORED)}, batch_id) "  # noqa: S608
            f"VALUES ({'?, ' * (len(STORED) + 1)}{batch_id})"
        )

    def add(self, judged: Judged) -> None:
        """Take the good rows of a block; they are written when enough have come together."""
        self._waiting.append(judged)
        if sum(len(waiting.products) for waiting in self._waiting) >= AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Write what has come together."""
        ids = self._product_ids(set().union(*(judged.products for judged in self._waiting)))
        rows: list[tuple[int, ...]] = []
        for judged in self._waiting:
            rows += zip(map(ids.__getitem__, judged.products), *judged.columns, strict=True)
        self._waiting.clear()
        rows.sort()  # by product and key, the order they are kept in: each page of the file is written once
        before = self._raw.total_changes
        self._raw.executemany(self._statement, rows)
        new = self._raw.total_changes - before
        self.new += new
        self._open += [(row[0], row[1]) for row in rows if row[2] == OPEN]
        if new:
            self._touched.update(row[0] for row in rows)
        if new < len(rows):
            self._bring_again(rows, all_of_them=not new)

    def _bring_again(self, rows: list[tuple[int, ...]], *, all_of_them: bool) -> None:
        """Note rows that an earlier batch brought: this one brings them too, should the earlier be undone."""
        if all_of_them:
            self._raw.executemany(
                f"INSERT INTO also_in VALUES ({self._batch}, ?, ?)",  # noqa: S608
                [row[:2] for row in rows],
            )
            return
        self._raw.executemany(
            "INSERT INTO also_in SELECT ?, product_id, key FROM comp "
            "WHERE product_id = ? AND key = ? AND batch_id <> ?",
            ((self._batch, row[0], row[1], self._batch) for row in rows),
        )

    def _product_ids(self, keys: set[str]) -> dict[str, int]:
        if len(self._ids) > _CACHED:
            self._ids.clear()
        missing = sorted(keys - self._ids.keys())
        for some in blocks(missing):
            self._ids.update(
                self._raw.execute(f"SELECT key, id FROM product WHERE key IN {marks(some)}", some)  # noqa: S608
            )
        fresh = [key for key in missing if key not in self._ids]
        made = range(self._next_id, self._next_id + len(fresh))
        self._raw.executemany(
            "INSERT INTO product (id, key, root, style_code, brand, category, title) VALUES (?, ?, ?, ?, '', '', '')",
            (
                (new_id, key, new_id, key[2:] if key.startswith("s:") else "")
                for new_id, key in zip(made, fresh, strict=True)
            ),
        )
        self._ids.update(zip(fresh, made, strict=True))
        self._touched.update(made)
        self._next_id += len(fresh)
        return self._ids

    def finish(self, day: int | None) -> None:
        """Bring everything derived in line with the rows, which were true on the day given."""
        if day is not None:
            self._raw.executemany(
                "UPDATE comp SET seen = ? WHERE product_id = ? AND key = ? AND (seen IS NULL OR seen < ?)",
                ((day, *row, day) for row in self._open),
            )
        refresh(self._raw, self._touched)
