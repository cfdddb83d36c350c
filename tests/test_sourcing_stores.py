"""Runs and stores: worked by hand, trips typed and undone, ranking recovered in simulated years, passes judged."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal as D
from pathlib import Path

import pytest
import web_examples
from test_sourcing_books import buy

from benchmarks.stores import score
from sourcing import haul, history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.errors import BadInput, NotFound
from sourcing.prep import watch
from sourcing.settings import default_settings, load_settings
from sourcing.stock import moves, parts, sales, shelf
from sourcing.stock.bring import bring
from sourcing.storage import Store
from sourcing.stores.bring import Brought, of_run, runs
from sourcing.stores.left import left
from sourcing.stores.standing import standing
from sourcing.stores.trip import Told, Trip, save, trip_of, undo

ASKED = default_settings()


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Iterator[Store]:
    store = new_store()
    store.read("PRAGMA synchronous=OFF")
    yield store
    store.close()


def _run(store: Store, pieces: int, place: str = "Tannery Row") -> int:
    """A run of so many pieces, each landed at 26.74, in stock."""
    number = haul.start(store, place)
    haul.take(store, history.record(store, web_examples.verdict()), pieces)
    bring(store, number)
    return number


def _brought(store: Store, run: int) -> Brought:
    found = of_run(store, load_settings(store), run)
    assert found is not None
    return found


class TestTrip:
    def test_typed_taken_over_and_undone(self, store: Store) -> None:
        first, second = _run(store, 1), _run(store, 1, "tannery  row")
        saved = save(store, first, Trip(40, 55, D("36.5")), as_usual=True)
        assert trip_of(store, first).counts == Trip(40, 55, D("36.5"))
        assert trip_of(store, second).counts == Trip(40, 55, D("36.5"))
        own = save(store, second, Trip(shop=20))
        assert trip_of(store, second).counts == Trip(40, 20, D("36.5"))
        assert undo(store, own) == second
        assert undo(store, saved) == first
        assert trip_of(store, second).counts.drive is None
        before = store.read("SELECT * FROM trip")
        undo(store, saved)
        undo(store, saved)
        assert store.read("SELECT id, haul_id, undone_at IS NULL FROM trip") == [
            (row[0], row[1], row[-1] is None) for row in before
        ]

    @pytest.mark.parametrize(
        "trip", [Trip(-1), Trip(drive=1441), Trip(shop=9999), Trip(distance=D("5001")), Trip(distance=D("1.25"))]
    )
    def test_what_cannot_be(self, store: Store, trip: Trip) -> None:
        with pytest.raises(BadInput, match="cannot be"):
            save(store, _run(store, 1), trip)

    def test_no_run_and_no_name(self, store: Store) -> None:
        with pytest.raises(NotFound):
            save(store, 99, Trip(1))
        with pytest.raises(BadInput, match="no name"):
            save(store, _run(store, 1, ""), Trip(1), as_usual=True)


class TestBrought:
    def test_one_run_worked_by_hand(self, store: Store) -> None:
        """Three pieces at 26.74; one sold, one given up, one still to prep; the terms of a fresh install."""
        run = _run(store, 3)
        save(store, run, Trip(30, 60, D("20")))
        one, two, three = sorted(piece.id for piece in shelf.find(store))
        day = shelf.get(store, one).bought_on
        sales.sell(store, one, D("60.00"), day + timedelta(5), fees=D("8.10"), postage=D("7.50"))
        moves.give_up(store, [two], day + timedelta(9), D("5.00"))
        found = _brought(store, run)
        terms = ASKED.for_category(shelf.get(store, one).category).terms
        left = D("60.00") - D("8.10") - D("7.50") - terms.supplies - D("26.74")
        assert D(found.realised).scaleb(-2) == left + D("5.00") - D("26.74")
        forecast = D(shelf.get(store, three).forecast["expected_proceeds"])
        assert D(found.expected).scaleb(-2) == forecast - D("26.74")
        assert D(found.mileage).scaleb(-2) == 20 * D("0.30")
        assert found.profit == D(found.realised + found.expected).scaleb(-2) - D("6.00")
        before = float(terms.clean_minutes + terms.photograph_minutes + terms.list_minutes)
        pack = float(terms.pack_minutes)
        assert found.spent == pytest.approx(90 + 2 * before + pack)
        assert found.to_come == pytest.approx(before + pack)
        assert found.an_hour == round(found.profit * 60 / D(str(round(found.minutes, 3))), 2)
        assert (found.pieces, found.sold, found.in_stock, found.cost) == (3, 1, 1, 3 * 2674)

    def test_fees_not_recorded_are_the_terms(self, store: Store) -> None:
        run = _run(store, 1)
        (one,) = [piece.id for piece in shelf.find(store)]
        item = shelf.get(store, one)
        sales.sell(store, one, D("60.00"), item.bought_on)
        found, terms = _brought(store, run), ASKED.for_category(item.category).terms
        assert D(found.realised).scaleb(-2) == (
            D("60.00") - terms.fee(D("60.00")) - terms.postage - terms.supplies - D("26.74")
        )
        assert found.assumed == 1

    def test_timed_minutes_take_the_place_of_the_terms(self, store: Store) -> None:
        run = _run(store, 2)
        pieces = [piece.id for piece in shelf.find(store)]
        batch = watch.start(store, "clean", items=pieces)
        watch.finish(store, batch, minutes=D(30))
        moves.prepare(store, pieces)
        terms = ASKED.for_category(shelf.get(store, pieces[0]).category).terms
        rest = float(terms.photograph_minutes + terms.list_minutes)
        assert _brought(store, run).spent == pytest.approx(30 + 2 * rest)

    def test_a_lot_of_two_runs_is_shared_out(self, store: Store) -> None:
        first, second = _run(store, 1), _run(store, 1, "Quarry Lane")
        parts.join(store, [piece.id for piece in shelf.find(store)], "lot")
        (lot,) = shelf.find(store)
        sales.sell(store, lot.id, D("100.00"), lot.bought_on, fees=D(0), postage=D(0))
        one, two = _brought(store, first), _brought(store, second)
        assert one.realised + two.realised == 10000 - 5348 - 75
        assert abs(one.realised - two.realised) <= 1
        assert (one.cost, two.cost, one.pieces + two.pieces) == (2674, 2674, 1)
        assert {each.run for each in runs(store, load_settings(store))} == {first, second}

    def test_all_runs_add_up_to_all_pieces(self, store: Store) -> None:
        for place in ("Tannery Row", "Quarry Lane", ""):
            _run(store, 3, place)
        buy(store, date(2027, 1, 1), "10.00")  # of no run
        pieces = [piece for piece in shelf.find(store) if piece.haul_item_id]
        for piece in pieces[:5]:
            sales.sell(store, piece.id, D("51.25"), piece.bought_on, fees=D("7.00"), postage=D("8.00"))
        found = runs(store, load_settings(store))
        assert sum(one.realised for one in found) == 5 * (5125 - 700 - 800 - 75 - 2674)
        assert sum(one.stock_cost for one in found) == 4 * 2674


def _fake(run: int, place: str, day: date, an_hour: float, minutes: float = 180.0) -> Brought:
    told = Told(Trip(40, 50, None), Trip(), Trip(), None)
    return Brought(run, place, day, told, pieces=5, realised=round(an_hour * minutes / 60 * 100), spent=minutes)


class TestStanding:
    def test_nothing_and_too_few(self) -> None:
        assert not standing([], D(18)).enough
        told = standing([_fake(1, "Quarry Lane", date(2027, 1, 1), 30)], D(18))
        assert told.places[0].few
        assert not told.enough

    def test_a_clear_case_is_called_so_and_one_spelling_is_one_store(self) -> None:
        found = [
            _fake(at, name, date(2027, 1, 1) + timedelta(at), 40 + at % 3 if "q" in name.casefold() else 12 + at % 3)
            for at, name in enumerate(["Quarry Lane", "Harbour", "quarry  lane", "Harbour"] * 5)
        ]
        told = standing(found[::-1], D(18))
        assert [(one.name, len(one.runs)) for one in told.places] == [("quarry  lane", 10), ("Harbour", 10)]
        assert told.sure
        assert told.places[0].pays > 0.95 > 0.3 > told.places[1].pays
        assert told.places[0].ahead is not None
        assert told.places[0].ahead > 0.95
        assert told.places[1].ahead is None

    def test_simulated_years_are_recovered_within_their_bands(self) -> None:
        found = score(years=12, first=500)
        assert 0.82 <= found.coverage <= 0.97  # 144 stores: nine in ten within three standard errors
        assert found.error < found.plain_error
        assert abs(found.said - found.right) < 0.13  # 132 pairs
        assert found.best <= found.plain_best + 1.0


class TestLeft:
    def test_a_pass_that_later_sold_well_and_one_that_did_not(
        self, sampled: Callable[[Path], Store], tmp_path: Path
    ) -> None:
        store = sampled(tmp_path / "comps.db")
        settings = load_settings(store)
        newest = store.read("SELECT max(coalesce(ended, listed)) FROM comp WHERE out = 0")[0][0]
        seen_on = datetime(1970, 1, 1, 12, tzinfo=UTC) + timedelta(newest - 200)
        code = store.read(
            "SELECT p.key FROM comp c JOIN product p ON p.id = c.product_id WHERE c.out = 0 AND c.status = 1 "
            "GROUP BY p.id ORDER BY COUNT(*) DESC LIMIT 1"
        )[0][0]
        style = store.read("SELECT style_code FROM product WHERE key = ?", (code,))[0][0]
        for price in ("1.00", "900.00"):
            answer = check(store, Query(code=style, shelf_price=D(price)), settings)
            import dataclasses

            passed = dataclasses.replace(answer, decision="pass")
            history.record(store, passed, seen_on)
        found = left(store, settings)
        assert (len(found.wrong), found.right, found.untold) == (1, 1, 0)
        (one,) = found.wrong
        assert one.shelf_price == D("1.00")
        assert one.later >= 1
        terms = settings.for_category(check(store, Query(code=style), settings).item.category).terms
        assert one.profit == one.brought - terms.landed(D("1.00")) - terms.labour()
        assert found.worth == one.profit
        assert left(store, settings, run=99).told == 0
        store.close()

    def test_without_comps(self, store: Store) -> None:
        assert left(store, load_settings(store)).told == 0
