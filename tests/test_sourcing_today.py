"""What to do today: against the plan, chances from here, prices moved and moved back, own listings as evidence."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import Decimal as D
from pathlib import Path

import numpy as np
import pytest

from sourcing import haul, history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps.load import load_file
from sourcing.comps.undo import undo_batch
from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.fitting import keep_up
from sourcing.listed import sells_from_here
from sourcing.outcomes.mark import is_own
from sourcing.settings import Settings, load_settings
from sourcing.settings_edit import with_values
from sourcing.stock import ledger, moves, sales, shelf
from sourcing.stock.bring import bring
from sourcing.stock.item import StockItem
from sourcing.storage import Store
from sourcing.today import cash, fed
from sourcing.today.ahead import BEST, TOO_LITTLE, from_today
from sourcing.today.board import DEAREST, OLDEST, board
from sourcing.today.day import day
from sourcing.today.move import MOST_AT_ONCE, move

TODAY = date.today()


@pytest.fixture
def store(sampled: Callable[[Path], Store], tmp_path: Path) -> Iterator[Store]:
    store = sampled(tmp_path / "comps.db")
    store.read("PRAGMA synchronous=OFF")
    yield store
    store.close()


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def stocked(store: Store, count: int, each: int = 1) -> list[StockItem]:
    """Bring so many sample styles into stock, bought long ago at 6.99."""
    number = haul.start(store, "Tannery Row")
    taken = 0
    for (code,) in store.read("SELECT style_code FROM product WHERE style_code <> '' ORDER BY id"):
        verdict = check(store, Query(code=code, shelf_price=D("6.99")))
        if verdict.asking_price is not None and taken < count:
            haul.take(store, history.record(store, verdict), each)
            taken += 1
    bring(store, number)
    with store.write_rows() as raw:
        raw.execute("UPDATE stock_item SET bought_on = bought_on - 400")
    return sorted(shelf.find(store, limit=1000), key=lambda item: item.id)


def listed(store: Store, item: StockItem, days: int, *asked: tuple[int, str]) -> StockItem:
    """List a piece so many days ago; asked: (days ago, price) of later changes."""
    price = D(asked[0][1]) if asked else D(item.forecast["asking_price"])
    moves.list_(store, [item.id], price, ago(days))
    for when, text in asked[1:]:
        moves.ask(store, [item.id], D(text), ago(when))
    return shelf.get(store, item.id)


def kept(store: Store) -> Settings:
    return load_settings(store)


class TestBoard:
    def test_against_the_plan_by_hand(self, store: Store) -> None:
        """Cuts of 10 % on day 30 and 20 % on day 60, given up on day 120: the plan of a fresh install."""
        items = stocked(store, 6)
        listed(store, items[0], 29, (29, "50.00"))  # nothing is due yet
        listed(store, items[1], 40, (40, "50.00"))  # 10 days late
        listed(store, items[2], 40, (40, "50.00"), (9, "45.00"))  # cut as planned
        listed(store, items[3], 75, (75, "50.00"), (40, "45.00"))  # the second cut is 15 days late
        listed(store, items[4], 75, (75, "50.00"))  # both are missing: since day 30
        listed(store, items[5], 150, (150, "50.00"), (40, "30.00"))  # cheap enough, but over since 30 days
        found = board(store, kept(store), TODAY)
        assert found.due.tolist() == [-1, 10, -1, 15, 45, -1]
        assert found.over.tolist() == [-1, -1, -1, -1, -1, 30]
        assert found.planned.tolist() == [5000, 4500, 4500, 4000, 4000, 4000]
        assert found.late.tolist() == [False, True, False, True, True, True]
        assert [items.index(one) for one in items] == list(range(6))
        assert found.chosen().tolist()[:4] == [4, 5, 3, 1]
        assert found.chosen(OLDEST).tolist() == [5, 3, 4, 1, 2, 0]
        assert found.chosen(late_only=True).tolist() == [4, 5, 3, 1]
        assert sorted(found.chosen(DEAREST).tolist()) == list(range(6))
        with pytest.raises(BadInput, match="“cheapest” is no order"):
            found.chosen("cheapest")

    def test_pages(self, store: Store) -> None:
        items = stocked(store, 5)
        for at, item in enumerate(items):
            listed(store, item, 10 + at)
        first = day(store, kept(store), TODAY, order=OLDEST, per_page=2)
        assert (first.listed, first.pages, [line.ahead.item.id for line in first.lines]) == (
            5, 3, [items[4].id, items[3].id],
        )  # fmt: skip
        last = day(store, kept(store), TODAY, order=OLDEST, page=99, per_page=2)
        assert (last.page, [line.ahead.item.id for line in last.lines]) == (3, [items[0].id])

    def test_nothing_listed(self, store: Store) -> None:
        found = day(store, kept(store), TODAY)
        assert (found.listed, found.pages, found.lines) == (0, 1, ())


class TestAhead:
    def test_chances_are_those_of_the_single_item(self, store: Store) -> None:
        """Beside `sells_from_here`, which works one item out by itself on the day of the newest comp."""
        item = listed(store, stocked(store, 1)[0], 40, (40, "80.00"), (12, "70.00"))
        as_of = store.read("SELECT max(max(coalesce(ended, listed, 0)), max(coalesce(seen, 0))) FROM comp")[0][0]
        then = date(1970, 1, 1) + timedelta(days=int(as_of))
        assert item.listing is not None
        with store.write_rows() as raw:
            shift = (TODAY - then).days
            asked = [[(one.on - date(1970, 1, 1)).days - shift, int(one.price * 100)] for one in item.listing.asked]
            raw.execute("UPDATE stock_listing SET asked = ?", (str(asked),))
        (found,) = from_today(store, [shelf.get(store, item.id)], kept(store), then)
        query = Query(code=item.style_code, size=item.size, condition=item.condition)
        single = sells_from_here(store, query, [(0, D(80)), (28, D(70))], 40)
        assert single is not None
        assert found.chances == pytest.approx(single.chances, abs=2e-3)

    def test_a_bargain_is_told_to_ask_more(self, store: Store) -> None:
        """Asked less than half of what its verdict named, it gains by asking more, at a smaller chance of a sale."""
        item = stocked(store, 1)[0]
        cheap = (D(item.forecast["asking_price"]) * D("0.45")).quantize(D("0.01"))
        free = with_values(kept(store), [("default", "", {**kept(store).default, "wanted_chance": None})])
        (found,) = from_today(store, [listed(store, item, 20, (20, str(cheap)))], free, TODAY)
        assert found.move is not None
        assert found.move.to > cheap * D("1.3")
        assert found.move.low <= found.move.gain <= found.move.high
        assert found.move.gain > 0
        assert found.after[30] < found.chances[30]
        # At that price it is best left.
        moves.ask(store, [item.id], found.move.to, TODAY)
        (again,) = from_today(store, [shelf.get(store, item.id)], free, TODAY)
        assert again.move is None
        assert again.why == BEST

    def test_without_anything_to_go_on(self, store: Store) -> None:
        item = stocked(store, 1)[0]
        with store.write_rows() as raw:
            raw.execute("UPDATE stock_item SET gtin = '', style_code = '', title = 'no such thing', brand = 'nobody', "
                        "category = 'unheard of', what = 'no such thing'")  # fmt: skip
        (found,) = from_today(store, [listed(store, item, 5, (5, "20.00"))], kept(store), TODAY)
        assert (found.why, found.chances, found.move) == (TOO_LITTLE, {}, None)


class TestMove:
    def test_several_at_once_and_back(self, store: Store) -> None:
        items = stocked(store, 3)
        for item in items:
            listed(store, item, 40, (40, "60.00"))
        before = store.read("SELECT * FROM stock_listing ORDER BY id")
        number = move(store, {items[0].id: D("51.00"), items[2].id: D("44.50")}, TODAY, "tap")
        assert move(store, {items[0].id: D("51.00"), items[2].id: D("44.50")}, TODAY, "tap") == number  # sent twice
        asking = [item.listing.asking_price for item in shelf.some(store, [one.id for one in items]) if item.listing]
        assert asking == [D("51.00"), D("60.00"), D("44.50")]
        back = ledger.undo(store, number)
        assert store.read("SELECT * FROM stock_listing ORDER BY id") == before
        ledger.undo(store, back)
        assert shelf.get(store, items[0].id).listing.asking_price == D("51.00")  # type: ignore[union-attr]

    def test_two_moves_on_one_day_are_one_price(self, store: Store) -> None:
        item = listed(store, stocked(store, 1)[0], 40, (40, "60.00"))
        move(store, {item.id: D(50)}, TODAY)
        move(store, {item.id: D(48)}, TODAY)
        listing = shelf.get(store, item.id).listing
        assert listing is not None
        assert [one.price for one in listing.asked] == [D(60), D(48)]

    @pytest.mark.parametrize(
        ("prices", "on", "message", "kind"),
        [
            ({}, TODAY, "No piece was chosen", BadInput), ({1: D(0)}, TODAY, "asking price is 0", BadInput),
            ({1: D("9.999")}, TODAY, "more than two decimals", BadInput),
            ({99: D(9)}, TODAY, "no piece number 99", NotFound),
            ({2: D(9)}, TODAY, "cannot have its price cut", Refused),
            ({1: D(9)}, ago(50), "cannot be cut on", BadInput),
            (dict.fromkeys(range(MOST_AT_ONCE + 1), D(9)), TODAY, "501 pieces at once", BadInput),
            ({1: D(60)}, TODAY, "^$", BadInput),
        ],
    )  # fmt: skip
    def test_what_cannot_be(
        self, store: Store, prices: dict[int, D], on: date, message: str, kind: type[SourcingError]
    ) -> None:
        items = stocked(store, 2)
        listed(store, items[0], 40, (40, "60.00"))
        if message == "^$":  # asking the same again is a day's confirmation, no error
            assert move(store, prices, on) > 0
            return
        before = store.read("SELECT * FROM stock_listing")
        with pytest.raises(kind, match=message):
            move(store, prices, on)
        assert store.read("SELECT * FROM stock_listing") == before


class TestEvidence:
    def _own(self, store: Store) -> list[tuple[int, int | None, int | None, int]]:
        """Own comps: status, asked, sold, whether it counts."""
        rows = store.read("SELECT status, ask, sold, out, note FROM comp ORDER BY note")
        return [(status, ask, sold, out) for status, ask, sold, out, note in rows if is_own(note)]

    def test_each_listing_is_told_once_as_it_stands(self, store: Store) -> None:
        items = stocked(store, 3)
        for item in items:
            listed(store, item, 40, (40, "60.00"))
        told = fed.feed(store, TODAY)
        assert told is not None
        assert (told.open, told.ended, told.sold) == (3, 0, 0)
        assert self._own(store) == [(0, 6000, None, 0)] * 3
        assert fed.feed(store, TODAY) is None  # nothing changed
        moves.ask(store, [items[0].id], D(50), TODAY)
        moves.take_down(store, [items[1].id], TODAY)
        sales.sell(store, items[2].id, D("57.00"), TODAY)
        told = fed.feed(store, TODAY)
        assert told is not None
        assert (told.open, told.ended, told.sold) == (1, 1, 1)
        assert self._own(store) == [(0, 5000, None, 0), (2, 6000, None, 0), (1, 6000, 5700, 0)]
        loads = store.read("SELECT COUNT(*) FROM batch WHERE file_name = ?", (fed.NAME,))
        assert loads == [(1,)]

    def test_a_day_later_it_was_unsold_a_day_longer(self, store: Store) -> None:
        listed(store, stocked(store, 1)[0], 40, (40, "60.00"))
        fed.feed(store, ago(1))
        seen = "SELECT seen FROM comp WHERE note LIKE 'own listing%'"
        before = store.read(seen)[0][0]
        fed.feed(store, TODAY)
        assert store.read(seen) == [(before + 1,)]
        assert fed.last_fed(store) == TODAY

    def test_a_channel_s_file_of_the_same_listing_does_not_double_it(self, store: Store, tmp_path: Path) -> None:
        item = listed(store, stocked(store, 1)[0], 40, (40, "61.00"))
        fed.feed(store, TODAY)
        export = tmp_path / "export.csv"
        export.write_text(
            f"style_code,status,asking_price,listed_on\n{item.style_code},open,61.00,{ago(40)}\n"
        )  # fmt: skip
        load_file(store, export, as_of=TODAY)
        rows = store.read("SELECT COUNT(*) FROM comp WHERE ask = 6100 AND status = 0 AND out = 0")
        assert rows == [(1,)]

    def test_undone_it_stays_out_until_asked_for(self, store: Store) -> None:
        listed(store, stocked(store, 1)[0], 40, (40, "60.00"))
        told = fed.feed(store, TODAY)
        assert told is not None
        undo_batch(store, told.batch_id)
        assert self._own(store) == []
        assert fed.feed(store, TODAY) is None
        assert self._own(store) == []
        assert fed.feed(store, TODAY, asked=True) is not None
        assert len(self._own(store)) == 1

    def test_learning_brings_it_in(self, store: Store) -> None:
        listed(store, stocked(store, 1)[0], 40, (40, "60.00"))
        keep_up(store)
        assert len(self._own(store)) == 1

    def test_a_piece_s_own_listing_says_nothing_in_its_own_forecast(self, store: Store) -> None:
        """Told exactly it may not count again as a comp; a second piece's listing of the same style does count."""
        first, second = stocked(store, 1, each=2)
        item = listed(store, first, 60, (60, "75.00"))
        (before,) = from_today(store, [item], kept(store), TODAY)
        fed.feed(store, TODAY)
        (after,) = from_today(store, [item], kept(store), TODAY)
        assert after == before
        listed(store, second, 90, (90, "75.00"))
        fed.feed(store, TODAY)
        (then,) = from_today(store, [item], kept(store), TODAY)
        assert then.chances != before.chances


