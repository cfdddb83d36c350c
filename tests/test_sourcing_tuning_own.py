"""What the stock tells the tuning bench of checks that were bought: which, how much, nothing that favours the quick."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal as D

import pytest
import web_examples

from sourcing import haul, history
from sourcing.settings import load_settings
from sourcing.stock import ledger, moves, parts, sales
from sourcing.stock.bring import bring
from sourcing.stock.item import day_number
from sourcing.storage import Store
from sourcing.tuning.own import of_stock

DAY = date(2026, 1, 5)


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Store:
    return new_store()


def bought(store: Store, count: int = 1, day: date = DAY) -> tuple[int, list[int]]:
    """Take a check into a haul and the haul into stock, as of a day; return the check and its pieces."""
    number = haul.start(store, "Tannery Row")
    check = history.record(store, web_examples.verdict(landed_cost=D("6.00")))
    haul.take(store, check, count)
    at = datetime(day.year, day.month, day.day, 12, tzinfo=UTC).isoformat(timespec="seconds")
    with store.write_rows() as raw:
        raw.execute("UPDATE haul SET started_at = ? WHERE id = ?", (at, number))
        raw.execute("UPDATE haul_item SET taken_at = ? WHERE haul_id = ?", (at, number))
    bring(store, number)
    with store.write_rows() as raw:
        raw.execute("UPDATE stock_item SET bought_on = ? WHERE check_id = ?", (day_number(day), check))
    pieces = [row[0] for row in store.read("SELECT id FROM stock_item WHERE check_id = ? ORDER BY id", (check,))]
    assert len(pieces) == count
    return check, pieces


def told(store: Store, as_of: date = DAY + timedelta(days=400)) -> dict[int, tuple[D, int]]:
    found = of_stock(store, load_settings(store), day_number(as_of))
    numbers = [row[0] for row in store.read("SELECT id FROM checked")]
    return {check: (one.net, one.days) for check, one in found.of_checks(numbers).items()}


def sell(
    store: Store, piece: int, paid: str, after: int, fees: str | None = "5.00", postage: str | None = "4.00"
) -> None:
    day = DAY + timedelta(days=after)
    moves.list_(store, [piece], D(paid), day - timedelta(days=1))
    sales.sell(
        store, piece, D(paid), day, fees=None if fees is None else D(fees),
        postage=None if postage is None else D(postage),
    )  # fmt: skip


def test_a_sale_counts_with_what_was_left_of_it(store: Store) -> None:
    supplies = load_settings(store).for_category("shoes").terms.supplies
    check, (piece,) = bought(store)
    assert told(store) == {}  # it may still sell
    sell(store, piece, "40.00", 30)
    assert told(store) == {check: (D("31.00") - supplies, 30)}
    ledger.undo(store, store.read("SELECT max(id) FROM stock_action")[0][0])
    assert told(store) == {}


def test_fees_that_are_not_known_yet_are_those_of_the_terms(store: Store) -> None:
    terms = load_settings(store).for_category("shoes").terms
    check, (piece,) = bought(store)
    sell(store, piece, "40.00", 30, fees=None, postage=None)
    assert told(store) == {check: (D("40.00") - terms.fee(D("40.00")) - terms.postage - terms.supplies, 30)}


def test_a_return_costs_and_a_giving_up_brings(store: Store) -> None:
    supplies = load_settings(store).for_category("shoes").terms.supplies
    check, (piece,) = bought(store)
    sell(store, piece, "40.00", 30)
    sales.take_back(store, piece, D("40.00"), DAY + timedelta(days=40), D("6.00"))
    assert told(store) == {}  # in stock again
    moves.give_up(store, [piece], DAY + timedelta(days=100), D("3.50"))
    assert told(store) == {check: (D("-15.00") - supplies + D("3.50"), 100)}


def test_several_of_one_count_on_average_and_only_once_all_have_ended(store: Store) -> None:
    supplies = load_settings(store).for_category("shoes").terms.supplies
    check, (one, two) = bought(store, 2)
    sell(store, one, "40.00", 10)
    assert told(store) == {}
    sell(store, two, "30.00", 50)
    assert told(store) == {check: (D("26.00") - supplies, 30)}


def test_a_young_purchase_counts_for_nothing_however_well_it_sold(store: Store) -> None:
    give_up = load_settings(store).for_category("shoes").terms.plan.give_up_day
    check, (piece,) = bought(store)
    sell(store, piece, "40.00", 3)
    assert told(store, DAY + timedelta(days=give_up - 1)) == {}
    assert set(told(store, DAY + timedelta(days=give_up))) == {check}


def test_what_was_split_is_not_of_the_item(store: Store) -> None:
    _, (piece,) = bought(store)
    parts.split(store, piece, ["left", "right"])
    for number in [row[0] for row in store.read("SELECT id FROM stock_item ORDER BY id")]:
        sell(store, number, "20.00", 20)
    assert told(store) == {}


def test_the_stamp_changes_with_what_is_told_and_with_nothing_else(store: Store) -> None:
    def stamp() -> str:
        return of_stock(store, load_settings(store), day_number(DAY) + 400).stamp()

    _, (piece,) = bought(store)
    before = stamp()
    moves.put_in(store, [piece], "A3")
    assert stamp() == before
    sell(store, piece, "40.00", 30)
    assert stamp() != before
