"""Sales beside what was assumed, files of sales matched to stock, own sales as comps."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal as D
from pathlib import Path

import pytest

from sourcing.errors import BadInput, SourcingError
from sourcing.observations import observe
from sourcing.oddities import odd_words
from sourcing.outcomes.file import read_sales
from sourcing.outcomes.load import record_sales
from sourcing.outcomes.mark import OWN, is_own
from sourcing.outcomes.match import match
from sourcing.outcomes.own import bring_in_line, own_comps, put_back
from sourcing.outcomes.sale import explain, explained_sales
from sourcing.settings import default_settings
from sourcing.stock import ledger, moves, sales, shelf
from sourcing.stock.item import Sale, day_number
from sourcing.storage import Store

BOUGHT, LISTED = date(2026, 3, 1), date(2026, 3, 5)


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Store:
    return new_store()


def _stocked(store: Store, *pieces: dict[str, object]) -> list[int]:
    """Put pieces into stock, listed at 60.00 unless said otherwise."""
    numbers = []
    for at, said in enumerate(pieces, 1):
        asking = said.pop("asking", D("60.00"))
        row = {
            "what": "Fellwander Ridge", "code": "", "gtin": "", "style_code": "FW100", "brand": "Fellwander",
            "category": "shoes", "title": "Fellwander Ridge trail shoe", "size": "9", "condition": "new", "flags": "[]",
            "store": "Tannery Row", "bought_on": day_number(BOUGHT), "landed": 2000,
            "forecast": json.dumps({"asking_price": "60.00"}), "state": "ready", "bin": "", "note": "", **said,
        }  # fmt: skip
        with store.write_rows() as raw:
            marks = ", ".join("?" * len(row))
            raw.execute(f"INSERT INTO stock_item ({', '.join(row)}) VALUES ({marks})", tuple(row.values()))
        numbers.append(at)
        if asking is not None:
            moves.list_(store, [at], D(str(asking)), LISTED, "main")
    return numbers


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "sales.csv"
    path.write_text(text)
    return path


class TestSale:
    def test_the_lines_add_up_to_the_difference_by_hand(self, store: Store) -> None:
        """Planned 60.00 on the first terms: fee 13 % + .30 = 8.10, postage of a shoe box 8.90,
        supplies .75, returns 4 % x (15 % x 60 + 8.90) = .72. Sold for 50.00: fee by the terms 6.80, 7.00 was charged,
        postage 9.00."""
        (number,) = _stocked(store, {})
        sales.sell(store, number, D("50.00"), date(2026, 3, 20), fees=D("7.00"), postage=D("9.00"))
        (one,) = explained_sales(store).sales
        assert [line.difference for line in one.lines] == [
            D("-10.00"), D("1.30"), D("-0.20"), D("-0.10"), D("0.00"), D("0.72"), D("0.00"),
        ]  # fmt: skip
        assert one.assumed == D("60.00") - D("8.10") - D("8.90") - D("0.75") - D("0.72") - D("20.00")
        assert one.actual == D("50.00") - D("7.00") - D("9.00") - D("0.75") - D("20.00")
        assert one.difference == sum((line.difference for line in one.lines), D(0)) == D("-8.28")

    def test_what_is_not_known_yet_is_taken_as_assumed_and_said_so(self, store: Store) -> None:
        (number,) = _stocked(store, {})
        sales.sell(store, number, D("60.00"), date(2026, 3, 20))
        found = explained_sales(store)
        assert found.incomplete == 1
        assert {line.name: line.difference for line in found.sales[0].lines if not line.known} == {
            "Fees, charged otherwise": 0, "Postage": 0, "Supplies": 0,
        }  # fmt: skip

    def test_a_return_is_explained(self, store: Store) -> None:
        (number,) = _stocked(store, {})
        sales.sell(store, number, D("60.00"), date(2026, 3, 20), fees=D("8.10"), postage=D("7.50"))
        sales.take_back(store, number, D("60.00"), date(2026, 3, 28), D("6.00"))
        (one,) = explained_sales(store).sales
        assert next(line for line in one.lines if line.name == "Returns").actual == D("-66.00")

    def test_a_piece_without_a_forecast_is_held_against_its_own_price(self, store: Store) -> None:
        (number,) = _stocked(store, {"forecast": "{}"})
        item = shelf.get(store, number)
        sale = Sale(1, number, date(2026, 3, 20), D("44.00"), None, None, "", None, None, None, "")
        found = explain(item, sale, default_settings().for_category("shoes").terms)
        assert found.lines[0].difference == 0
        assert found.notes


HEAD = "stock label,style code,title,size,sold price,sold on,selling fees,postage cost,payout\n"


class TestFile:
    def test_columns_of_our_own_are_told_by_labels_and_words(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"label": "B7-001"}, {"label": "B7-002"})
        text = (
            HEAD
            + "B7-001,FW100,Ridge,9,55.00,2026-03-20,-7.45,8.00,39.55\n"
            + "B7-002,FW100,Ridge,9,57.00,2026-03-21,-7.71,,41.29\n"
        )
        found = read_sales(store, _file(tmp_path, text), "sales.csv")
        fed = {column.name: column.field for column in found.columns}
        assert fed["stock label"] == "label"
        assert (fed["selling fees"], fed["postage cost"], fed["payout"]) == ("fees", "postage", "net")
        assert (fed["sold price"], fed["sold on"]) == ("sold_price", "ended_on")
        assert [(row.fees, row.postage) for row in found.rows] == [(D("7.45"), D("8.00")), (D("7.71"), D("8.00"))]

    def test_a_column_called_so_is_one_of_labels_though_few_are_in_stock(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"label": "B7-001"})
        text = HEAD + "B7-001,,,,55.00,2026-03-20,7,8,40\nA1,,,,5.00,2026-03-20,1,1,3\nA2,,,,5.00,2026-03-20,1,1,3\n"
        assert read_sales(store, _file(tmp_path, text)).rows[0].label == "B7-001"
        unlike = text.replace("stock label", "remark")
        assert read_sales(store, _file(tmp_path, unlike)).rows[0].label == ""

    def test_the_user_says_otherwise(self, store: Store, tmp_path: Path) -> None:
        text = "a,b,c\nFW100,55.00,2026-03-20\nFW101,57.00,2026-03-21\n"
        said = {"column:0": "style_code", "column:1": "sold_price", "column:2": "ended_on"}
        found = read_sales(store, _file(tmp_path, text), said=said)
        assert [(row.style, row.paid) for row in found.rows] == [("FW100", D("55.00")), ("FW101", D("57.00"))]
        with pytest.raises(BadInput, match="Two columns"):
            read_sales(store, _file(tmp_path, text), said={**said, "column:0": "sold_price"})

    def test_a_bad_row_is_kept_with_what_is_wrong(self, store: Store, tmp_path: Path) -> None:
        text = HEAD + "X,FW100,Ridge,9,55.00,2026-03-20,1,1,53\nX,FW100,Ridge,9,cheap,2026-03-21,1,1,53\n"
        rows = read_sales(store, _file(tmp_path, text)).rows
        assert [bool(row.wrong) for row in rows] == [False, True]


class TestMatch:
    def _matched(self, store: Store, tmp_path: Path, rows: str):  # type: ignore[no-untyped-def]
        return match(store, read_sales(store, _file(tmp_path, HEAD + rows)).rows)

    def test_by_label_then_by_code_price_and_day(self, store: Store, tmp_path: Path) -> None:
        _stocked(
            store,
            {"label": "B7-001"},
            {"style_code": "FW200", "asking": "40.00"},
            {"style_code": "FW200", "asking": "90.00"},
        )
        one, two = self._matched(
            store, tmp_path,
            "B7-001,,,,55.00,2026-03-20,7,8,40\n,FW200,,9,88.00,2026-03-21,7,8,73\n",
        )  # fmt: skip
        assert (one.state, one.best.id) == ("sure", 1)
        assert (two.state, two.best.id) == ("sure", 3)
        assert "Same style code. Listed since 2026-03-05 at 90.00." in two.candidates[0].why

    def test_between_two_prices_it_asks(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"asking": "58.00"}, {"asking": "62.00"})
        (one,) = self._matched(store, tmp_path, ",FW100,,9,59.00,2026-03-21,7,8,44\n")
        assert one.state == "question"
        assert {candidate.item.id for candidate in one.candidates} == {1, 2}

    def test_pieces_alike_are_taken_one_after_the_other(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {}, {})
        rows = (
            ",FW100,,9,60.00,2026-03-21,7,8,45\n,FW100,,9,60.00,2026-03-22,7,8,45\n,FW100,,9,60.00,2026-03-30,7,8,45\n"
        )
        found = self._matched(store, tmp_path, rows)
        assert [one.best.id if one.best else None for one in found] == [1, 2, None]
        assert [one.state for one in found] == ["sure", "sure", "none"]

    @pytest.mark.parametrize(
        ("row", "why"),
        [
            ("B7-001,,,,55.00,2026-02-01,7,8,40\n", "was the label used again"),
            ("B7-001,,,,55.00,2026-03-03,7,8,40\n", "It was listed on"),
        ],
    )
    def test_a_label_against_the_story_is_a_question(self, store: Store, tmp_path: Path, row: str, why: str) -> None:
        _stocked(store, {"label": "B7-001"})
        (one,) = self._matched(store, tmp_path, row)
        assert one.state == "question"
        assert why in one.why

    def test_a_label_sold_twice_is_a_question(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"label": "B7-001"})
        first, second = self._matched(
            store, tmp_path, "B7-001,,,,55.00,2026-03-20,7,8,40\nB7-001,,,,57.00,2026-04-20,7,8,42\n"
        )
        assert (first.state, second.state) == ("sure", "question")
        assert "same label" in second.why

    def test_recorded_undone_as_one_and_known_again(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"label": "B7-001"}, {"label": "B7-002"})
        path = _file(
            tmp_path,
            HEAD + "B7-001,,,,55.00,2026-03-20,7.45,8,39.55\nB7-002,,,,57.00,2026-03-21,,,\nZZ,,,,5.00,2026-03-21,,,\n",
        )
        found = match(store, read_sales(store, path).rows)
        assert [one.state for one in found] == ["sure", "sure", "none"]
        loaded = record_sales(store, found, client_id="tap-one-0001")
        assert (loaded.sold, loaded.updated) == (2, 0)
        assert shelf.sales_of(store, [1])[1][0].fees == D("7.45")
        again = match(store, read_sales(store, path).rows)
        assert [one.state for one in again] == ["recorded", "recorded", "none"]
        with pytest.raises(BadInput, match="No row was chosen"):
            record_sales(store, again)
        ledger.undo(store, loaded.action_id)
        assert {item.state for item in shelf.find(store)} == {"listed"}
        assert [one.state for one in match(store, read_sales(store, path).rows)] == ["sure", "sure", "none"]

    def test_a_later_file_puts_in_the_fees(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"label": "B7-001"})
        sales.sell(store, 1, D("55.00"), date(2026, 3, 20))
        found = self._matched(store, tmp_path, "B7-001,,,,55.00,2026-03-21,7.45,8,39.55\n")
        assert found[0].state == "update"
        assert record_sales(store, found).updated == 1
        assert shelf.sales_of(store, [1])[1][0].postage == D("8.00")

    def test_a_wrong_answer_records_nothing(self, store: Store, tmp_path: Path) -> None:
        _stocked(store, {"label": "B7-001"}, {"label": "B7-002"})
        found = self._matched(store, tmp_path, "B7-001,,,,55.00,2026-03-20,,,\nQ,,,,57.00,2026-02-01,,,\n")
        with pytest.raises(SourcingError, match=r"Row 3: .* cannot be sold on 2026-02-01"):
            record_sales(store, found, {3: 2})
        assert not shelf.sales_of(store, [1, 2])


class TestOwnComps:
    def test_once_updated_and_taken_out_again_by_an_undo(self, store: Store) -> None:
        _stocked(store, {}, {"size": "10"})
        assert bring_in_line(store) == 0
        sold = sales.sell(store, 1, D("58.00"), date(2026, 3, 20))
        assert bring_in_line(store) == 1
        assert bring_in_line(store) == 0
        sales.correct(store, 1, paid=D("57.00"))
        assert bring_in_line(store) == 1
        assert own_comps(store).sold == 1
        rows = store.read("SELECT status, sold, listed, ended, note FROM comp")
        assert rows == [(1, 5700, day_number(LISTED), day_number(date(2026, 3, 20)), f"{OWN}1")]
        ledger.undo(store, ledger.actions(store, 1)[0].id)
        ledger.undo(store, sold)
        bring_in_line(store)
        assert own_comps(store).sold == 0
        assert store.read("SELECT count(*) FROM comp") == [(0,)]

    def test_a_load_the_user_undid_stays_out_until_put_back(self, store: Store) -> None:
        from sourcing.comps import undo_batch

        _stocked(store, {})
        sales.sell(store, 1, D("58.00"), date(2026, 3, 20))
        bring_in_line(store)
        undo_batch(store, store.read("SELECT max(id) FROM batch")[0][0])
        assert bring_in_line(store) == 0
        assert own_comps(store).taken_out == 1
        assert put_back(store) == 1
        assert (own_comps(store).sold, own_comps(store).taken_out) == (1, 0)

    def test_the_mark_reads_like_no_oddity_and_is_seen(self) -> None:
        assert odd_words([f"Ridge trail shoe {OWN}12"]) == {}
        assert is_own(f"{OWN}12")
        assert not is_own("typed by you, abc")
        assert observe.__doc__
