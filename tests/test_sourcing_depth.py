"""How many of the same item to take: rules copy by copy, words, and the page and JSON that show them."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import lxml.html
import numpy as np
import pytest
import web_examples
from supposed import at_others

from models.depth import Copies
from sourcing import history
from sourcing.answer import Query, Verdict
from sourcing.check import check, check_json, check_list
from sourcing.comps import load_file
from sourcing.depth import ASSUMES, MOST_COPIES, copy_bounds, with_copies
from sourcing.fitting import refit
from sourcing.purchase import Discounts
from sourcing.rules import Rules
from sourcing.settings import load_settings
from sourcing.storage import Store, open_store
from sourcing.terms import Terms
from web.app import create_app

D = Decimal
SAMPLES = Path(__file__).parent.parent / "sample_comps"
TERMS = Terms(
    list_minutes=D("5.5"), pack_minutes=D(2), hourly_value=D(12), capital_rate=D("0.73")
)  # labour 2.00; a day costs 0.2 %
RULES = Rules(least_profit=D(8), least_return=None)
# At a shelf price of 20: 46 - 2 - 20 x 1.1 = 22, 40 - 2 - 20 x 1.2 = 14, 34 - 2 - 20 x 1.25 = 7.
COPIES = Copies(
    np.array([[46.0, 40.0, 34.0, 33.0]]), np.array([[50.0, 100.0, 125.0, 130.0]]), np.array([[0.9, 0.7, 0.5, 0.4]])
)


def judged(shelf: str | None, rules: Rules = RULES, decision: str = "buy", most: str = "32.72") -> Verdict:
    price = None if shelf is None else D(shelf)
    verdict = web_examples.verdict(
        query=Query(code="FWR1042", shelf_price=price), landed_cost=price, decision=decision, most_worth_paying=D(most),
        depth=(), worth_taking=None, depth_words="", depth_assumes="",
    )  # fmt: skip
    return with_copies(verdict, copy_bounds(COPIES, 0, TERMS, rules, None), TERMS, lambda amount: f"${amount}")


def test_each_copy_by_hand() -> None:
    found = judged("20.00")
    assert [copy.profit for copy in found.depth] == [D("22.00"), D("14.00"), D("7.00"), D("5.80")]
    # (46 - 2 - 8) / 1.1 = 32.72, (40 - 10) / 1.2 = 25, (34 - 10) / 1.25 = 19.20, (33 - 10) / 1.26 = 18.25.
    assert [copy.most for copy in found.depth] == [D("32.72"), D("25.00"), D("19.20"), D("18.25")]
    assert [copy.worth_it for copy in found.depth] == [True, True, False, False]
    assert found.worth_taking == 2
    assert found.depth_words == (
        "Take up to 2: the 1st brings $22.00, the 2nd $14.00. The 3rd would bring $7.00, too little for your rules."
    )
    assert "buyers come one after another" in found.depth_assumes
    assert "other sellers' stock does not change" in found.depth_assumes


@pytest.mark.parametrize(
    ("shelf", "count"), [("32.72", 1), ("25.01", 1), ("25.00", 2), ("19.20", 3), ("18.25", 4), ("0.00", 4)]
)
def test_the_highest_price_of_each_number(shelf: str, count: int) -> None:
    assert judged(shelf).worth_taking == count


def test_the_least_return_counts_too() -> None:
    """At 20: returns of 22/20, 14/20, 7/20, 5.80/20; a half is wanted of each."""
    both = replace(RULES, least_profit=D(1), least_return=D("0.5"))
    assert judged("20.00", both).worth_taking == 2
    assert judged("20.00", replace(both, least_return=None)).worth_taking == 4


def test_a_pass_takes_none_and_no_other_rule_is_overridden() -> None:
    found = judged("20.00", decision="pass", most="15.00")  # another rule, such as the chance of a loss, decides
    assert found.worth_taking == 0
    assert found.depth_words == "Take none."
    assert all(copy.most is not None and copy.most <= 15 for copy in found.depth)


def test_the_dearest_price_never_rises_with_the_number() -> None:
    """A copy that would do by itself counts only with all before it."""
    copies = Copies(np.array([[40.0, 20.0, 50.0]]), np.full((1, 3), 10.0), np.full((1, 3), 0.5))
    found = with_copies(judged("20.00"), copy_bounds(copies, 0, TERMS, RULES, None), TERMS)
    assert [copy.worth_it for copy in found.depth] == [True, False, False]


def test_without_a_shelf_price_each_number_has_its_highest_price() -> None:
    found = judged(None)
    assert found.worth_taking is None
    assert found.depth_words == ""
    assert [copy.most for copy in found.depth] == [D("32.72"), D("25.00"), D("19.20"), D("18.25")]
    assert {copy.profit for copy in found.depth} == {None}


def test_words_for_one_for_many_and_for_all() -> None:
    assert judged("30.00").depth_words.startswith("Take 1: the 1st brings $11.00. The 2nd would bring $2.00")
    assert judged("10.00").depth_words == (
        "Take up to 4: the 1st brings $33.00, the 2nd $26.00, and so on to the 4th $18.40. "
        "More may be worth it too; this looks no further than 4."
    )


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = open_store(str(tmp_path_factory.mktemp("depth") / "data.sqlite3"))
    load_file(store, SAMPLES / "spring_sales.csv", name="spring_sales.csv")
    refit(store)
    return store


@pytest.fixture(scope="module")
def bought(store: Store) -> list[Verdict]:
    codes = [row[0] for row in store.read("SELECT style_code FROM product WHERE style_code <> '' LIMIT 80")]
    asked = [check(store, Query(code=code, shelf_price=D("6.00"))) for code in codes]
    found = [one for one in asked if one.decision == "buy"]
    assert len(found) > 10
    return found


def test_the_first_copy_is_the_verdict_itself(bought: list[Verdict]) -> None:
    for one in bought:
        assert len(one.depth) == MOST_COPIES
        first = one.depth[0]
        assert first.expected_proceeds == one.expected_proceeds
        assert first.profit == one.profit_after_labour
        assert first.most == one.most_worth_paying


def test_further_copies_sell_later_and_less_surely(bought: list[Verdict]) -> None:
    for one in bought:
        sold = [copy.chance_sold for copy in one.depth]
        days = [copy.days for copy in one.depth]
        assert sold == sorted(sold, reverse=True)
        assert days == sorted(days)
        assert one.worth_taking == sum(copy.worth_it for copy in one.depth)
        assert one.worth_taking >= 1
    assert len({one.worth_taking for one in bought}) > 1


def test_the_price_changes_the_count_and_not_the_forecast(store: Store, bought: list[Verdict]) -> None:
    code, last = bought[0].query.code, bought[0].depth[2].most
    assert last is not None
    at, above = (check(store, Query(code=code, shelf_price=price)) for price in (last, last + D("0.01")))
    assert at.worth_taking is not None
    assert above.worth_taking is not None
    assert at.worth_taking >= 3 > above.worth_taking
    assert [copy.expected_proceeds for copy in at.depth] == [copy.expected_proceeds for copy in above.depth]


def test_the_json_written_in_parts_is_the_whole_verdict(store: Store, bought: list[Verdict]) -> None:
    """Every field, for buys and passes, with and without a price, a discount, a category and any comps."""
    settings = load_settings(store)
    queries = [
        Query(code=one.query.code, shelf_price=price) for one in bought[:8] for price in (D("6.00"), D("55.50"), None)
    ]
    queries += [replace(queries[0], discount=Discounts.parse("25%")),
                Query(brand="nobody", category="shoes", shelf_price=D(9)),
                Query(code="9-NOTHING-9", shelf_price=D(9))]  # fmt: skip
    decisions, shown = set(), set()
    for query in queries:
        verdict = check(store, query)
        written = json.loads(check_json(store, query, settings))
        beside = written.pop("at_others")
        assert written == verdict.as_dict()
        there = at_others(store, query, verdict.as_dict(), settings)
        assert beside == (there and {
            "asking_price": str(verdict.sale_price.mid),
            **{name: there[name] for name in ("decision", "binding_rule", "most_worth_paying")},
        })  # fmt: skip
        shown.add(beside is not None)
        decisions.add(verdict.decision)
    assert decisions == {"buy", "pass", "too little to go on"}
    assert shown == {True, False}


def test_the_chance_of_loss_is_that_of_the_list(store: Store, bought: list[Verdict]) -> None:
    """Singles sum it up in plain floats, lists in arrays."""
    queries = [replace(one.query, shelf_price=price) for one in bought for price in (D("3.00"), D("19.99"), D("60.00"))]
    listed = check_list(store, queries)
    chances = [check(store, query).chance_of_loss for query in queries]
    assert chances == pytest.approx([one.chance_of_loss for one in listed], abs=1e-4)
    assert min(chances) < 0.3
    assert max(chances) > 0.7


def test_lists_and_unknown_items_carry_none(store: Store, bought: list[Verdict]) -> None:
    assert check_list(store, [bought[0].query])[0].depth == ()
    unknown = check(store, Query(code="ZZ999-XYZ", shelf_price=D(10)))
    assert unknown.depth == ()
    assert unknown.worth_taking is None


def test_page_and_json(tmp_path: Path) -> None:
    app = create_app(tmp_path / "comps.db")
    own = app.extensions["sourcing"].store
    for verdict, shown in ((web_examples.verdict(), 1), (web_examples.passing(), 0), (web_examples.unknown(), 0)):
        html = lxml.html.fromstring(app.test_client().get(f"/check/{history.record(own, verdict)}").text)
        cards = html.xpath("//details[summary='How many to take']")
        assert len(cards) == shown
        for card in cards:
            words = " ".join(card.text_content().split())
            assert verdict.depth_words in words
            assert ASSUMES in words
            assert [one.text for one in card.xpath(".//tbody//th/small")] == ["take", "take", "leave"]
    open_price = judged(None)
    html = lxml.html.fromstring(app.test_client().get(f"/check/{history.record(own, open_price)}").text)
    rows = html.xpath("//details[summary='How many to take']//tbody/tr")
    assert [row.xpath("td")[-1].text for row in rows] == ["$32.72", "$25.00", "$19.20", "$18.25"]
    own.close()
    plain = web_examples.verdict().as_dict()
    assert plain["depth"][1] == {
        "number": 2, "expected_proceeds": "42.80", "days": 52, "chance_sold": 0.69, "profit": "9.40", "most": "25.10",
        "worth_it": True,
    }  # fmt: skip
    assert plain["worth_taking"] == 2
