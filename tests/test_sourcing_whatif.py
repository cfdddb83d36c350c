"""What if: nothing supposed is the verdict itself, and every figure follows what is supposed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest

from sourcing.answer import Query
from sourcing.check import check
from sourcing.errors import BadInput
from sourcing.purchase import Discounts
from sourcing.receipt import cash_cost
from sourcing.settings import load_settings
from sourcing.storage import Store
from sourcing.whatif import what_if

CODE = "WE804-175"


@pytest.fixture(scope="module")
def store(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    store = sampled(tmp_path_factory.mktemp("whatif") / "data.db")
    yield store
    store.close()


def asked(price: str | None = "16.99") -> Query:
    return Query(code=CODE, shelf_price=None if price is None else Decimal(price))


@pytest.mark.parametrize("price", ["16.99", "3.00", None])
def test_nothing_supposed_is_the_verdict_itself(store: Store, price: str | None) -> None:
    settings = load_settings(store)
    assert what_if(store, asked(price), settings).verdict == check(store, asked(price))


def test_supposing_what_is_so_already_changes_nothing(store: Store) -> None:
    settings, plain = load_settings(store), check(store, asked())
    again = what_if(
        store, asked(), settings, plain.asking_price, settings.for_category(plain.item.category).rules.target_days
    )
    assert again.verdict == plain


def test_the_trade_off_of_the_verdict_is_that_of_the_picture(store: Store) -> None:
    found = what_if(store, asked(), load_settings(store))
    asks = {one.ask: one for one in found.asks}
    terms = load_settings(store).for_category(found.verdict.item.category).terms
    for choice in found.verdict.choices:
        one = asks[choice.ask]
        assert (one.chance, one.days_50, one.chosen) == (choice.chance_by_target, choice.days_50, choice.chosen)
        assert found.verdict.landed_cost is not None
        most_left = choice.expected_proceeds - found.verdict.landed_cost - terms.labour()
        assert most_left - found.verdict.landed_cost * terms.capital_rate < one.left <= most_left + Decimal("0.01")
    (chosen,) = (one for one in found.asks if one.chosen)
    assert chosen.best
    assert chosen.left == found.verdict.profit_after_labour


@pytest.mark.parametrize("ask", ["20.00", "31.07", "60.00"])
def test_every_figure_is_at_the_supposed_asking_price(store: Store, ask: str) -> None:
    found = what_if(store, asked(), load_settings(store), Decimal(ask), 45)
    (chosen,) = (one for one in found.asks if one.chosen)
    answer = found.verdict
    assert chosen.ask == answer.asking_price == Decimal(ask)
    assert (found.days, found.chance, answer.profit_after_labour) == (45, chosen.chance, chosen.left)
    assert answer.receipt[0].amount == Decimal(ask)
    assert [one.ask for one in found.asks] == sorted(one.ask for one in found.asks)
    assert sum(one.best for one in found.asks) == 1
    # What is chosen for most profit leaves no less than any other that meets the wanted chance.
    (best,) = (one for one in found.asks if one.best)
    wanted = float(load_settings(store).for_category(answer.item.category).rules.wanted_chance or 0)
    assert max(one.left for one in found.asks if (one.chance or 0) >= wanted) - best.left < Decimal("0.50")


def test_dearer_sells_later_and_longer_waiting_sells_more(store: Store) -> None:
    settings = load_settings(store)
    for days in (14, 60, 110):
        chances = [one.chance or 0.0 for one in what_if(store, asked(), settings, None, days).asks]
        assert all(cheap >= dear for cheap, dear in pairwise(chances))
    waits = [what_if(store, asked(), settings, Decimal(30), days).chance or 0.0 for days in (7, 30, 60, 110)]
    assert all(soon < late for soon, late in pairwise(waits))


def test_most_worth_paying_is_where_the_supposed_verdict_flips(store: Store) -> None:
    settings = load_settings(store)
    for ask, discount in ((None, None), (Decimal("41.50"), None), (Decimal("41.50"), Discounts.parse("30%"))):
        most = what_if(store, Query(code=CODE, discount=discount), settings, ask, 90).verdict.most_worth_paying
        assert most
        for price, decision in ((most, "buy"), (most + Decimal("0.01"), "pass")):
            query = Query(code=CODE, shelf_price=price, discount=discount)
            assert what_if(store, query, settings, ask, 90).verdict.decision == decision, (ask, discount)


@pytest.mark.parametrize(
    ("ask", "days", "field", "words"),
    [
        (Decimal("99999"), None, "ask", "such items bring about"),
        (Decimal("0.01"), None, "ask", "such items bring about"),
        (None, 0, "days", "From 1 to 365"),
        (None, 366, "days", "From 1 to 365"),
    ],
)
def test_what_cannot_be_supposed_is_said(
    store: Store, ask: Decimal | None, days: int | None, field: str, words: str
) -> None:
    with pytest.raises(BadInput, match=words) as caught:
        what_if(store, asked(), load_settings(store), ask, days)
    assert caught.value.field == field


def test_an_item_nothing_is_known_of_stays_so(store: Store) -> None:
    query = Query(code="ZZQ7788", shelf_price=Decimal(20))
    found = what_if(store, query, load_settings(store), Decimal(30), 30)
    assert found.verdict == check(store, query)
    assert (found.asks, found.chance, found.best_ask) == ((), None, None)


def test_the_cost_of_the_cash_is_the_profit_that_goes_where_cash_costs_something(store: Store) -> None:
    """Of one forecast, the rate is all that differs: what the cash costs is what the profit lacks."""
    costs, profits = {}, {}
    for rate in ("0", "0.20", "0.40"):
        kept = load_settings(store)
        settings = replace(
            kept, default={**kept.default, "capital_rate": Decimal(rate), "objective": "dearest in time"}
        )
        found = check(store, asked(), settings)
        costs[rate], profits[rate] = cash_cost(found.as_dict()), found.profit_before_labour
    assert costs["0"] == 0
    assert costs["0.20"] is not None
    assert costs["0.20"] > 0
    assert costs == {rate: profits["0"] - profit for rate, profit in profits.items()}
    assert cash_cost(check(store, asked(None)).as_dict()) is None
