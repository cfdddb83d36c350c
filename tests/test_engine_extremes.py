"""Tables no market makes: the engine gives a sensible answer or says too little, without a warning or a nan."""

from __future__ import annotations

import json
import math
import warnings
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from sourcing.answer import Query, Verdict
from sourcing.check import check, check_list
from sourcing.comps import load_file
from sourcing.fitting import refit
from sourcing.storage import open_store

HEADER = "style_code,brand,category,title,size,condition,asking_price,sold_price,listed_on,ended_on,status"
Rows = list[str]


def sale(
    style: str, ask: float, paid: float, listed: str, ended: str, brand: str = "Ander", kind: str = "shoes"
) -> str:
    return f"{style},{brand},{kind},{brand} walker {style},,new,{ask:.2f},{paid:.2f},{listed},{ended},sold"


def unsold(style: str, ask: float, listed: str, brand: str = "Ander") -> str:
    return f"{style},{brand},shoes,{brand} walker {style},,new,{ask:.2f},,{listed},,open"


def _orders() -> Rows:
    prices = np.exp(np.random.default_rng(1).uniform(math.log(1.0), math.log(900_000.0), 120))
    return [sale(f"S-{k % 30}", p * 1.1, p, "2025-03-01", "2025-03-20") for k, p in enumerate(prices)]


TABLES: dict[str, Callable[[], Rows]] = {
    "one row": lambda: [sale("S-1", 50, 48, "2025-03-01", "2025-03-09")],
    "all rows equal, as many styles": lambda: [sale(f"S-{k}", 50, 48, "2025-03-01", "2025-03-09") for k in range(40)],
    "one style, one price, many days": lambda: [
        sale("S-1", 50, 48, "2025-03-01", f"2025-03-{day:02d}") for day in range(2, 29)
    ],
    "all unsold": lambda: [unsold(f"S-{k % 5}", 40 + k, "2025-03-01") for k in range(30)],
    "one sale among the unsold": lambda: [
        sale("S-1", 50, 48, "2025-03-01", "2025-03-09"), *(unsold("S-1", 60 + k, "2025-03-01") for k in range(30))
    ],
    "all sold on the day they were listed": lambda: [
        sale(f"S-{k % 6}", 50 + k, 48 + k, "2025-03-09", "2025-03-09") for k in range(40)
    ],
    "prices over six orders of magnitude": _orders,
    "a category with one brand": lambda: [
        sale(f"S-{k % 9}", 50 + k % 7, 47 + k % 7, f"2025-0{1 + k % 8}-03", f"2025-0{1 + k % 8}-21") for k in range(90)
    ],
    "every style sold once": lambda: [
        sale(f"S-{k}", 50 * math.exp(0.2 * math.sin(k)), 48 * math.exp(0.2 * math.sin(k)), "2025-03-01", "2025-03-19")
        for k in range(150)
    ],
    "no dates": lambda: [sale(f"S-{k % 9}", 50 + k, 48 + k, "", "") for k in range(60)],
    "no asking prices": lambda: [
        f"S-{k % 9},Ander,shoes,,,new,,{40 + k},2025-03-01,2025-03-{2 + k % 25:02d},sold" for k in range(60)
    ],
}  # fmt: skip


def numbers(value: object) -> list[float]:
    if isinstance(value, dict):
        return [found for item in value.values() for found in numbers(item)]
    if isinstance(value, list | tuple):
        return [found for item in value for found in numbers(item)]
    return [float(value)] if isinstance(value, float | int) else []


def sound(verdict: Verdict) -> None:
    plain = verdict.as_dict()
    text = json.dumps(plain, allow_nan=False)
    assert "nan" not in text.lower().replace("nan's", "")
    assert all(math.isfinite(number) for number in numbers(plain))
    assert verdict.decision in ("buy", "pass", "too little to go on")
    if verdict.sale_price is not None:
        assert 0 < verdict.sale_price.low <= verdict.sale_price.mid <= verdict.sale_price.high
    if verdict.chance_of_loss is not None:
        assert 0 <= verdict.chance_of_loss <= 1
    assert all(0 <= share <= 1 for share in verdict.sold_within.values())


@pytest.mark.parametrize("name", TABLES)
def test_a_strange_table_gives_a_sound_answer(name: str, tmp_path: Path) -> None:
    rows = TABLES[name]()
    path = tmp_path / "comps.csv"
    # Rows that are alike in every word are one listing, so each says which it is.
    path.write_text("\n".join([HEADER + ",note", *(f"{row},{at}" for at, row in enumerate(rows))]) + "\n")
    store = open_store(str(tmp_path / "data.sqlite3"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        report = load_file(store, path)
        assert report.rejected == 0
        assert report.new == len(rows)
        refit(store)
        asked = [
            Query(code="S-1", shelf_price=Decimal("12.00")),
            Query(code="S-1", shelf_price=Decimal("0.01"), condition="worn out", size="99"),
            Query(code="NOWHERE-7", shelf_price=Decimal("12.00"), brand="Ander", category="shoes"),
            Query(code="NOWHERE-8", shelf_price=Decimal("999999.00"), category="never heard of"),
            Query(code="NOWHERE-9"),
        ]
        for query in asked:
            sound(check(store, query))
        for verdict in check_list(store, asked, detail=False):
            sound(verdict)


def test_an_empty_table_says_so(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "data.sqlite3"))
    refit(store)
    verdict = check(store, Query(code="S-1", shelf_price=Decimal("12.00")))
    sound(verdict)
    assert verdict.decision == "too little to go on"
    assert "no sold comps" in verdict.reason


def test_a_day_to_come_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "comps.csv"
    path.write_text("\n".join([HEADER, sale("S-1", 50, 48, "2025-03-01", "2199-03-09")]) + "\n")
    store = open_store(str(tmp_path / "data.sqlite3"))
    report = load_file(store, path)
    assert [(problem.column, problem.rejected) for problem in report.problems] == [("ended_on", False)]
    refit(store)
    verdict = check(store, Query(code="S-1", shelf_price=Decimal("12.00")))
    sound(verdict)
    assert verdict.newest_comp is None or verdict.newest_comp.year == 2025


def test_one_price_for_all_leaves_room_for_what_is_not_known_yet(tmp_path: Path) -> None:
    """Later sales called for no width at all; a style or a category never seen may still bring something else."""
    path = tmp_path / "comps.csv"
    days = [(f"2025-{1 + k % 11:02d}-{1 + k % 20:02d}", f"2025-{1 + k % 11:02d}-{3 + k % 25:02d}") for k in range(400)]
    rows = [sale(f"S-{k % 12}", 45, 45, *sorted(day)) for k, day in enumerate(days)]
    path.write_text("\n".join([HEADER + ",note", *(f"{row},{at}" for at, row in enumerate(rows))]) + "\n")
    store = open_store(str(tmp_path / "data.sqlite3"))
    load_file(store, path)
    refit(store)
    for query in (Query(code="NOWHERE-7", brand="Ander", category="shoes"), Query(code="NOWHERE-8", category="hats")):
        foretold = check(store, query).sale_price
        assert foretold is not None
        assert foretold.low < foretold.mid < foretold.high
