"""Pages of a big business, 1,000,000 comps and 100,000 pieces of stock, beside their bare queries. Times are CPU.

The bare queries of a page are the very statements it ran, run again and fetched. What is more is what the page makes of
them: figures, words, pictures and markup. The data is invented: comps as in `benchmarks.load`, pieces as in
`benchmarks._reseller`, bought on runs of 100 pieces; no comp tells of their styles, so
that little is forecast anew (see `benchmarks.today` for that).
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

from benchmarks._reseller import STORES, TODAY, fill
from benchmarks._threads import one_thread
from benchmarks.load import write_comps
from sourcing.storage import Store

COMPS, PIECES, OF_A_RUN, ROUNDS = 1_000_000, 100_000, 100, 5
PAGES = {
    "/stock": "all stock, newest first",
    "/stock?state=listed": "what is listed",
    "/stock?find=tannery+4711": "pieces found by words",
    "/stock/50000": "one piece and its story",
    "/today": "what to do today",
    "/outcomes": "the last sales, each beside its terms",
    "/record": "the track record",
    "/stores": "what stores and runs bring",
    "/books": "the books of a year",
    "/prep": "prep time",
    "/run/500": "one run",
    "/comps": "comps: what is in the table",
    "/comps/table": "the comps table",
    "/comps/table?query=brand007+runner": "comps searched by words",
}


def run() -> list[dict[str, Any]]:
    """Return one record a page: name, ratio, bar, detail."""
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        return one_thread(lambda: _pages(Path(folder)))()


def _pages(folder: Path) -> list[dict[str, Any]]:
    from web.app import create_app

    app = create_app(folder / "comps.db")
    client = app.test_client()
    client.get("/")
    store: Store = app.extensions["sourcing"].store
    _fill(store, folder)
    asked: list[tuple[str, tuple[Any, ...]]] = []
    read = Store.read

    def noting(self: Store, statement: str, values: Any = ()) -> list[tuple[Any, ...]]:
        asked.append((statement, tuple(values)))
        return read(self, statement, values)

    connection = sqlite3.connect(folder / "comps.db")
    found = []
    for path, what in PAGES.items():
        assert client.get(path).status_code == 200, path  # what is loaded or worked out once is done
        Store.read = noting  # type: ignore[method-assign]
        try:
            asked.clear()
            client.get(path)
        finally:
            Store.read = read  # type: ignore[method-assign]
        queries = [one for one in asked if not one[0].startswith("PRAGMA")]
        whole, bare = [], []
        for _ in range(ROUNDS):
            whole.append(_cpu(lambda: client.get(path)))  # noqa: B023 - called at once
            bare.append(_cpu(lambda: [connection.execute(*one).fetchall() for one in queries]))  # noqa: B023
        ours, theirs = statistics.median(whole), statistics.median(bare)
        found.append(
            {
                "name": f"{path}: {what}; {PIECES:,} pieces, {COMPS:,} comps",
                "ratio": ours / theirs,
                "bar": None,
                "detail": f"{ours * 1e3:.0f} CPU ms, of which its {len(queries)} queries {theirs * 1e3:.1f}",
            }
        )
    connection.close()
    store.close()
    return found


def _fill(store: Store, folder: Path) -> None:
    from sourcing import history
    from sourcing.answer import Query
    from sourcing.check import check
    from sourcing.comps import load_file

    for part in range(2):
        path = folder / "part.csv"
        write_comps(path, COMPS // 2, seed=part + 1, first=part * 100_000)
        load_file(store, path)
    fill(store, 1, PIECES, TODAY)
    runs = PIECES // OF_A_RUN
    number = history.record(store, check(store, Query(code="FW1", shelf_price=Decimal("4.99"))))
    with store.write_rows() as raw:
        raw.executemany(
            "INSERT INTO haul (id, store, started_at, closed_at) VALUES (?, ?, ?, ?)",
            [(at, STORES[at % len(STORES)], *[f"2026-01-{1 + at % 28:02d}T1{hour}:00:00+00:00" for hour in (0, 2)])
             for at in range(1, runs + 1)],
        )  # fmt: skip
        raw.executemany(
            "INSERT INTO haul_item (id, haul_id, check_id, count, taken_at) VALUES (?, ?, ?, ?, ?)",
            [(at, at, number, OF_A_RUN, f"2026-01-{1 + at % 28:02d}T11:00:00+00:00") for at in range(1, runs + 1)],
        )
        raw.execute("UPDATE stock_item SET haul_item_id = 1 + (id - 1) / ?", (OF_A_RUN,))


def _cpu(call: Callable[[], object]) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']}: {line['ratio']:.3g}; {line['detail']}")
