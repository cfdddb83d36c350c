"""Limits: the highest shelf price at which each rule holds; the lowest is the most worth paying."""

from __future__ import annotations

import dataclasses
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import settings as run
from hypothesis import strategies as st

from sourcing.answer import Limit
from sourcing.limits import Outlook, decide, limits
from sourcing.purchase import Discounts, Step
from sourcing.retail import most_to_pay
from sourcing.rules import Rules
from sourcing.terms import Terms

D = Decimal
CENT = D("0.01")
NONE = Rules(least_profit=None, least_return=None, wanted_chance=None, most_loss_chance=None, least_comps=None)
FREE = Terms(hourly_value=D(0), capital_rate=D(0))
SLACK = 1e-6 + 1e-9  # a limit is held to a millionth


def most(found: tuple[Limit, ...], rule: str) -> Decimal | None:
    return next(limit.most for limit in found if limit.rule == rule)


def test_by_hand() -> None:
    """Net 60, labour 2, cash held at 20 % for 73 days, so 1.04 of the landed cost; loss quantile 33.2."""
    terms = Terms(hourly_value=D(20), capital_rate=D("0.20"))
    rules = Rules(D(6), D("0.25"), 60, D("0.5"), D("0.35"), D(1))
    found = limits(rules, terms, Outlook(60.0, 73.0, 0.7, 33.2, 5.0), D("30.00"))
    assert [(limit.rule, limit.most, limit.holds) for limit in found] == [
        ("least_profit", D("50.00"), True),  # (60 - 2 - 6) / 1.04
        ("least_return", D("44.96"), True),  # (60 - 2) / (1.04 + 0.25) = 44.961
        ("wanted_chance", None, True),
        ("most_loss_chance", D("30.00"), True),  # (33.2 - 2) / 1.04
    ]
    assert decide(found, D("30.00")) == ("buy", "most_loss_chance", D("30.00"))
    assert decide(found, D("30.01")) == ("pass", "most_loss_chance", D("30.00"))
    assert decide(found, None) == ("buy", "most_loss_chance", D("30.00"))


@pytest.mark.published
def test_maximum_buy_price() -> None:
    """c = p (1 - f) - x - t: 62.50 at 20 % with charges 8 and profit 12 is 30.00 (Levy & Weitz)."""
    net = float(most_to_pay(D("62.50"), D(8), D("0.20")))
    found = limits(dataclasses.replace(NONE, least_profit=D(12)), FREE, Outlook(net, 0.0, None, 0.0, 1.0), None)
    assert most(found, "least_profit") == D("30.00")


def test_binary_rounding_takes_no_cent() -> None:
    rules = dataclasses.replace(NONE, least_profit=D("0.10"))
    for units in range(1, 3000):
        net = units / 100 + 0.1  # 30.1 - 0.1 is 30.000000000000004 or 29.999999999999996, not 30
        found = limits(rules, FREE, Outlook(net, 0.0, None, 0.0, 1.0), None)
        assert most(found, "least_profit") == D(units) / 100


def test_numpy_figures_are_taken() -> None:
    found = limits(
        Rules(), Terms(), Outlook(np.float64(50), np.float64(20), np.float64(0.9), np.float64(40), 3.0), D(1)
    )
    assert all(limit.holds for limit in found)


def test_a_chance_too_small_fails_at_every_price_and_one_not_known_binds_at_none() -> None:
    rules = dataclasses.replace(NONE, wanted_chance=D("0.5"))
    fails = limits(rules, FREE, Outlook(50.0, 10.0, 0.49, 40.0, 1.0), D(1))
    assert decide(fails, D(1)) == ("pass", "wanted_chance", 0)
    assert decide(fails, D(0))[0] == "pass"
    assert not fails[0].holds
    assert "49\xa0%" in fails[0].meaning
    assert limits(rules, FREE, Outlook(50.0, 10.0, None, 40.0, 1.0), D(1)) == ()
    holds = limits(rules, FREE, Outlook(50.0, 10.0, 0.5, 40.0, 1.0), D(1))
    assert holds[0].most is None
    assert holds[0].holds


def test_nothing_left_is_a_pass_at_any_price() -> None:
    found = limits(Rules(), Terms(), Outlook(-4.0, 30.0, 0.9, -9.0, 5.0), D("0.00"))
    assert decide(found, D("0.00")) == ("pass", "least_profit", 0)


def test_meanings_carry_their_figures() -> None:
    found = limits(Rules(D("8.5"), D("0.25"), 45, D("0.6"), D("0.35")), Terms(), Outlook(60.0, 30, 0.8, 50.0, 3), None)
    words = " ".join(limit.meaning for limit in found)
    for figure in ("8.50", "25\xa0%", "45 days", "60\xa0%", "80\xa0%", "35\xa0%"):
        assert figure in words


rules_on = st.builds(
    Rules,
    least_profit=st.decimals(0, 30, places=2),
    least_return=st.decimals(0, 2, places=2),
    target_days=st.just(60),
    wanted_chance=st.none(),
    most_loss_chance=st.just(D("0.35")),
)
terms = st.builds(
    Terms,
    purchase_tax=st.decimals(0, "0.3", places=4),
    store_discount=st.decimals(0, "0.8", places=2).map(Discounts.of_share),
    list_minutes=st.decimals(0, 30, places=1),
    hourly_value=st.decimals(0, 50, places=2),
    capital_rate=st.decimals(0, 1, places=2),
)
outlooks = st.builds(
    Outlook,
    mean_net=st.floats(-20, 300),
    tied_days=st.floats(0, 300),
    chance_by_target=st.none(),
    loss_net=st.floats(-20, 300),
    evidence=st.just(3.0),
)


