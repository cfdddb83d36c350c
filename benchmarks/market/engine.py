"""The engine itself: the written files through the real loader, a refit, and the whole list checked."""

from __future__ import annotations

import dataclasses
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from benchmarks.market.answers import CHANCES, EXTRA, blank
from benchmarks.market.config import AS_OF, HORIZONS, HURDLE
from benchmarks.market.dirt import Spoilt, write_files
from benchmarks.market.draw import Market
from benchmarks.market.shelf import COLUMNS, Shelf, query_rows
from sourcing.answer import Query, Verdict
from sourcing.check import check_list
from sourcing.comps import load_file
from sourcing.comps.report import LoadReport
from sourcing.fitting import Fit, current_fit, refit
from sourcing.settings import Settings, default_settings
from sourcing.storage import Store, open_store


def settings_of() -> Settings:
    """Return a fresh install's settings with one rule on, the least profit; the least evidence stays as it is."""
    plain = default_settings()
    rules = {
        "least_profit": Decimal(f"{HURDLE:.2f}"),
        "least_return": None,
        "wanted_chance": None,
        "most_loss_chance": None,
    }
    return dataclasses.replace(plain, default={**plain.default, **rules})


def load(store: Store, spoilt: Spoilt, folder: Path) -> list[LoadReport]:
    """Write the exports into a folder and load them, in order; rows that are refused would be a fault of ours."""
    reports = [load_file(store, path, as_of=AS_OF) for path in write_files(folder, spoilt)]
    for report in reports:
        if report.rejected or report.batch_id is None:
            raise RuntimeError(f"{report.file_name}: {report.rejected} rows were refused: {report.problems[:3]}")
    return reports


@contextmanager
def loaded(spoilt: Spoilt) -> Iterator[Store]:
    """Load the exports into a store of their own, gone afterwards; nothing is fitted yet."""
    with tempfile.TemporaryDirectory(prefix="market-") as name:
        folder = Path(name)
        store = open_store(str(folder / "data.sqlite3"))
        try:
            load(store, spoilt, folder)
            yield store
        finally:
            store.close()


def answer(market: Market, spoilt: Spoilt, shelf: Shelf) -> pd.DataFrame:
    """Answer the shelf list with the engine, in a fresh store."""
    with loaded(spoilt) as store:
        refit(store)
        return frame_of(check_list(store, queries(market, shelf), settings_of(), detail=False))


def fitted(spoilt: Spoilt) -> Fit:
    """Fit the engine on the exports, in a fresh store."""
    with loaded(spoilt) as store:
        refit(store)
        found = current_fit(store)
    assert found is not None
    return found


def queries(market: Market, shelf: Shelf) -> list[Query]:
    """Return the shelf list as queries."""
    found = []
    for row in query_rows(market, shelf):
        words: dict[str, Any] = dict(zip(COLUMNS, row, strict=True))
        price = Decimal(words.pop("shelf_price"))
        found.append(Query(shelf_price=price, **words))
    return found


def frame_of(verdicts: list[Verdict]) -> pd.DataFrame:
    """Turn verdicts into the frame of answers."""
    found = blank(len(verdicts))
    rows = []
    for verdict in verdicts:
        sale, wide = verdict.sale_price, verdict.sale_price_wide
        rows.append(
            [
                verdict.decision,
                _number(verdict.asking_price),
                *([np.nan] * 3 if sale is None else [float(sale.low), float(sale.mid), float(sale.high)]),
                *([np.nan] * 2 if wide is None else [float(wide.low), float(wide.high)]),
                *(verdict.sold_within.get(day, np.nan) for day in HORIZONS),
                _number(verdict.profit_after_labour),
            ]
        )
    names = ["decision", "ask", "q10", "q50", "q90", *EXTRA, *CHANCES, "profit"]
    found[names] = pd.DataFrame(rows, columns=names)
    return found


def _number(value: Decimal | None) -> float:
    return np.nan if value is None else float(value)
