"""Forecast ahead: the very answers, the likely first, nothing recorded, and an end where the data changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from sourcing import history
from sourcing.answer import Query
from sourcing.check import check, check_json, each_alone, forget, judge, kept
from sourcing.comps.lookup import known_codes
from sourcing.fitting import refit
from sourcing.forecast_ahead import likely, work_ahead
from sourcing.language import speaking
from sourcing.prospect import prospects
from sourcing.settings import load_settings, save_settings
from sourcing.storage import Store

PRICES = (None, Decimal("7.99"), Decimal("24.50"))


@pytest.fixture
def store(sampled: Callable[[Path], Store], tmp_path: Path) -> Iterator[Store]:
    store = sampled(tmp_path / "data.db")
    forget()
    yield store
    forget()
    store.close()


def differing(store: Store, queries: list[Query]) -> list[tuple[Query, Decimal | None]]:
    """Ask at several prices as kept, and as forecast alone; return where the answers differ in any figure or word."""
    settings = load_settings(store)
    found = []
    for query in queries:
        alone = each_alone(prospects(store, [query], settings, True))[0]
        for price in PRICES:
            asked = replace(query, shelf_price=price)
            if check(store, asked).as_dict() != judge(alone, asked).as_dict():
                found.append((query, price))
    return found


class TestTheAnswerIsTheSame:
    def test_for_all_items_of_the_samples(self, store: Store) -> None:
        codes = known_codes(store)
        assert work_ahead(store) is not None
        made = len(kept)
        assert made > 800
        assert differing(store, [Query(code=code) for code in codes]) == []
        assert len(kept) <= made + len(codes) // 20  # they were answered by what was made ahead

    def test_however_the_code_is_typed(self, store: Store) -> None:
        work_ahead(store)
        made = len(kept)
        gtin = next(code for code in known_codes(store) if code.isdigit())
        style = next(code for code in known_codes(store) if not code.isdigit())
        typed = [gtin, gtin.lstrip("0"), f" {gtin[1:]} ", style, style.lower(), f"{style[:3]}-{style[3:]} "]
        assert differing(store, [Query(code=code) for code in typed]) == []
        assert len(kept) == made

    def test_in_another_language(self, store: Store) -> None:
        save_settings(store, replace(load_settings(store), locale="de_DE", currency="EUR"), "test")
        work_ahead(store)
        code = known_codes(store)[0]
        made = len(kept)
        with speaking("de"):
            assert differing(store, [Query(code=code)]) == []
            assert len(kept) == made
            german = check_json(store, Query(code=code), load_settings(store))
        assert check_json(store, Query(code=code), load_settings(store)) != german

    def test_of_a_check_with_more_than_a_code_and_of_an_unknown_code(self, store: Store) -> None:
        code = next(code for code in known_codes(store) if not code.isdigit())
        queries = [
            Query(code=code, size="9", condition="used"),
            Query(code="NOSUCH-1"),
            Query(title="a thing nobody sold", category="shoes"),
        ]
        for query in queries:
            history.record(store, check(store, query))
        forget()
        work_ahead(store)
        assert differing(store, queries) == []


class TestWhatComesFirst:
    def test_checks_then_known_items_by_their_newest_comps(self, store: Store) -> None:
        codes = [code for code in known_codes(store) if not code.isdigit()]
        asked = [Query(code=code, shelf_price=Decimal(5), size="8") for code in codes[:3]]
        for query in asked:
            history.record(store, check(store, query))
        coming = [one.asked for one in likely(store, load_settings(store))]
        assert coming[:3] == [replace(query, shelf_price=None) for query in reversed(asked)]
        newest = store.read(
            "SELECT max(coalesce(ended, seen, listed)) FROM comp c JOIN product p ON p.id = c.product_id AND c.out = 0"
        )[0][0]
        first = coming[3].code
        day = store.read(
            "SELECT max(coalesce(c.ended, c.seen, c.listed)) FROM comp c JOIN product p ON p.id = c.product_id "
            "JOIN product r ON r.id = p.root WHERE c.out = 0 AND (r.style_code = ? OR r.key = 'g:' || ?)",
            (first, first),
        )[0][0]
        assert day == newest

    def test_what_was_checked_twice_comes_once(self, store: Store) -> None:
        query = Query(code=known_codes(store)[0], shelf_price=Decimal(5))
        for _ in range(2):
            history.record(store, check(store, query))
        coming = [one.asked for one in likely(store, load_settings(store))]
        assert coming.count(replace(query, shelf_price=None)) <= 2  # as asked, and as an item known by that code
        assert coming[0] != coming[1]


def test_it_records_nothing(store: Store) -> None:
    def state() -> list[tuple[int, ...]]:
        tables = ("checked", "haul", "haul_item", "stock_item", "edit", "batch", "fit")
        return [store.read(f"SELECT count(*) FROM {table}")[0] for table in tables]

    history.record(store, check(store, Query(code=known_codes(store)[0])))
    before = state()
    work_ahead(store)
    assert state() == before


def test_it_ends_where_the_data_changes_and_leaves_nothing_of_before(store: Store) -> None:
    passes = 0

    def rest() -> None:
        nonlocal passes
        passes += 1
        if passes == 3:
            refit(store)

    assert work_ahead(store, rest) is None
    assert passes == 3
    made = work_ahead(store)
    assert made is not None
    assert work_ahead(store) == made  # nothing is left to do


def test_without_a_fit_nothing_is_made(new_store: Callable[[], Store]) -> None:
    store = new_store()
    forget()
    assert work_ahead(store) is not None
    assert len(kept) == 0
    store.close()
