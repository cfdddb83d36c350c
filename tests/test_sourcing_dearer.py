"""Why a dearer asking price that would bring more was not chosen is said where it is the reason, and only there."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from sourcing.answer import Query
from sourcing.check import check
from sourcing.dearer import Ask, passed_over, passed_over_then
from sourcing.rules import A_DAY, PROFIT, Rules
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store
from sourcing.whatif import what_if

D = Decimal
RULES = Rules(wanted_chance=D("0.50"), target_days=60)
CODE = "WE804-175"


def ask(price: str, brings: str, chance: float | None, *, chosen: bool = False) -> Ask:
    return Ask(D(price), D(brings), chance, chosen)


CHEAPER, CHOSEN = ask("90", "50", 0.56), ask("100", "54", 0.51, chosen=True)


@pytest.mark.parametrize(
    ("asks", "said"),
    [
        ([CHEAPER, CHOSEN, ask("110", "57", 0.45)], True),
        ([CHEAPER, CHOSEN, ask("110", "53", 0.45)], False),  # the chosen one brings most
        ([CHEAPER, CHOSEN, ask("110", "57", 0.50)], False),  # it meets the rule: the cost of cash kept it out
        ([ask("90", "55", 0.40), CHOSEN, ask("110", "57", 0.45)], False),  # a cheaper one too: no dearer one is it
        ([ask("90", "50", 0.45), ask("100", "54", 0.4, chosen=True), ask("110", "57", 0.3)], False),  # none meets it
        ([CHEAPER, ask("100", "54", None, chosen=True), ask("110", "57", None)], False),
        ([CHEAPER, ask("110", "57", 0.45)], False),
    ],
)
def test_it_is_said_where_the_rule_kept_them_out(asks: list[Ask], said: bool) -> None:
    words = passed_over(asks, PROFIT, RULES, str)
    assert bool(words) is said
    assert all(number in words for number in ("100", "60 days", "50")) is said


def test_it_is_not_said_of_another_aim_or_with_the_rule_off() -> None:
    asks = [CHEAPER, CHOSEN, ask("110", "57", 0.45)]
    assert passed_over(asks, A_DAY, RULES, str) == ""
    assert passed_over(asks, PROFIT, replace(RULES, wanted_chance=None), str) == ""


@pytest.fixture(scope="module")
def store(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    store = sampled(tmp_path_factory.mktemp("dearer") / "data.db")
    yield store
    store.close()


def under(settings: Settings, **rules: object) -> Settings:
    return replace(settings, default={**settings.default, **rules})


def test_without_the_rule_a_dearer_one_is_chosen(store: Store) -> None:
    """The engine itself is the judge: what is said to be the reason is taken away, and the choice moves up."""
    settings = load_settings(store)
    kept = json.loads(json.dumps(check(store, Query(code=CODE, shelf_price=D(9))).as_dict()))
    rules = settings.for_category(kept["item"]["category"]).rules
    words = passed_over_then(kept, rules, str)
    assert words == what_if(store, Query(code=CODE, shelf_price=D(9)), settings).why_best.replace("$", "")
    assert f"{rules.target_days} days" in words
    free = what_if(store, Query(code=CODE, shelf_price=D(9)), under(settings, wanted_chance=None))
    assert free.why_best == ""
    assert free.best_ask is not None
    assert free.best_ask > D(kept["asking_price"])


def test_of_an_answer_kept_it_is_said_only_while_the_rule_reads_as_then(store: Store) -> None:
    settings = load_settings(store)
    kept = json.loads(json.dumps(check(store, Query(code=CODE, shelf_price=D(9))).as_dict()))
    rules = settings.for_category(kept["item"]["category"]).rules
    assert passed_over_then(kept, rules, str)
    for changed in (replace(rules, target_days=61), replace(rules, wanted_chance=D("0.49"))):
        assert passed_over_then(kept, changed, str) == ""
    assert passed_over_then({"item": {}}, rules, str) == ""
