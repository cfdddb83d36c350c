"""Other settings at once: what flips is what asking again would say, and no forecast is made for rules alone."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from sourcing import cases, haul, history, rejudge
from sourcing.answer import Query
from sourcing.check import check, forget
from sourcing.comps import load_file
from sourcing.comps.lookup import known_codes
from sourcing.fitting import refit
from sourcing.purchase import Discounts
from sourcing.settings import Settings, default_settings, load_settings, save_settings, undo_settings
from sourcing.storage import Store, open_store

SAMPLES = Path(__file__).parent.parent / "sample_comps"
PRICES = ("3.00", "8.50", "14.99", "22.00", "39.00")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """Sample comps and sixty checks of them: five prices, passes and buys, one unknown, one without a price."""
    store = open_store(str(tmp_path_factory.mktemp("rejudge") / "data.sqlite3"))
    load_file(store, SAMPLES / "spring_sales.csv", name="spring_sales.csv")
    refit(store)
    codes = [code for code in known_codes(store) if not code.isdigit()]
    for place, code in enumerate(codes[:: max(1, len(codes) // 58)][:58]):
        price = Decimal(PRICES[place % len(PRICES)])
        discount = Discounts.parse("30%") if place % 7 == 0 else None
        history.record(store, check(store, Query(code=code, shelf_price=price, discount=discount)))
    history.record(store, check(store, Query(code="ZZ999-XYZ", shelf_price=Decimal(10))))
    history.record(store, check(store, Query(code=codes[0])))
    return store


def with_default(**values: Any) -> Settings:
    plain = default_settings()
    return replace(plain, default={**plain.default, **values})


CHANGES: dict[str, dict[str, Any]] = {
    "nothing": {},
    "least profit": {"least_profit": Decimal("14.00")},
    "least profit off": {"least_profit": None, "least_return": None},
    "chance of loss": {"most_loss_chance": Decimal("0.10")},
    "chance wanted": {"wanted_chance": Decimal("0.85")},
    "days": {"target_days": 21},
    "evidence": {"least_comps": Decimal("2.5")},
    "objective": {"objective": "dearest in time"},
    "profit a day": {"objective": "most profit a day", "least_profit": Decimal("20.00")},
    "tax and labour": {"purchase_tax": Decimal("0.09"), "hourly_value": Decimal("30.00")},
    "cash": {"capital_rate": Decimal("0.90")},
    "supplies": {"supplies": Decimal("6.00")},
    "plan": {"give_up_day": 70, "salvage": Decimal("0.20")},
}
RULES_ALONE = [name for name in CHANGES if name not in ("supplies", "plan")]


@pytest.mark.parametrize("name", CHANGES)
def test_it_says_what_asking_each_again_would(store: Store, name: str) -> None:
    settings = with_default(**CHANGES[name])
    checks, _ = rejudge.kept_cases(store)
    assert len(checks.cases) == 60
    for case, standing in zip(checks.cases, checks.standings(settings), strict=True):
        verdict = check(store, case.query, settings)
        asked = (verdict.decision, verdict.most_worth_paying, verdict.profit_after_labour)
        assert (standing.decision, standing.most, standing.profit(case.query)) == asked, case
        if verdict.decision != "too little to go on":
            assert (standing.rule, standing.limits) == (verdict.binding_rule, _plain(verdict.limits)), case


def _plain(found: Any) -> Any:
    """Return limits as a list has them; a single check writes the amounts in their meaning the locale's way."""
    return tuple(replace(limit, meaning=limit.meaning.replace("$", "")) for limit in found)