def slack_of(rule: str, rules: Rules, deal: Terms, outlook: Outlook, shelf: Decimal) -> float:
    """Say by how much a rule holds at a shelf price, from its definition: 0 or more is held."""
    landed = float(deal.landed(shelf))
    spent = landed * (1 + float(deal.capital_rate) * outlook.tied_days / 365) + float(deal.labour())
    profit = outlook.mean_net - spent
    if rule == "least_profit":
        return profit - float(rules.least_profit or 0)
    if rule == "least_return":
        return profit - float(rules.least_return or 0) * landed
    return outlook.loss_net - spent  # the loss quantile still covers what was spent


@given(rules_on, terms, outlooks)
def test_at_the_limit_every_rule_holds_and_a_cent_more_breaks_the_binding_one(
    rules: Rules, deal: Terms, outlook: Outlook
) -> None:
    decision, binding, limit = decide(limits(rules, deal, outlook, None), None)
    assert limit is not None
    assume(limit > 0)
    assert decision == "buy"
    for rule in ("least_profit", "least_return", "most_loss_chance"):
        assert slack_of(rule, rules, deal, outlook, limit) >= -SLACK * 4
    assert slack_of(binding, rules, deal, outlook, limit + CENT) < SLACK * 4
    assert decide(limits(rules, deal, outlook, limit), limit)[0] == "buy"
    assert decide(limits(rules, deal, outlook, limit + CENT), limit + CENT)[:2] == ("pass", binding)


@given(
    rules_on, terms, outlooks, st.floats(0, 50),
    st.sampled_from(["mean_net", "loss_net", "tied_days", "capital_rate", "hourly_value", "purchase_tax",
                     "store_discount", "least_profit", "least_return"]),
)  # fmt: skip
def test_every_limit_moves_one_way_with_every_input(
    rules: Rules, deal: Terms, outlook: Outlook, step: float, name: str
) -> None:
    changed: dict[str, object] = {"rules": rules, "deal": deal, "outlook": outlook}
    part = next(key for key, one in changed.items() if hasattr(one, name))
    before = getattr(changed[part], name)
    if isinstance(before, Discounts):
        after = Discounts(*before.steps, Step(D(f"{step:.2f}"), share=False))
    else:
        after = before + (D(f"{step:.2f}") if isinstance(before, D) else step)
    changed[part] = dataclasses.replace(changed[part], **{name: after})  # type: ignore[type-var]
    lower = limits(rules, deal, outlook, None)
    higher = limits(changed["rules"], changed["deal"], changed["outlook"], None)  # type: ignore[arg-type]
    if name not in ("mean_net", "loss_net", "store_discount"):
        lower, higher = higher, lower
    for one, other in zip(lower, higher, strict=True):
        assert one.most is not None
        assert other.most is not None
        assert one.most <= other.most


@run(max_examples=2500, deadline=None)  # four rules: 10,000 cases
@pytest.mark.parametrize("rule", ["least_profit", "least_return", "most_loss_chance", "wanted_chance"])
@given(st.data())
def test_the_most_worth_paying_is_where_each_rule_flips_to_the_cent(rule: str, data: st.DataObject) -> None:
    value = D(data.draw(st.integers(1, 3000))) / 100
    deal = Terms(
        purchase_tax=D(data.draw(st.integers(0, 3000))) / 10000,
        resale_exemption=data.draw(st.sampled_from(["no", "no", "yes"])),
        store_discount=Discounts(
            *(Step(D(data.draw(st.integers(0, 60))) / 100, data.draw(st.booleans())) for _ in range(2))
        ),
        list_minutes=D(data.draw(st.integers(0, 300))) / 10,
        capital_rate=D(data.draw(st.integers(0, 100))) / 100,
    )
    chance = data.draw(st.integers(0, 100)) / 100
    outlook = Outlook(
        data.draw(st.integers(-2000, 30000)) / 100, data.draw(st.integers(0, 300)), chance,
        data.draw(st.integers(-2000, 30000)) / 100, 3.0,
    )  # fmt: skip
    on = {"least_profit": value, "least_return": value / 10, "most_loss_chance": D("0.35"), "wanted_chance": D("0.5")}
    rules = dataclasses.replace(NONE, **{rule: on[rule]})
    decision, _, limit = decide(limits(rules, deal, outlook, None), None)
    if rule == "wanted_chance":
        assert (limit, decision) == ((None, "buy") if chance >= 0.5 else (D(0), "pass"))
        return
    assert limit is not None
    if limit == 0:
        assert decision == "pass"
        assert slack_of(rule, rules, deal, outlook, CENT) < SLACK * 4 or deal.landed(CENT) == 0
        return
    assert slack_of(rule, rules, deal, outlook, limit) >= -SLACK * 4
    assert slack_of(rule, rules, deal, outlook, limit + CENT) < SLACK * 4
    assert decide(limits(rules, deal, outlook, limit), limit)[0] == "buy"
    assert decide(limits(rules, deal, outlook, limit + CENT), limit + CENT)[:2] == ("pass", rule)


@given(rules_on, terms, outlooks, st.decimals(0, 300, places=2), st.decimals("0.01", 50, places=2))
def test_what_holds_at_a_price_holds_at_every_lower_one(
    rules: Rules, deal: Terms, outlook: Outlook, shelf: Decimal, less: Decimal
) -> None:
    dear, cheap = (limits(rules, deal, outlook, price) for price in (shelf, max(shelf - less, D(0))))
    for above, below in zip(dear, cheap, strict=True):
        assert below.holds or not above.holds