class TestCash:
    @pytest.mark.published
    def test_littles_law_on_a_sample_path(self) -> None:
        """Stays (0,3) (1,4) (2,7) (5,6) (6,10) on [0, 10]: lambda 0.5, L 1.6, W 3.2 (sample-path form, Little 2011)."""
        found = cash.stay_of([(0, 3), (1, 4), (2, 7), (5, 6), (6, 10)], 0, 10)
        assert found is not None
        assert (found.held, found.left, found.mean_days) == (pytest.approx(1.6), 5, pytest.approx(3.2))

    def test_littles_law_on_a_simulated_stock(self) -> None:
        """Four years of buying and selling, stays drawn around 37 days: the law tells them from counts alone."""
        rng = np.random.default_rng(11)
        bought = np.sort(rng.integers(0, 1460, 6000))
        stays = np.maximum(np.rint(rng.gamma(1.5, 37 / 1.5, 6000)), 1).astype(int)
        rows = [(int(day), int(day + length) if day + length <= 1460 else None)
                for day, length in zip(bought, stays, strict=True)]  # fmt: skip
        found = cash.stay_of(rows, 365, 1460)
        assert found is not None
        assert found.mean_days == pytest.approx(stays.mean(), rel=0.03)

    @pytest.mark.published
    def test_own_curve_is_kaplan_meier_s(self, store: Store) -> None:
        """The 6-MP times as listings: half sold by day 23; 9 of 21 sold (Freireich et al. 1963)."""
        time = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
        sold = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
        with store.write_rows() as raw:
            raw.executemany(
                "INSERT INTO stock_listing (item_id, channel, asked, ended_on, how) VALUES (1, '', ?, ?, ?)",
                [("[[20000, 5000]]", 20000 + days, "sold" if event else "taken down")
                 for days, event in zip(time, sold, strict=True)],
            )  # fmt: skip
        found = cash.own_curve(store, TODAY)
        assert found is not None
        assert (found.listings, found.sold, found.half) == (21, 9, 23)
        assert dict(found.points)[13.0] == pytest.approx(1 - 0.690196, abs=5e-7)
        assert found.points[-1] == (35.0, pytest.approx(1 - 0.448179, abs=5e-7))

    def test_cash_by_age(self, store: Store) -> None:
        items = stocked(store, 3)
        with store.write_rows() as raw:
            for item, days in zip(items, (30, 31, 500), strict=True):
                raw.execute("UPDATE stock_item SET bought_on = ? WHERE id = ?",
                            ((ago(days) - date(1970, 1, 1)).days, item.id))  # fmt: skip
        listed(store, items[0], 5)
        moves.give_up(store, [items[2].id], TODAY)
        ages = cash.by_age(store, TODAY)
        assert [age.pieces for age in ages] == [1, 1, 0, 0, 0]
        assert ages[0].by_state == (("listed", 1, items[0].landed_cost),)
        assert ages[1].by_state == (("to prep", 1, items[1].landed_cost),)