@pytest.mark.parametrize("name", RULES_ALONE)
def test_rules_alone_forecast_nothing(store: Store, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    checks, _ = rejudge.kept_cases(store)
    checks.standings(checks.settings)

    def forecast(*_: Any) -> Any:
        raise AssertionError("a rule is no reason to forecast")

    monkeypatch.setattr(cases, "prospects_of", forecast)
    checks.standings(with_default(**CHANGES[name]))


def test_terms_of_one_category_forecast_that_category_alone(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    checks, _ = rejudge.kept_cases(store)
    plain, seen, real = default_settings(), [], cases.prospects_of
    shoes = {**plain.categories["shoes"], "supplies": Decimal(9)}

    def forecast(*values: Any) -> Any:
        found = real(*values)
        seen.extend(prospect.base.item.category.casefold() for prospect in found)
        return found

    monkeypatch.setattr(cases, "prospects_of", forecast)
    checks.standings(replace(plain, categories={**plain.categories, "shoes": shoes}))
    assert set(seen) == {"shoes"}


def test_flips_name_the_rules_that_bound_and_bind(store: Store) -> None:
    change = rejudge.change(store, with_default(least_profit=Decimal("30.00")))
    assert change.checks == 60
    assert change.flips
    for flip in change.flips:
        assert (flip.before.decision, flip.after.decision) == ("buy", "pass")
        assert flip.now.startswith("Expected profit of at least $30.00, ")
        assert flip.after.most is not None
        assert flip.case.query.shelf_price is None or flip.case.query.shelf_price > flip.after.most
    strict = rejudge.change(store, with_default(least_comps=Decimal(40)))
    assert any("40 are asked for" in flip.now for flip in strict.flips)
    assert rejudge.change(store, default_settings()).flips == ()


def test_effects_count_what_deciding_without_the_rule_gives(store: Store) -> None:
    checks, _ = rejudge.kept_cases(store)
    settings = with_default(least_profit=Decimal("16.00"), least_comps=Decimal("0.5"))
    standings = checks.standings(settings)
    found = rejudge.effects(standings)
    off = {rule: checks.standings(with_default(**{
        "least_profit": Decimal("16.00"), "least_comps": Decimal("0.5"), rule: None,
    })) for rule in ("least_profit", "least_return", "most_loss_chance", "least_comps")}  # fmt: skip
    for rule, others in off.items():
        total = sum((one[rule] for one in found.values()), rejudge.Effect())
        turned = sum(was.decision != "buy" == now.decision for was, now in zip(standings, others, strict=True))
        assert (total.checks, total.buys_without) == (60, turned), rule
        assert total.binds == sum(one.rule == rule and one.outlook is not None for one in standings)
    assert sum(one["least_profit"].buys_without for one in found.values()) > 0


def test_the_haul_in_hand_is_judged_too(store: Store) -> None:
    forget()
    buys = [one for one in history.recent(store, 60) if one.decision == "buy" and one.shelf_price is not None][:3]
    haul.start(store, "a test")
    lines = [haul.take(store, one.id, 2) for one in buys]
    change = rejudge.change(store, with_default(least_profit=Decimal(400)))
    assert (change.taken, len(change.haul_flips)) == (3, 3)
    assert change.haul_profit[0] == change.haul_profit[1] == haul.current(store).profit_after_labour
    dearer = rejudge.change(store, with_default(supplies=Decimal("2.75")))
    assert dearer.haul_profit[1] < dearer.haul_profit[0]
    haul.undo(store, lines[0])
    assert rejudge.change(store, default_settings()).taken == 2
    haul.redo(store, lines[0])
    assert rejudge.change(store, default_settings()).taken == 3
    haul.close(store)
    assert rejudge.change(store, default_settings()).taken == 0


def test_what_is_kept_follows_the_settings_and_the_checks(store: Store) -> None:
    first, _ = rejudge.kept_cases(store)
    assert rejudge.kept_cases(store)[0] is first
    save_settings(store, with_default(least_profit=Decimal(1)), "a test")
    assert rejudge.kept_cases(store)[0].settings == load_settings(store)
    undo_settings(store)
    history.record(store, check(store, Query(title="a check that came later")))
    checks, _ = rejudge.kept_cases(store)
    assert checks.cases[0].query.title == "a check that came later"


def test_a_check_that_can_no_longer_be_asked_is_left_out(store: Store) -> None:
    asked = [cases.Case(1, "one", Query(code="95212")), cases.Case(2, "two", Query(title="ridge shoe"))]
    asked.append(cases.Case(3, "three", Query(code="9521234567890")))  # its check digit is wrong
    found = cases.Cases(store, asked, default_settings())
    assert [case.check_id for case in found.cases] == [1, 2]
    assert len(found.standings(default_settings())) == 2
