"""Bringing the fit up to date after a small load beside fitting all anew, and what that leaves of the answers.

An item's own comps are read afresh at every check, so a small load of known categories leaves the fit, which holds what
kin share, as it is. The first figure says what that spares, the second what it costs: how far answers then lie from
those of a full refit, in halves of the stated 80 % range. The data is invented.
"""

from __future__ import annotations

import csv
import tempfile
import time
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks._threads import one_thread
from benchmarks.load import write_comps
from sourcing.answer import Query
from sourcing.check import check_list, forget
from sourcing.comps import load_file
from sourcing.fitting import current_fit, keep_up, refit
from sourcing.storage import Store, open_store

ROWS = 100_000
SHARE = 100  # one row in so many is new
UNTIL = date(2026, 5, 15)  # the listings begin in 500 days up to then, so on each day about as many end
ITEMS = 1_000


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    return one_thread(_measure)()


def _measure() -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory(prefix="bench-") as name:
        place = Path(name)
        last, new = _two_exports(place)
        store = open_store(str(place / "data.sqlite3"))
        load_file(store, place / "first.csv", as_of=last)
        refit(store)
        first = current_fit(store)
        load_file(store, place / "more.csv", as_of=UNTIL)
        # Items of the new rows and of others alike: every so many-th style.
        codes = [row[0] for row in store.read("SELECT DISTINCT style_code FROM product ORDER BY style_code")]
        queries = [Query(code=code, shelf_price=Decimal("12.99")) for code in codes[:: len(codes) // ITEMS]]
        small = min(_spent(keep_up, store) for _ in range(3))
        kept = current_fit(store)
        as_kept = _forecast(store, queries)
        full = _spent(refit, store)
        anew = _forecast(store, queries)
        store.close()
    assert first is not None
    assert kept is not None
    half = (anew[:, 2] - anew[:, 0]) / 2
    off = np.quantile(np.abs(as_kept[:, 1] - anew[:, 1]) / half, [0.5, 0.95])
    what = "the fit was kept" if kept.id == first.id else "a full refit was found due"
    return [
        {
            "name": f"bring the fit up to date after 1 % new rows, {ROWS:,} rows: CPU over a full refit's",
            "ratio": small / full,
            "bar": 0.2,
            "detail": f"{small:.3f} s and {full:.2f} s: {new:,} sales and ended listings of the newest days; {what}",
        },
        {
            "name": "answers of the kept fit: 95 % point of how far they lie from a full refit's",
            "ratio": float(off[1]),
            "bar": None,
            "detail": f"foretold price of {len(anew):,} styles, in halves of its 80 % range; median {off[0]:.4f}",
        },
    ]


def _two_exports(place: Path) -> tuple[date, int]:
    """Write what had ended by a day, and what ended after it; return that day and how many the second file holds."""
    write_comps(place / "all.csv", ROWS)
    with (place / "all.csv").open(encoding="utf-8", newline="") as file:
        names, *rows = csv.reader(file)
    listed, ended = names.index("listed_on"), names.index("ended_on")
    until = UNTIL.isoformat()
    rows = sorted((row for row in rows if row[listed] <= until and row[ended] <= until), key=lambda row: row[ended])
    # Open listings have no ending day and so stand first: the first export shows them.
    known = len(rows) * SHARE // (SHARE + 1)
    last = rows[known - 1][ended]
    parts = {"first.csv": [row for row in rows if row[ended] <= last and row[listed] <= last]}
    parts["more.csv"] = [row for row in rows if row[ended] > last]
    for name, part in parts.items():
        with (place / name).open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([names, *part])
    return date.fromisoformat(last), len(parts["more.csv"])


def _spent(fit: Callable[[Store], object], store: Store) -> float:
    start = time.process_time()
    fit(store)
    return time.process_time() - start


def _forecast(store: Store, queries: list[Query]) -> np.ndarray:
    """Low, middle and high of the foretold price of each: (n, 3)."""
    forget()
    found = [verdict.sale_price for verdict in check_list(store, queries, detail=False)]
    return np.array([[float(one.low), float(one.mid), float(one.high)] for one in found if one is not None])
