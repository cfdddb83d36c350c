"""Stock and its ledger: each move, what it refuses, and that any sequence of actions can be taken back."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal as D
from pathlib import Path

import pytest
import web_examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sourcing import haul, history
from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.stock import ledger, moves, parts, sales, shelf
from sourcing.stock.bring import bring, waiting
from sourcing.stock.item import GIVEN_UP, LISTED, READY, RETURNED, SOLD, TO_PREP
from sourcing.storage import Store, open_store

DAY = date(2030, 3, 1)  # after any purchase of these tests


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(str(tmp_path / "comps.db"))
    store.read("PRAGMA synchronous=OFF")
    yield store
    store.close()


def _haul(store: Store, *counts: int) -> int:
    """A haul of so many pieces a line, each landed at 26.74."""
    number = haul.start(store, "Tannery Row")
    for count in counts:
        haul.take(store, history.record(store, web_examples.verdict()), count)
    return number


def _ids(store: Store) -> list[int]:
    return sorted(item.id for item in shelf.find(store, limit=1000))


def _brought(store: Store, *counts: int) -> list[int]:
    bring(store, _haul(store, *counts))
    return _ids(store)


def _dump(store: Store) -> dict[str, list[tuple[object, ...]]]:
    """How things stand, without the ledger."""
    return {
        table: sorted(store.read(f"SELECT * FROM {table}"), key=repr)
        for table in ("stock_item", "stock_listing", "stock_sale")
    }


class TestBring:
    def test_every_piece_of_a_line_is_one_item_with_the_forecast_of_then(self, store: Store) -> None:
        ids = _brought(store, 3, 1)
        assert len(ids) == 4
        item = shelf.get(store, ids[0])
        assert (item.state, item.store, item.landed_cost) == (TO_PREP, "Tannery Row", D("26.74"))
        answer = web_examples.verdict()
        assert D(item.forecast["expected_proceeds"]) == answer.expected_proceeds
        assert item.what == answer.item.label

    def test_a_haul_is_brought_in_once(self, store: Store) -> None:
        number = _haul(store, 2)
        bring(store, number)
        with pytest.raises(Refused, match="Nothing of this haul is left"):
            bring(store, number)

    def test_brought_in_again_after_an_undo(self, store: Store) -> None:
        number = _haul(store, 2)
        ledger.undo(store, bring(store, number))
        assert not _ids(store)
        bring(store, number)
        assert len(_ids(store)) == 2

    def test_lines_put_back_on_the_shelf_are_not_brought_in(self, store: Store) -> None:
        number = _haul(store, 2, 1)
        haul.undo(store, haul.current(store).items[0].id)
        bring(store, number)
        assert len(_ids(store)) == 2

    def test_without_a_price_paid_it_says_which_and_stores_nothing(self, store: Store) -> None:
        number = _haul(store, 1)
        haul.take(store, history.record(store, web_examples.unknown()))
        with pytest.raises(Refused, match="What was paid for"):
            bring(store, number)
        assert not _ids(store)
        assert not ledger.actions(store)

    def test_pieces_that_went_into_a_lot_are_not_brought_in_again(self, store: Store) -> None:
        number = _haul(store, 1, 1)
        bring(store, number)
        joined = parts.join(store, _ids(store), "lot of two")
        assert not waiting(store)
        with pytest.raises(Refused, match="Nothing of this haul is left"):
            bring(store, number)
        ledger.undo(store, joined)
        ledger.undo(store, 1)
        assert [(one.haul_id, one.pieces) for one in waiting(store)] == [(number, 2)]
        bring(store, number)
        assert len(_ids(store)) == 2

    def test_a_haul_without_a_name_takes_one_along(self, store: Store) -> None:
        number = haul.start(store)
        haul.take(store, history.record(store, web_examples.verdict()))
        with pytest.raises(BadInput, match="81 characters"):
            bring(store, number, place="x" * 81)
        bring(store, number, place=" Tannery  Row ")
        assert shelf.stores(store) == ["Tannery Row"]

    def test_no_such_haul(self, store: Store) -> None:
        with pytest.raises(NotFound):
            bring(store, 99)

    def test_a_tap_sent_twice_brings_once(self, store: Store) -> None:
        number = _haul(store, 2)
        assert bring(store, number, "tap") == bring(store, number, "tap")
        assert len(_ids(store)) == 2


class TestALife:
    def test_from_prep_to_a_sale_a_return_and_a_second_sale(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        day = shelf.get(store, one).bought_on
        moves.prepare(store, [one])
        moves.list_(store, [one], D("60.00"), day + timedelta(2), "main")
        moves.ask(store, [one], D("54.00"), day + timedelta(30))
        listed = shelf.get(store, one)
        assert listed.listing is not None
        assert [price for _, price in listed.listing.asked] == [D("60.00"), D("54.00")]
        sales.sell(store, one, D("54.00"), day + timedelta(40), fees=D("7.32"))
        sold = shelf.get(store, one)
        assert (sold.state, sold.ended_on) == (SOLD, day + timedelta(40))
        assert sold.listing is not None
        assert (sold.listing.how, sold.listing.ended_on) == ("sold", day + timedelta(40))
        sales.correct(store, one, postage=D("8.90"))
        sales.take_back(store, one, D("54.00"), day + timedelta(50), D("9.10"))
        back = shelf.get(store, one)
        assert (back.state, back.ended_on, back.landed_cost) == (RETURNED, None, D("26.74"))
        moves.list_(store, [one], D("50.00"), day + timedelta(51))
        sales.sell(store, one, D("48.00"), day + timedelta(60))
        first, second = shelf.sales_of(store, [one])[one]
        assert (first.fees, first.postage, first.refunded, first.return_cost) == (
            D("7.32"), D("8.90"), D("54.00"), D("9.10"))  # fmt: skip
        assert (first.stands, second.stands, second.paid, first.channel) == (False, True, D("48.00"), "main")
        assert len(shelf.listings_of(store, one)) == 2

    def test_two_prices_on_one_day_count_as_the_later(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        day = shelf.get(store, one).bought_on
        moves.list_(store, [one], D("60.00"), day)
        moves.ask(store, [one], D("58.00"), day)
        listing = shelf.get(store, one).listing
        assert listing is not None
        assert [(one.on, one.price) for one in listing.asked] == [(day, D("58.00"))]

    def test_taken_down_and_given_up(self, store: Store) -> None:
        one, two = _brought(store, 2)
        day = shelf.get(store, one).bought_on
        moves.list_(store, [one, two], D("60.00"), day)
        moves.take_down(store, [one], day + timedelta(9))
        moves.give_up(store, [two], day + timedelta(120), D("5.00"))
        assert shelf.get(store, one).state == READY
        assert shelf.listings_of(store, one)[0].how == "taken down"
        given = shelf.get(store, two)
        assert (given.state, given.got, given.listing and given.listing.how) == (GIVEN_UP, D("5.00"), "given up")

    def test_a_boxful_at_once_is_one_action(self, store: Store) -> None:
        ids = _brought(store, 20)
        before = _dump(store)
        action = moves.prepare(store, ids)
        assert {item.state for item in shelf.find(store)} == {READY}
        ledger.undo(store, action)
        assert _dump(store) == before


class TestPrices:
    def test_listed_at_the_price_each_forecast_named_and_cut_by_a_share(self, store: Store) -> None:
        ids = _brought(store, 3)
        day = shelf.get(store, ids[0]).bought_on
        named = D(shelf.get(store, ids[0]).forecast["asking_price"])
        moves.list_(store, ids, None, day)
        moves.ask(store, ids[:1], D("33.35"), day + timedelta(1))
        done = moves.cut(store, ids, D("0.10"), day + timedelta(7))
        assert [one.listing and one.listing.asking_price for one in (shelf.get(store, i) for i in ids)] == [
            D("30.02"), *[(named * D("0.9")).quantize(D("0.01"))] * 2]  # fmt: skip
        assert ledger.items_of(store, done) == ids
        ledger.undo(store, done)
        assert [one.asking_price for one in shelf.listings_of(store, ids[0])] == [D("33.35")]

    def test_a_story_has_cuts_and_corrections_too(self, store: Store) -> None:
        one, other = _brought(store, 2)
        day = shelf.get(store, one).bought_on
        moves.list_(store, [one, other], D(60), day)
        moves.ask(store, [one], D(50), day)
        sales.sell(store, one, D(50), day)
        sales.correct(store, one, fees=D("6.50"))
        told = [action.kind for action in ledger.actions(store, item_id=one)]
        assert told == ["sale corrected", "sold", "cut", "listed", "brought in"]
        assert [action.kind for action in ledger.actions(store, item_id=other)] == ["listed", "brought in"]

    def test_what_a_return_costs(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        day = shelf.get(store, one).bought_on
        sales.sell(store, one, D(50), day, fees=D("6.50"), postage=D(8))
        (sale,) = shelf.sales_of(store, [one])[one]
        assert sale.left == D("35.50")
        sales.take_back(store, one, D(50), day, D("9.10"))
        (sale,) = shelf.sales_of(store, [one])[one]
        assert sale.left == D("-23.60")  # fees, both ways

    @pytest.mark.parametrize("off", ["0", "1", "-0.1", "0.9999"])
    def test_cuts_that_cannot_be(self, store: Store, off: str) -> None:
        (one,) = _brought(store, 1)
        day = shelf.get(store, one).bought_on
        moves.list_(store, [one], D("0.20"), day)
        with pytest.raises(BadInput):
            moves.cut(store, [one], D(off), day)

    def test_no_price_where_none_was_forecast(self, store: Store) -> None:
        ids = _brought(store, 2)
        lot = parts.join(store, ids, "lot")
        with pytest.raises(BadInput, match="No asking price was forecast for lot"):
            moves.list_(store, ledger.items_of(store, lot), None, DAY)


class TestParts:
    def test_a_split_shares_the_cost_to_the_cent(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        parts.split(store, one, ["left", "right", "box"])
        found = shelf.find(store)
        assert sorted(item.landed_cost for item in found) == [D("8.91"), D("8.91"), D("8.92")]  # 26.74 in three
        assert {item.part_of for item in found} == {one}
        with pytest.raises(NotFound):
            shelf.get(store, one)

    def test_a_lot_costs_what_its_pieces_did(self, store: Store) -> None:
        ids = _brought(store, 3)
        action = parts.join(store, ids, "lot of three")
        (lot,) = shelf.find(store)
        assert (lot.landed_cost, lot.what) == (D("80.22"), "lot of three")
        ledger.undo(store, action)
        assert _ids(store) == ids

    def test_what_was_listed_is_not_split(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        day = shelf.get(store, one).bought_on
        moves.list_(store, [one], D(60), day)
        moves.take_down(store, [one], day)
        with pytest.raises(Refused, match="listed or sold before"):
            parts.split(store, one, ["a", "b"])


class TestRefusals:
    def test_each_names_what_is_wrong_and_changes_nothing(self, store: Store) -> None:
        one, two = _brought(store, 2)
        day = shelf.get(store, one).bought_on
        moves.list_(store, [two], D(60), day + timedelta(5))
        sales.sell(store, one, D(40), day)
        before, told = _dump(store), len(ledger.actions(store))
        early = day - timedelta(1)
        for expected, match, wrong in (
            (Refused, "is sold and cannot be sold", lambda: sales.sell(store, one, D(40), day)),
            (BadInput, "it was bought on", lambda: sales.sell(store, two, D(40), early)),
            (BadInput, "it was listed on", lambda: sales.sell(store, two, D(40), day)),
            (BadInput, "more than the 40.00", lambda: sales.take_back(store, one, D("40.01"), day)),
            (BadInput, "it was sold on", lambda: sales.take_back(store, one, D(40), early)),
            (Refused, "is listed and cannot come back", lambda: sales.take_back(store, two, D(4), day)),
            (BadInput, "asking price is 0", lambda: moves.ask(store, [two], D(0), day)),
            (BadInput, "more than two decimals", lambda: moves.ask(store, [two], D("1.234"), day + timedelta(9))),
            (BadInput, "cannot be an amount", lambda: sales.sell(store, two, D(-1), day)),
            (BadInput, "cannot be an amount", lambda: sales.sell(store, two, D("1e9"), day)),
            (BadInput, "No piece was chosen", lambda: moves.prepare(store, [])),
            (NotFound, "no piece number 999", lambda: moves.prepare(store, [two, 999])),
            (Refused, "is listed and cannot be marked", lambda: moves.prepare(store, [two])),
            (BadInput, "it was last priced on|it was listed on", lambda: moves.ask(store, [two], D(9), day)),
            (BadInput, "2 to 50 parts", lambda: parts.split(store, two, ["a"])),
            (BadInput, "several pieces", lambda: parts.join(store, [two, two], "lot")),
            (BadInput, "Nothing would change", lambda: moves.put_in(store, [two], "")),
        ):
            with pytest.raises(expected, match=match):
                wrong()
        assert (_dump(store), len(ledger.actions(store))) == (before, told)


class TestUndo:
    def test_not_over_a_later_change(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        day = shelf.get(store, one).bought_on
        first = moves.list_(store, [one], D(60), day)
        moves.ask(store, [one], D(50), day + timedelta(3))
        with pytest.raises(Refused, match="changed since"):
            ledger.undo(store, first)

    def test_undone_twice_is_refused_and_a_redo_brings_it_back_with_its_number(self, store: Store) -> None:
        ids = _brought(store, 2)
        action = ledger.actions(store)[0].id
        back = ledger.undo(store, action)
        with pytest.raises(Refused, match="undone already"):
            ledger.undo(store, action)
        ledger.undo(store, back)
        assert _ids(store) == ids
        assert [one.undone for one in ledger.actions(store)] == [False, True, False]
        ledger.undo(store, action)
        assert not _ids(store)

    def test_no_such_action(self, store: Store) -> None:
        with pytest.raises(NotFound):
            ledger.undo(store, 7)

    def test_the_ledger_is_only_appended_to(self, store: Store) -> None:
        (one,) = _brought(store, 1)
        moves.prepare(store, [one])
        kept = store.read("SELECT * FROM stock_change ORDER BY action_id, place")
        told = store.read("SELECT * FROM stock_action ORDER BY id")
        ledger.undo(store, ledger.actions(store)[0].id)
        assert store.read("SELECT * FROM stock_change ORDER BY action_id, place")[: len(kept)] == kept
        assert store.read("SELECT * FROM stock_action ORDER BY id")[: len(told)] == told


def _step(store: Store, chance: random.Random) -> int | None:
    """Do something at random; None where it was refused."""
    ids = _ids(store)
    some = chance.sample(ids, min(len(ids), chance.randint(1, 3))) if ids else []
    one = some[0] if some else 0
    day = DAY + timedelta(days=chance.randint(0, 300))
    price = D(chance.randint(1, 9999)).scaleb(-2)
    told = [action for action in ledger.actions(store, 10) if action.kind != "brought in"]
    doings = (
        lambda: moves.prepare(store, some, ready=chance.random() < 0.7),
        lambda: moves.list_(store, some, price, day),
        lambda: moves.ask(store, some, price, day),
        lambda: moves.take_down(store, some, day),
        lambda: moves.give_up(store, some, day, price),
        lambda: sales.sell(store, one, price, day, fees=price),
        lambda: sales.take_back(store, one, price, day),
        lambda: sales.correct(store, one, postage=price),
        lambda: parts.split(store, one, ["a", "b"]),
        lambda: parts.join(store, some, "lot"),
        lambda: moves.put_in(store, some, chance.choice("ABC")),
        lambda: ledger.undo(store, chance.choice(told).id if told else 0),
    )
    try:
        return chance.choice(doings)()
    except SourcingError:
        return None


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1))
def test_any_sequence_can_be_taken_back_and_costs_always_add_up(tmp_path: Path, seed: int) -> None:
    store = open_store(str(tmp_path / f"{seed}.db"))
    try:
        store.read("PRAGMA synchronous=OFF")
        bring(store, _haul(store, 3, 2))
        start, bought = _dump(store), sum(item.landed_cost for item in shelf.find(store))
        chance, done = random.Random(seed), []
        for _ in range(40):
            made = _step(store, chance)
            if made is not None:
                done.append((made, _dump(store)))
            assert sum(one.landed for one in shelf.held(store)) == bought
        while done:
            made, _ = done.pop()
            ledger.undo(store, made)
            assert _dump(store) == (done[-1][1] if done else start)
    finally:
        store.close()


def test_readers_of_a_piece_see_the_states_of_the_sample(store: Store) -> None:
    ids = _brought(store, 4)
    day = shelf.get(store, ids[0]).bought_on
    moves.list_(store, ids[:2], D(60), day)
    assert [item.id for item in shelf.find(store, state=LISTED)] == [ids[1], ids[0]]
    assert [(one.state, one.pieces) for one in shelf.held(store)] == [(TO_PREP, 2), (LISTED, 2)]
    assert [item.id for item in shelf.find(store, after=ids[2], limit=1)] == [ids[1]]
    assert not shelf.find(store, words="100%_ no such")
    assert len(shelf.find(store, words="tannery row")) == 4


def test_a_busy_store_refuses_in_plain_words(store: Store, tmp_path: Path) -> None:
    (one,) = _brought(store, 1)
    other = sqlite3.connect(tmp_path / "comps.db", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        store.read("PRAGMA busy_timeout=50")
        with pytest.raises(SourcingError):
            moves.prepare(store, [one])
    finally:
        other.close()


def test_a_second_copy_keeps_what_was_forecast_of_a_second_one(store: Store) -> None:
    _brought(store, 3)
    told = [item.forecast for item in sorted(shelf.find(store), key=lambda one: one.id)]
    depth = web_examples.verdict().depth
    wanted = [depth[min(at, len(depth) - 1)].expected_proceeds for at in range(3)]
    assert [D(one["expected_proceeds"]) for one in told] == wanted
    assert wanted[1] < wanted[0]
    assert [one.get("copy") for one in told] == [None, 2, 3]


def test_so_does_the_same_item_taken_again_on_the_run(store: Store) -> None:
    _brought(store, 1, 2)
    told = [item.forecast.get("copy") for item in sorted(shelf.find(store), key=lambda one: one.id)]
    assert told == [None, 2, 3]
