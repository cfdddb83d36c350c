"""What the asking price is chosen for, on outcomes made by hand where the three objectives differ."""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from models.proceeds import Outcome
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file
from sourcing.fitting import refit
from sourcing.objective import choose
from sourcing.rules import OBJECTIVES, Rules
from sourcing.settings import default_settings, from_toml, load_settings, save_settings, to_toml
from sourcing.storage import open_store
from sourcing.terms import Terms

D = Decimal
TERMS = Terms(list_minutes=D("5.5"), pack_minutes=D(2), hourly_value=D(12), capital_rate=D("0.20"))  # labour 2.00
ASK = (40.0, 50.0, 60.0, 70.0)
NET = (30.0, 36.0, 38.0, 37.0)
DAYS = (10.0, 20.0, 60.0, 90.0)
SOLD = (0.95, 0.85, 0.60, 0.40)


def outcome(net: tuple[float, ...] = NET, days: tuple[float, ...] = DAYS, sold: tuple[float, ...] = SOLD) -> Outcome:
    """One item at four asking prices; what the choice does not look at is empty."""
    empty = np.zeros((1, 0))
    given = {"ask": ASK, "mean_net": net, "mean_days": days, "by_target": sold}
    return Outcome(
        **{one.name: np.array([given[one.name]]) if one.name in given else empty for one in dataclasses.fields(Outcome)}
    )


def chosen(result: Outcome, objective: str, terms: Terms = TERMS, **rules: Decimal | None) -> float:
    at = choose(result, terms, Rules(**{"objective": objective, "wanted_chance": None, **rules}))  # type: ignore[arg-type]
    return float(result.ask[0, at[0]])


@pytest.mark.parametrize(
    ("objective", "rules", "ask"),
    [
        # 38 - 0.2 x 60/365 x 38 = 36.75 beats 36 - 0.2 x 20/365 x 38 = 35.58 and 37 - 1.87 = 35.13.
        ("most profit", {}, 60),
        # Outlay 38 - 2 - 8 = 28: profits 0, 6, 8, 7 over 10, 20, 60, 90 days: 0, 0.30, 0.13, 0.08 a day.
        ("most profit a day", {"least_profit": D(8)}, 50),
        # Outlay 38 - 2 - 20 = 16: profits 12, 18, 20, 19: 1.20, 0.90, 0.33, 0.21 a day.
        ("most profit a day", {"least_profit": D(20)}, 40),
        # Outlay 36 / 1.25 = 28.80, so 7.20 is wanted: profits -0.80, 5.20, 7.20, 6.20: 0.26 a day at 50.
        ("most profit a day", {"least_profit": None, "least_return": D("0.25")}, 50),
        # Nothing paid: profits 28, 34, 36, 35: 2.80 a day at 40.
        ("most profit a day", {"least_profit": None, "least_return": None}, 40),
        # Nothing asked beyond break-even, so only the best asking price does not lose.
        ("most profit a day", {"least_profit": D(0)}, 60),
        ("dearest in time", {"wanted_chance": D("0.55")}, 60),
        ("dearest in time", {"wanted_chance": D("0.30")}, 70),
        ("dearest in time", {"wanted_chance": D("0.85")}, 50),
        ("dearest in time", {"wanted_chance": D("0.99")}, 40),  # none is in time: the quickest
        ("dearest in time", {}, 60),  # the rule is off: an even chance
    ],
)
def test_each_objective_by_hand(objective: str, rules: dict[str, Decimal | None], ask: float) -> None:
    assert chosen(outcome(), objective, **rules) == ask


def test_the_three_differ_on_one_outcome() -> None:
    found = [chosen(outcome(), one, wanted_chance=D("0.40")) for one in OBJECTIVES]
    assert found == [60, 50, 70]


@pytest.mark.parametrize("objective", OBJECTIVES)
def test_the_wanted_chance_limits_every_objective(objective: str) -> None:
    assert chosen(outcome(), objective, wanted_chance=D("0.90")) == 40
    slow = outcome(sold=(0.2, 0.15, 0.1, 0.05))  # none is quick enough, so all count
    assert chosen(slow, objective, wanted_chance=D("0.90")) == {"dearest in time": 40, "most profit a day": 50}.get(
        objective, 60
    )


def test_a_certain_loss_is_not_stretched_over_more_days() -> None:
    """Nothing is left after 2.00 of labour: -1, -1.50, -3, -4 in 10 to 90 days; the smallest loss is the cheapest."""
    assert chosen(outcome(net=(1.0, 0.5, -1.0, -2.0)), "most profit a day") == 40


def test_dearer_cash_leaves_profit_a_day_as_it_is_and_makes_most_profit_quicker() -> None:
    dear = dataclasses.replace(TERMS, capital_rate=D(3))
    assert chosen(outcome(), "most profit", dear) == 50  # 36 - 3 x 20/365 x 38 = 29.75; 38 - 18.74 = 19.26; 30 - 3.12
    assert chosen(outcome(), "most profit a day", dear) == chosen(outcome(), "most profit a day")


def test_items_are_chosen_for_one_by_one() -> None:
    first, second = outcome(), outcome(net=(40.0, 36.0, 30.0, 20.0))
    both = Outcome(
        **{one.name: np.vstack([getattr(first, one.name), getattr(second, one.name)])
           for one in dataclasses.fields(Outcome)}
    )  # fmt: skip
    assert choose(both, TERMS, Rules(wanted_chance=None)).tolist() == [2, 0]


def test_the_setting_moves_the_asking_price_and_no_shelf_price_does(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "data.sqlite3"))
    samples = Path(__file__).parent.parent / "sample_comps"
    load_file(store, samples / "spring_sales.csv", name="spring_sales.csv")
    refit(store)
    code = store.read("SELECT p.style_code FROM product p JOIN comp c ON c.product_id = p.id WHERE p.style_code <> ''"
                      " GROUP BY p.id ORDER BY count(*) DESC LIMIT 1")[0][0]  # fmt: skip
    asks = {}
    for objective in OBJECTIVES:
        text = to_toml(default_settings()).replace('objective = "most profit"', f'objective = "{objective}"')
        save_settings(store, from_toml(text), "test")
        assert load_settings(store).for_category("").rules.objective == objective
        found = {check(store, Query(code=code, shelf_price=price)).asking_price for price in (None, D(1), D(90))}
        assert len(found) == 1
        asks[objective] = found.pop()
    assert all(asks.values())
    assert asks["most profit a day"] <= asks["most profit"] <= asks["dearest in time"]  # type: ignore[operator]
    assert asks["most profit a day"] < asks["dearest in time"]  # type: ignore[operator]
