"""Forecasts kept by a budget of bytes: which go first, what is never mixed, and that the budget is in true bytes."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from sourcing.answer import Query
from sourcing.check import prospect_of
from sourcing.comps.lookup import known_codes
from sourcing.kept import Kept, weight_of
from sourcing.prospect import Prospect
from sourcing.settings import load_settings
from sourcing.storage import Store


@pytest.fixture(scope="module")
def store(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    store = sampled(tmp_path_factory.mktemp("kept") / "data.db")
    yield store
    store.close()


@pytest.fixture
def one(store: Store) -> Prospect:
    return prospect_of(store, Query(code=known_codes(store)[0]), load_settings(store))


def of(one: Prospect, items: float) -> Kept:
    found = Kept(int(weight_of(one) * items))
    found.begin(("today",))
    return found


def test_the_least_lately_asked_goes_first(one: Prospect) -> None:
    found = of(one, 2.5)
    found.put(("today",), "a", one)
    found.put(("today",), "b", one)
    assert found.get(("today",), "a") is one
    found.put(("today",), "c", one)
    assert [name for name in "abc" if name in found] == ["a", "c"]
    assert found.bytes == 2 * weight_of(one)


def test_what_is_forecast_ahead_pushes_nothing_out_and_goes_first_the_likeliest_last(one: Prospect) -> None:
    found = of(one, 3.5)
    found.put(("today",), "asked", one)
    assert [found.put_ahead(("today",), name, one) for name in ("likely", "less", "least")] == [True, True, False]
    found.put(("today",), "next", one)
    assert [name for name in ("asked", "likely", "less", "next") if name in found] == ["asked", "likely", "next"]
    found.put(("today",), "third", one)
    assert [name for name in ("asked", "likely", "next", "third") if name in found] == ["asked", "next", "third"]


def test_what_rests_on_another_stamp_is_neither_found_nor_kept(one: Prospect) -> None:
    found = of(one, 5)
    found.put(("today",), "a", one)
    assert found.get(("tomorrow",), "a") is None
    assert (len(found), found.bytes) == (0, 0)
    found.put(("today",), "a", one)  # forecast before the change, done after it
    assert not found.put_ahead(("today",), "b", one)
    assert len(found) == 0


def test_asked_again_it_weighs_once(one: Prospect) -> None:
    found = of(one, 5)
    for _ in range(3):
        found.put(("today",), "a", one)
        found.put_ahead(("today",), "a", one)
    assert found.bytes == weight_of(one)
    found.forget()
    assert (len(found), found.bytes) == (0, 0)


# In a process of its own: what other tests left running in this one would be measured with it.
WEIGH = """
import gc, sys, tracemalloc
from decimal import Decimal
from sourcing.answer import Query
from sourcing.check import check, forget, judge, kept, prospect_of
from sourcing.comps.lookup import known_codes
from sourcing.settings import load_settings
from sourcing.storage import open_store

store = open_store(sys.argv[1])
queries = [Query(code=code, shelf_price=Decimal(9)) for code in known_codes(store)[:120]]
for query in queries:
    check(store, query)  # what is shared is there already
forget()
tracemalloc.start()
before = tracemalloc.get_traced_memory()[0]
for query in queries:
    found = prospect_of(store, query, load_settings(store))
    judge(found, query)
    _ = found.same
gc.collect()
print(len(queries), len(kept), kept.bytes, tracemalloc.get_traced_memory()[0] - before)
"""


def test_the_weight_is_what_tracemalloc_measures(sampled: Callable[[Path], Store], tmp_path: Path) -> None:
    """Within a third over a hundred items, checked once so that all that is worked out later is there too."""
    sampled(tmp_path / "data.db").close()
    done = subprocess.run(
        [sys.executable, "-c", WEIGH, str(tmp_path / "data.db")], check=True, capture_output=True, text=True
    )
    asked, held, weight, taken = map(int, done.stdout.split())
    assert held == asked == 120
    assert weight == pytest.approx(taken, rel=1 / 3)
