"""Where evidence is missing, and a price typed in: counted by hand on small invented tables."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from web_examples import item, unknown, verdict

from sourcing import history
from sourcing.answer import Query
from sourcing.comps import load_file
from sourcing.comps.columns import NAMES
from sourcing.comps.comp import CompRow, comps
from sourcing.comps.edits import set_aside
from sourcing.comps.gaps import most_wanted, thickness
from sourcing.comps.typed_in import type_in
from sourcing.errors import BadInput
from sourcing.storage import Store, open_store

TODAY = date(2026, 6, 30)


@pytest.fixture
def store() -> Store:
    return open_store("sqlite://")


def load(store: Store, rows: list[dict[str, str]], as_of: date = TODAY) -> None:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, NAMES, restval="")
    writer.writeheader()
    writer.writerows(rows)
    load_file(store, io.BytesIO(out.getvalue().encode()), name="rows.csv", as_of=as_of)


def sale(days: int | None, code: str = "AA1", **cells: str) -> dict[str, str]:
    ended = "" if days is None else (TODAY - timedelta(days=days)).isoformat()
    return {"style_code": code, "category": "shoes", "sold_price": "20", "ended_on": ended} | cells


def every(store: Store) -> list[CompRow]:
    return comps(store, "1", (), "ORDER BY c.batch_id, c.row")


def test_thickness_counts_by_hand(store: Store) -> None:
    ages = [0, 30, 31, 90, 91, 180, 181, 365, 366, None]
    load(store, [sale(days) for days in ages])
    load(store, [sale(5, "BB2", category="SHOES "), sale(6, "CC3", category=""), sale(7, "CC3", category="")])
    load(store, [{"style_code": "DD4", "category": "shoes", "status": "open", "asking_price": "9"}])
    shoes, none = thickness(store, TODAY)
    assert (shoes.category, shoes.by_age, shoes.rows) == ("shoes", (4, 2, 2, 2, 1, 1), 12)
    assert (shoes.items, shoes.sold_an_item, shoes.thin) == (3, 1.0, 2)  # sales: 10, 1, 0
    assert (none.category, none.by_age, none.newest) == ("", (2, 0, 0, 0, 0, 0), TODAY - timedelta(days=6))
    set_aside(store, [row.id for row in every(store)[:10]], "mistake")
    assert thickness(store, TODAY)[0].rows == 2


def test_wanted_are_those_asked_for_in_vain_most_often_then_last(store: Store) -> None:
    def ask(code: str, known: bool = False, decided: bool = False) -> None:
        asked = item(known=known, style_code=code, gtin="", label=code)
        made = verdict() if decided else unknown()
        history.record(store, replace(made, item=asked, query=Query(code=code)))

    for code in ("ONE", "TWO", "TWO", "SOLD", "THREE"):
        ask(code)
    ask("SOLD", decided=True)
    ask("ONE", known=True)
    ask("FOUR")
    assert [(one.code, one.times, one.known) for one in most_wanted(store)] == [
        ("ONE", 2, True),
        ("TWO", 2, False),
        ("FOUR", 1, False),
        ("THREE", 1, False),
    ]
    assert len(most_wanted(store, 2)) == 2


class TestTypedIn:
    def test_a_file_that_tells_of_the_same_sale_later_counts_it_once(self, store: Store) -> None:
        load(store, [sale(40)])
        type_in(store, Query(code="AA1"), Decimal("31.5"), sold=True, condition="new", token="a", today=TODAY)
        load(store, [sale(0, sold_price="31.50", condition="New", title="Runner", asking_price="40", size="9")])
        assert [(row.sold_price, bool(row.out)) for row in every(store)] == [
            (Decimal("20.00"), False),
            (Decimal("31.50"), True),  # the file says more of it
            (Decimal("31.50"), False),
        ]

    def test_it_speaks_of_the_item_however_it_was_asked_for(self, store: Store) -> None:
        load(store, [sale(40, gtin="9521234567899", brand="North")])
        for query in (Query(code="9521234567899"), Query(code="aa-1"), Query(code="AA1", category="boots")):
            type_in(store, query, Decimal("30"), sold=False, token=query.code + query.category, today=TODAY)
        first, *typed = every(store)
        assert {row.root for row in typed} == {first.root}
        assert [row.category for row in typed] == ["shoes", "shoes", "boots"]
        assert {(row.status, row.asking_price, row.brand) for row in typed} == {("open", Decimal("30.00"), "North")}

    def test_a_title_alone_is_enough(self, store: Store) -> None:
        load(store, [{"title": "Pepper mill", "sold_price": "9"}])
        type_in(store, Query(title="pepper MILL"), Decimal("8"), sold=True, token="a", today=TODAY)
        assert len({row.root for row in every(store)}) == 1

    @pytest.mark.parametrize("price", ["0", "-1", "1000001", "1.001"])
    def test_what_is_no_price_stores_nothing(self, store: Store, price: str) -> None:
        with pytest.raises(BadInput):
            type_in(store, Query(code="AA1"), Decimal(price), sold=True, token="a", today=TODAY)
        assert every(store) == []
