"""The break-even table says of every line what a check of that item says, and takes one pass."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from sourcing.answer import Query
from sourcing.check import check
from sourcing.errors import BadInput
from sourcing.ladder import CONDITION, GROUPS, SIZE, SORTS, Ladder, Wanted, as_row, in_words, ladder
from sourcing.purchase import Discounts
from sourcing.settings import default_settings, from_toml, load_settings
from sourcing.storage import Store


@pytest.fixture(scope="module")
def store(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    store = sampled(tmp_path_factory.mktemp("ladder") / "data.db")
    yield store
    store.close()


def made(store: Store, **wanted: object) -> Ladder:
    return ladder(store, load_settings(store), Wanted(**wanted))  # type: ignore[arg-type]


def test_every_line_is_what_a_check_says(store: Store) -> None:
    discount = Discounts.parse("30% then 2.00")
    found = made(store, category="Shoes", discount=discount)
    lines = [one for one in found.lines() if one.style_code]
    assert len(lines) > 50
    for one in lines[::9]:
        alone = check(store, Query(code=one.style_code, discount=discount))
        assert (one.most, one.sale, one.days_50, one.sold, one.newest) == (
            alone.most_worth_paying, alone.sale_price, alone.days_50, alone.comps_sold, alone.newest_comp,
        )  # fmt: skip
        assert one.most is not None
        if one.most > 0:
            flips = [
                check(store, Query(code=one.style_code, discount=discount, shelf_price=price)).decision
                for price in (one.most, one.most + Decimal("0.01"))
            ]
            assert flips == ["buy", "pass"]


def test_every_item_with_comps_has_its_line_and_no_other(store: Store) -> None:
    items = store.read(
        "SELECT count(DISTINCT p.root) FROM product p JOIN comp c ON c.product_id = p.id WHERE c.out = 0"
    )[0][0]
    found = made(store)
    assert len(found.rungs) + len(found.little) == items
    by_category = [made(store, category=name) for name in {one.category for one in (*found.rungs, *found.little)}]
    assert sum(len(one.rungs) + len(one.little) for one in by_category) == items
    assert all(one.known for one in found.rungs)
    assert not any(one.known for one in found.little)
    assert all(one.settle for one in found.little)


@pytest.mark.parametrize("group", [SIZE, CONDITION])
def test_sizes_and_conditions_have_their_own_lines(store: Store, group: str) -> None:
    plain, found = made(store, brand="farrowick"), made(store, brand="Farrowick", group=group)
    assert len(found.rungs) > len(plain.rungs)
    assert found.sold == plain.sold  # an item's comps count once however many lines it has
    one = next(one for one in found.rungs if one.style_code and one.group not in ("", "none named"))
    alone = check(store, Query(code=one.style_code, **{group: one.group}))  # type: ignore[arg-type]
    assert (one.most, one.sale) == (alone.most_worth_paying, alone.sale_price)


def test_orders_and_words(store: Store) -> None:
    found = made(store)
    most = [one.most for one in found.lines(sort="most worth paying") if one.most is not None]
    assert most == sorted(most, reverse=True)
    days = [one.days_50 for one in found.lines(sort="soonest sold")]
    assert [day for day in days if day is not None] == sorted(day for day in days if day is not None)
    assert None not in days[: sum(day is not None for day in days)]
    sold = [one.sold for one in found.lines(sort="best known")]
    assert sold == sorted(sold, reverse=True)
    for sort in SORTS:
        assert sorted(map(str, found.lines(sort=sort))) == sorted(map(str, found.rungs))
    boots = found.lines(find="Boot tarnLow")
    assert 0 < len(boots) < len(found.rungs)
    assert all("boot" in one.label.casefold() and "tarnlow" in one.label.casefold() for one in boots)


def test_it_is_kept_until_something_changes(store: Store) -> None:
    first = made(store, category="shoes")
    assert made(store, category="shoes") is first
    other = from_toml("[default]\nleast_profit = 20\n")
    assert ladder(store, other, Wanted(category="shoes")) is not first
    dearer = {one.style_code: one.most or Decimal(0) for one in first.rungs}
    for one in ladder(store, other, Wanted(category="shoes")).rungs:
        assert (one.most or Decimal(0)) <= dearer[one.style_code] or not one.style_code


def test_rules_in_words_name_what_is_on_alone() -> None:
    plain = in_words(default_settings().for_category("shoes"), None, str)
    assert plain[0] == "expected profit of at least 8.00"
    assert len(plain) == 5
    off = from_toml('[default]\nleast_profit = "off"\npurchase_tax = 0.07\n').for_category("")
    said = in_words(off, Discounts.parse("20%"), str)
    assert not any("expected profit of at least 8" in words for words in said)
    assert said[-2:] == (
        "purchase tax of 7\N{NO-BREAK SPACE}% counted",
        "store discount 20\N{NO-BREAK SPACE}% taken off",
    )


def test_what_there_is_not_is_said(store: Store) -> None:
    with pytest.raises(BadInput, match=", ".join(GROUPS)):
        Wanted(group="colour")
    with pytest.raises(BadInput, match="no order"):
        made(store).lines(sort="colour")
    assert made(store, brand="Nobody").rungs == ()


def test_rows_of_a_file_tell_unknown_lines_apart(store: Store) -> None:
    found = made(store)
    known, little = as_row(found.rungs[0]), as_row(found.little[0])
    assert (known["known"], little["known"]) == ("yes", "too little to go on")
    assert little["most_worth_paying"] == ""
    assert Decimal(known["most_worth_paying"]) == found.rungs[0].most
