"""A change of rules judged on 10,000 past checks, beside one vectorised pass over the same list."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

CHECKS = 10_000
COMPS = 100_000  # about 11,000 styles
ROUNDS = 3


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    from benchmarks.load import write_comps
    from sourcing.answer import Query
    from sourcing.cases import Case, Cases
    from sourcing.check import check_list
    from sourcing.comps import load_file
    from sourcing.fitting import refit
    from sourcing.settings import default_settings
    from sourcing.storage import open_store

    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        store = open_store(str(Path(folder) / "data.sqlite3"))
        write_comps(Path(folder) / "comps.csv", COMPS)
        load_file(store, Path(folder) / "comps.csv")
        refit(store)
        codes = [row[0] for row in store.read("SELECT style_code FROM product ORDER BY id LIMIT ?", (CHECKS,))]
        queries = [Query(code=code, shelf_price=Decimal("12.99")) for code in codes]
        past = [Case(number, code, query) for number, (code, query) in enumerate(zip(codes, queries, strict=True))]
        now = default_settings()
        limit = replace(now, default={**now.default, "least_profit": Decimal("11.00")})
        chance = replace(now, default={**now.default, "most_loss_chance": Decimal("0.20"), "target_days": 40})
        fee = replace(now, default={**now.default, "supplies": Decimal("2.00")})
        whole, first, rules, quantile, terms = (list[float]() for _ in range(5))
        for _ in range(ROUNDS):
            whole.append(_cpu(partial(check_list, store, queries, now, detail=False)))
            first.append(_cpu(partial(Cases, store, past, now)))
            cases = Cases(store, past, now)
            before = cases.standings(now)
            for settings, times in ((limit, rules), (chance, quantile), (fee, terms)):
                times.append(_cpu(partial(_judged, cases, before, settings)))
        store.close()
    return [
        {
            "name": f"{len(past):,} past checks judged again, {name}",
            "ratio": min(times) / min(whole),
            "bar": bar,
            "detail": f"{min(times):.2f} s against {min(whole):.2f} s of one list pass; {what}",
        }
        for name, times, bar, what in (
            ("a rule that moves a limit", rules, 0.25, "what flips and each rule's effect included"),
            ("other days and chance of loss", quantile, 0.35, "asking prices chosen again, one quantile"),
            ("other costs of a sale", terms, 1.25, "forecast anew, one pass a category"),
            ("forecast once beforehand", first, 1.0, "kept until the next check, fit or load"),
        )
    ]


def _judged(cases: Any, before: Any, settings: Any) -> None:
    from sourcing.rejudge import effects, flips

    after = cases.standings(settings)
    flips(cases.cases, before, after)
    effects(after)


def _cpu(call: Callable[[], Any]) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start
