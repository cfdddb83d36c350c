"""The plan of a haul from comps to the page: candidates, lists, taking and undoing, the command line."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import lxml.html
import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from sourcing import haul, history, planner
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file
from sourcing.errors import BadInput, NotFound
from sourcing.fitting import refit
from sourcing.rules import HaulLimits
from sourcing.settings import load_settings
from sourcing.storage import Store, open_store
from web.app import create_app
from web.cli import main

D = Decimal
SAMPLES = Path(__file__).parent.parent / "sample_comps"
GOOD = ("TI443-195", "WE804-175", "TA918-061", "LI528-139", "TA387-100")


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    store = open_store(str(folder / "sourcing.sqlite3"))
    load_file(store, SAMPLES / "spring_sales.csv")
    refit(store)
    store.close()
    return folder


@pytest.fixture
def folder(loaded: Path, tmp_path: Path) -> Path:
    (tmp_path / "sourcing.sqlite3").write_bytes((loaded / "sourcing.sqlite3").read_bytes())
    return tmp_path


@pytest.fixture
def client(folder: Path) -> Iterator[FlaskClient]:
    app = create_app(folder / "sourcing.sqlite3")
    app.config["WTF_CSRF_ENABLED"] = False
    yield app.test_client()
    app.extensions["sourcing"].store.close()


@pytest.fixture
def store(client: FlaskClient) -> Store:
    return client.application.extensions["sourcing"].store


def checked(store: Store, code: str, price: str | None) -> int:
    return history.record(store, check(store, Query(code=code, shelf_price=None if price is None else D(price))))


def held(store: Store) -> list[tuple[int, int, int]]:
    return sorted((line.id, line.check_id, line.count) for line in haul.current(store).items if not line.undone)


def form_of(html: str, action: str) -> dict[str, list[str]]:
    tree = lxml.html.fromstring(html)
    sent: dict[str, list[str]] = {}
    for field in tree.xpath(f"//form[@action='{action}']//input[@type='hidden'][@name]"):
        sent.setdefault(field.get("name"), []).append(field.get("value"))
    return sent


class TestCandidates:
    def test_copies_are_those_of_the_verdict(self, store: Store) -> None:
        asked = planner.of_checks(store, [checked(store, code, "4.99") for code in GOOD])
        for one, found in zip(asked, planner.judged(store, asked, load_settings(store)), strict=True):
            verdict = check(store, one.query)
            assert [copy.profit for copy in found.copies] == [copy.profit for copy in verdict.depth]
            assert {copy.landed for copy in found.copies} <= {verdict.landed_cost}
            assert found.worth == (verdict.worth_taking or 0)
            assert (found.label, found.decision) == (verdict.item.label, verdict.decision)

    def test_the_same_item_at_two_prices_is_one(self, store: Store) -> None:
        dear, cheap = checked(store, GOOD[0], "9.99"), checked(store, GOOD[0], "3.99")
        asked = planner.joined(planner.of_checks(store, [dear, cheap]), stock={f"check {cheap}": 2})
        (found,) = planner.judged(store, asked, load_settings(store))
        costs = [copy.landed for copy in found.copies]
        assert costs == [D("3.99")] * 2 + [D("9.99")] * (len(costs) - 2)
        assert len(costs) == 8
        dearer = check(store, Query(code=GOOD[0], shelf_price=D("9.99")))
        assert found.copies[2].profit == dearer.depth[2].profit  # the third copy, bought at the dearer price
        line = planner.plan([found], HaulLimits(), every=True).taken[0]
        assert [part.asked.check_id for part in line.parts][:1] == [cheap]
        assert sum(part.count for part in line.parts) == line.count

    def test_lines_of_one_check_are_put_together(self, store: Store) -> None:
        number = checked(store, GOOD[0], "4.99")
        haul.take(store, number, 1)
        haul.take(store, number, 2)
        haul.undo(store, haul.take(store, number, 5))
        (one,) = planner.of_haul(store)
        assert (one.held, one.stock) == (3, 3)

    def test_a_list_as_check_list_reads_it(self, store: Store) -> None:
        asked, problems = planner.of_list(SAMPLES / "shelf_list.csv")
        text = planner.as_text(SAMPLES / "shelf_list.csv")
        again, _ = planner.of_list(io.BytesIO(text.encode()))
        assert [one.query for one in asked] == [one.query for one in again]
        assert [row for row, _ in problems] == [37, 39]
        assert len(asked) + len(problems) == 40

    def test_sizes_and_barcodes_of_one_style_are_one_style(self, store: Store) -> None:
        codes = ("WE804-175", "WE804-175", "9520000017507", "9520000017521")  # M and S; barcodes of S and L
        queries = [Query(code=code, size=size, shelf_price=D(2)) for code, size in zip(codes, "MS  ", strict=True)]
        asked = [planner.Asked(f"row {at}", query, "list") for at, query in enumerate(queries)]
        candidates = planner.judged(store, asked, load_settings(store))
        assert len(candidates) == 4
        assert len({one.style for one in candidates}) == 1
        for most in (1, 3):
            found = planner.plan(candidates, HaulLimits(most_of_style=most), every=True)
            assert sum(line.count for line in found.taken) == most

    def test_stock_of_a_list(self) -> None:
        asked, problems = planner.of_list(io.BytesIO(b"code,shelf_price,Stock\nA1-1,2.00,3\nA1-2,2.00,\nA1-3,2,-1\n"))
        assert [one.stock for one in asked] == [3, None]
        assert problems[0][0] == 4
        assert "“-1” is not how many are on the shelf" in problems[0][1]

    def test_a_flag_that_is_none_is_told_at_its_row(self, store: Store) -> None:
        text = b"code,shelf_price,flags\nA1-1,2.00,no box\nA1-2,2.00,no bok\n"
        asked, problems = planner.of_list(io.BytesIO(text), load_settings(store))
        assert [one.query.flags for one in asked] == [("no_box",)]
        ((row, problem),) = problems
        assert row == 3
        assert "no bok" in problem
        assert len(planner.of_list(io.BytesIO(text))[0]) == 2  # without settings any flag is taken

    @pytest.mark.parametrize("text", ["code,shelf_price\n", "price\n5\n"])
    def test_lists_that_hold_nothing(self, text: str) -> None:
        with pytest.raises(BadInput):
            planner.of_list(io.BytesIO(text.encode()))


class TestTaking:
    def test_take_and_undo_are_exact(self, store: Store) -> None:
        numbers = [checked(store, code, "4.99") for code in GOOD[:3]]
        haul.take(store, numbers[0], 2)
        haul.take(store, numbers[1], 1)
        before, view = held(store), haul.current(store)
        wanted = [planner.Wanted(numbers[0], 1), planner.Wanted(numbers[1], 0), planner.Wanted(numbers[2], 4)]
        moment = planner.take_plan(store, wanted, "t1")
        assert moment is not None
        assert [(check_id, count) for _, check_id, count in held(store)] == [(numbers[0], 1), (numbers[2], 4)]
        taking = planner.last_taking(store)
        assert taking == planner.Taking(moment, 2, 2)
        assert planner.take_plan(store, wanted, "t1") == moment  # a tap sent twice
        assert len(held(store)) == 2
        planner.undo_taking(store, moment)
        assert held(store) == before
        assert haul.current(store).outlay == view.outlay
        assert planner.last_taking(store) is None
        with pytest.raises(NotFound):
            planner.undo_taking(store, moment)

    def test_two_plans_are_undone_one_after_the_other(self, store: Store) -> None:
        number = checked(store, GOOD[0], "4.99")
        first = planner.take_plan(store, [planner.Wanted(number, 2)], "a")
        second = planner.take_plan(store, [planner.Wanted(number, 3)], "b")
        assert first is not None
        assert second is not None
        assert [count for *_, count in held(store)] == [3]
        planner.undo_taking(store, second)
        assert [count for *_, count in held(store)] == [2]
        planner.undo_taking(store, first)
        assert held(store) == []

    def test_nothing_to_change(self, store: Store) -> None:
        number = checked(store, GOOD[0], "4.99")
        haul.take(store, number, 2)
        assert planner.take_plan(store, [planner.Wanted(number, 2)], "a") is None
        assert planner.last_taking(store) is None

    def test_bad_input(self, store: Store) -> None:
        number = checked(store, GOOD[0], "4.99")
        for wanted in ([planner.Wanted(number, -1)], [planner.Wanted(number, 1000)], [planner.Wanted(number, 1)] * 2):
            with pytest.raises(BadInput):
                planner.take_plan(store, wanted, "a")
        with pytest.raises(NotFound):
            planner.take_plan(store, [planner.Wanted(number, 1), planner.Wanted(number + 9, 1)], "a")
        assert held(store) == []
        for moment in ("", "2026-01-01T00:00:00+00:00", "x"):
            with pytest.raises(NotFound):
                planner.undo_taking(store, moment)


class TestPage:
    def test_take_what_was_shown_and_undo(self, client: FlaskClient, store: Store) -> None:
        numbers = [checked(store, code, "4.99") for code in GOOD]
        for number in numbers:
            haul.take(store, number, 2)
        before = held(store)
        answer = client.post("/plan", data={"cash": "12", "prep_hours": ""})
        assert answer.status_code == 200
        asked = planner.of_haul(store)
        expected = planner.plan(planner.judged(store, asked, load_settings(store)), HaulLimits(cash=D(12)))
        assert f"${expected.profit}" in lxml.html.fromstring(answer.text).xpath("string(//*[@class='sum'])")
        sent = form_of(answer.text, "/plan/take")
        for _ in range(2):  # a second tap
            assert client.post("/plan/take", data=sent).headers["Location"] == "/haul"
        wanted = {line.candidate.asked.check_id: line.count for line in expected.taken}
        assert {check_id: count for _, check_id, count in held(store)} == wanted
        page = client.get("/haul").text
        assert "Undo the plan" in page
        client.post("/plan/undo", data=form_of(page, "/plan/undo"))
        assert held(store) == before
        assert "Undo the plan" not in client.get("/haul").text

    def test_past_checks_are_chosen(self, client: FlaskClient, store: Store) -> None:
        numbers = [checked(store, code, "2.99") for code in GOOD]
        page = client.get("/plan").text
        assert "Nothing is chosen yet" in page
        ticks = lxml.html.fromstring(page).xpath("//input[@name='check']/@value")
        assert sorted(map(int, ticks)) == numbers
        got = client.get(f"/plan?check={numbers[0]}").text
        assert client.post("/plan", data={"check": numbers[0]}).status_code == 200
        assert "What to choose from: 1 item<" in got.replace("\n", "")
        assert held(store) == []  # planning changes nothing

    def test_a_list_goes_along_and_is_taken(self, client: FlaskClient, store: Store) -> None:
        upload = (io.BytesIO((SAMPLES / "shelf_list.csv").read_bytes()), "shelf_list.csv")
        answer = client.post("/plan", data={"cash": "30", "list": upload})
        assert "2 rows left out of the list" in answer.text
        rows = lxml.html.fromstring(answer.text).xpath("//form[@id='plan']//input[@name='rows']/@value")[0]
        again = client.post("/plan", data={"cash": "30", "rows": rows, "list_name": "shelf_list.csv"})
        first, second = (lxml.html.fromstring(one.text).xpath("string(//*[@class='sum'])") for one in (answer, again))
        assert first == second != ""
        client.post("/plan/take", data=form_of(again.text, "/plan/take"))
        view = haul.current(store)
        shown = lxml.html.fromstring(again.text).xpath("string(//*[@class='card result']/h2)")
        assert f"Take {view.pieces} piece" in shown
        assert view.outlay <= 30
        dropped = client.post("/plan", data={"rows": rows, "drop": "on"}).text
        assert not lxml.html.fromstring(dropped).xpath("//input[@name='rows']")

    @pytest.mark.parametrize(
        ("sent", "field"),
        [
            ({"cash": "nan"}, "cash"),
            ({"cash": "0"}, "cash"),
            ({"prep_hours": "-1"}, "prep_hours"),
            ({"most_of_style": "1.5"}, "most_of_style"),
            ({"most_in_category": "much"}, "most_in_category"),
        ],
    )
    def test_messages_stand_at_the_field(
        self, client: FlaskClient, store: Store, sent: dict[str, str], field: str
    ) -> None:
        haul.take(store, checked(store, GOOD[0], "4.99"))
        answer = client.post("/plan", data=sent)
        assert answer.status_code == 400
        tree = lxml.html.fromstring(answer.text)
        (wrong,) = tree.xpath(f"//input[@name='{field}'][@aria-invalid]")
        assert wrong.get("value") == sent[field]
        assert tree.xpath(f"//*[@id='{wrong.get('aria-describedby')}']//strong")

    def test_messages_of_stock_and_lists(self, client: FlaskClient, store: Store) -> None:
        number = checked(store, GOOD[0], "4.99")
        haul.take(store, number)
        answer = client.post("/plan", data={f"stock check {number}": "many"})
        tree = lxml.html.fromstring(answer.text)
        (wrong,) = tree.xpath("//input[@aria-invalid]")
        assert wrong.get("name") == f"stock check {number}"
        assert "is not how many" in tree.xpath(f"string(//*[@id='{wrong.get('aria-describedby')}'])")
        answer = client.post("/plan", data={"list": (io.BytesIO(b"what\n1\n"), "odd.csv")})
        assert lxml.html.fromstring(answer.text).xpath("//input[@name='list'][@aria-invalid]")

    @pytest.mark.parametrize("sent", [{"take": "5"}, {"take": "1:2:3"}, {"take": "x:1"}, {"row": "2:1"}])
    def test_forged_plans(self, client: FlaskClient, store: Store, sent: dict[str, str]) -> None:
        assert client.post("/plan/take", data=sent).status_code in (400, 404)
        assert held(store) == []

    def test_limits_of_the_settings_are_where_it_starts(self, client: FlaskClient, store: Store) -> None:
        from dataclasses import replace

        from sourcing.settings import save_settings

        save_settings(store, replace(load_settings(store), haul=HaulLimits(cash=D("7.50"), most_of_style=1)), "test")
        haul.take(store, checked(store, GOOD[0], "4.99"), 2)
        tree = lxml.html.fromstring(client.get("/plan").text)
        assert tree.xpath("//input[@name='cash']/@value") == ["7.50"]
        assert tree.xpath("//input[@name='most_of_style']/@value") == ["1"]
        assert tree.xpath("string(//nav//a[@aria-current])") == "Haul"
        assert client.post("/plan", data={"cash": ""}).status_code == 200


class TestCommand:
    def run(self, folder: Path, *words: str, code: int = 0) -> str:
        found = CliRunner().invoke(main, ["plan", "--data", str(folder), *words])
        assert found.exit_code == code, found.output
        return found.output if code in (1, 2) else found.stdout

    def test_a_list_as_json(self, folder: Path) -> None:
        words = ("--list", str(SAMPLES / "shelf_list.csv"), "--cash", "40", "--hours", "0.6", "--json")
        found = json.loads(self.run(folder, *words, code=4))
        assert sum(D(line["cash"]) for line in found["taken"]) == D(found["cash"]) <= 40
        assert sum(D(line["profit"]) for line in found["taken"]) == D(found["profit"]) > 0
        assert D(found["prep_minutes"]) <= 36
        assert not found["stopped"]
        assert [one["row"] for one in found["problems"]] == [37, 39]
        assert found == json.loads(self.run(folder, *words, code=4))

    def test_checks_in_words(self, folder: Path, store: Store) -> None:
        number = checked(store, GOOD[0], "2.99")
        said = self.run(folder, "--check", str(number), "--cash", "5")
        assert "Ten more of cash would bring" in said
        assert "expected profit" in said or "Take nothing." in said

    def test_messages(self, folder: Path) -> None:
        assert "nothing to choose from" in self.run(folder, code=1)
        assert "“nan” cannot be a limit" in self.run(folder, "--cash", "nan", code=1)
        assert "no check number 9" in self.run(folder, "--check", "9", code=1)
