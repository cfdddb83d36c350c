"""The pages of stock without JavaScript: what each form does, what it says of bad input, and that nothing is lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import lxml.html
import pypdfium2
import pytest
import web_examples
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from sourcing import haul, history
from sourcing.settings import from_toml, load_settings, save_settings
from sourcing.stock import ledger, shelf
from sourcing.storage import Store

TODAY = date.today()


@pytest.fixture
def store(app: Flask) -> Store:
    store: Store = app.extensions["sourcing"].store
    return store


@pytest.fixture
def three(store: Store, client: FlaskClient) -> list[int]:
    """Three pieces in stock: their numbers."""
    _haul(store, "Tannery Row", 3)
    client.post("/stock/bring", data={"haul_id": 1})
    return [1, 2, 3]


def _haul(store: Store, name: str, count: int) -> int:
    number = haul.start(store, name)
    haul.take(store, history.record(store, web_examples.verdict()), count)
    return number


def page(answer: TestResponse, status: int = 200) -> lxml.html.HtmlElement:
    assert answer.status_code == status, answer.text
    return lxml.html.fromstring(answer.text)


def text(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


def together(client: FlaskClient, do: str, items: list[int], status: int = 200, **more: str) -> str:
    data = {"do": do, "items": items, "state": "", **more}
    return text(page(client.post("/stock/together", data=data, follow_redirects=True), status))


def alone(client: FlaskClient, item: int, do: str, status: int = 200, **more: str) -> str:
    return text(page(client.post(f"/stock/{item}", data={"do": do, **more}, follow_redirects=True), status))


class TestBringing:
    def test_in_one_tap_from_the_haul_the_run_and_the_stock_page(self, store: Store, client: FlaskClient) -> None:
        _haul(store, "Tannery Row", 2)
        for address in ("/haul", "/stock"):
            assert page(client.get(address)).xpath("//form[@action='/stock/bring']"), address
        client.post("/haul/close")
        assert "2 pieces are not in stock yet" in text(page(client.get("/run/1")))
        shown = text(page(client.post("/stock/bring", data={"haul_id": 1}, follow_redirects=True)))
        assert "2 pieces brought in from Tannery Row" in shown
        assert not page(client.get("/run/1")).xpath("//form[@action='/stock/bring']")
        assert "Nothing of this haul is left" in text(page(client.post("/stock/bring", data={"haul_id": 1}), 400))

    def test_a_haul_without_a_store_asks_for_it(self, store: Store, client: FlaskClient) -> None:
        _haul(store, "", 1)
        assert page(client.get("/stock")).xpath("//input[@name='store'][@maxlength]")
        assert page(client.get("/haul")).xpath("//a[@href='/stock' and contains(., 'into stock')]")
        client.post("/haul/close")
        assert page(client.get("/run/1")).xpath("//form[@action='/stock/bring']//input[@name='store']")
        client.post("/stock/bring", data={"haul_id": 1, "store": "Mill Lane"})
        assert shelf.stores(store) == ["Mill Lane"]

    def test_a_piece_without_a_price_paid_is_named(self, store: Store, client: FlaskClient) -> None:
        haul.take(store, history.record(store, web_examples.unknown()))
        assert "What was paid for" in text(page(client.post("/stock/bring", data={"haul_id": 1}), 400))
        assert not shelf.find(store)

    def test_the_same_tap_twice_brings_once(self, store: Store, client: FlaskClient) -> None:
        _haul(store, "Tannery Row", 2)
        for _ in range(2):
            assert client.post("/stock/bring", data={"haul_id": 1, "client_id": "tap"}).status_code == 303
        assert len(shelf.find(store)) == 2


class TestList:
    def test_states_with_counts_and_what_is_tied_up(self, client: FlaskClient, three: list[int]) -> None:
        together(client, "ready", three[:2])
        shown = page(client.get("/stock"))
        assert [text(one) for one in shown.xpath("//nav[@class='states']/a")] == ["all", "to prep 1", "ready 2"]
        assert "3 pieces in stock, $80.22 tied up" in text(shown)
        assert len(page(client.get("/stock?state=ready")).xpath("//input[@name='items']")) == 2

    def test_found_by_label_code_and_words(self, store: Store, client: FlaskClient, three: list[int]) -> None:
        together(client, "labels", three[:1])
        label = shelf.get(store, 1).label
        assert client.get("/stock", query_string={"find": label.lower()}).location == "/stock/1"
        assert "Pieces with this code" in text(page(client.get("/stock?find=fwr-1042")))
        assert len(page(client.get("/stock?find=trail")).xpath("//input[@name='items']")) == 3
        wrong = label[:-1] + ("A" if label[-1] != "A" else "B")
        assert "check character does not fit" in text(page(client.get("/stock", query_string={"find": wrong})))
        assert "No piece is like that" in text(page(client.get("/stock?find=nothing+such")))

    def test_a_store_that_is_not_known_is_asked_about(self, client: FlaskClient, three: list[int]) -> None:
        assert "Did you mean “Tannery Row”?" in text(page(client.get("/stock?store=Tanery+Row")))

    def test_older_pieces_are_a_page_away(self, store: Store, client: FlaskClient) -> None:
        _haul(store, "Tannery Row", 60)
        client.post("/stock/bring", data={"haul_id": 1})
        shown = page(client.get("/stock?state=to+prep"))
        (link,) = shown.xpath("//a[@rel='next']/@href")
        assert len(shown.xpath("//input[@name='items']")) == 50
        assert len(page(client.get(link)).xpath("//input[@name='items']")) == 10

    def test_all_are_ticked_by_a_link(self, client: FlaskClient, three: list[int]) -> None:
        assert len(page(client.get("/stock?all=1")).xpath("//input[@name='items'][@checked]")) == 3

    @pytest.mark.parametrize("query", ["after=x", "after=99999999999999", "find=" + "x" * 201])
    def test_addresses_that_make_no_sense(self, client: FlaskClient, query: str) -> None:
        assert client.get(f"/stock?{query}").status_code == 400


class TestABoxful:
    def test_one_action_undone_as_one(self, store: Store, client: FlaskClient, three: list[int]) -> None:
        assert "3 pieces put in B4" in together(client, "bin", three, bin="B4")
        assert {one.bin for one in shelf.find(store)} == {"B4"}
        client.post("/stock/undo", data={"action_id": ledger.actions(store)[0].id})
        assert {one.bin for one in shelf.find(store)} == {""}

    def test_labels_one_a_line_are_all_ticked_and_the_rest_is_told(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        together(client, "labels", three)
        typed = "\n".join([shelf.get(store, 2).label, "", shelf.get(store, 3).label.lower(), "no such"])
        shown = page(client.get("/stock/box", query_string={"labels": typed}))
        assert shown.xpath("//input[@name='items'][@checked]/@value") == ["2", "3"]
        assert "No piece is known by “no such”." in text(shown)
        answer = client.post("/stock/together", data={"do": "list", "items": [2, 3], "labels": typed})
        assert answer.location.startswith("/stock/box?done=")
        assert [shelf.get(store, one).state for one in three] == ["to prep", "listed", "listed"]

    def test_prices(self, store: Store, client: FlaskClient, three: list[int]) -> None:
        assert "3 pieces listed at the planned price" in together(client, "list", three)
        assert "3 pieces cut by 12.5 %" in together(client, "cut", three, off="12,5")
        assert "1 piece now asked at 40" in together(client, "cut", three[:1], price="$40", off="9")
        asked = [one.listing.asking_price for one in reversed(shelf.find(store)) if one.listing]
        assert [str(one) for one in asked] == ["40.00", "56.00", "56.00"]
        assert "3 pieces taken down" in together(client, "down", three)
        assert "2 pieces given up" in together(client, "give up", three[:2], got="1.50")

    def test_a_lot(self, store: Store, client: FlaskClient, three: list[int]) -> None:
        assert "3 pieces joined to lot of three" in together(client, "join", three, what="lot of three")
        assert str(shelf.find(store)[0].landed_cost) == "80.22"

    def test_bad_input_keeps_the_ticks_and_what_was_typed(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        told = len(ledger.actions(store))
        for do, more, said in (
            ("list", {"asking": "dear"}, "“dear” is not an amount."),
            ("list", {"asking": "12.345"}, "is not an amount."),
            ("list", {"asking": "0"}, "asking price is 0"),
            ("list", {"asking": "40", "on": "2020-01-01"}, "it was bought on"),
            ("list", {"on": (TODAY + timedelta(1)).isoformat()}, "is still to come"),
            ("list", {"on": "tomorrow"}, "“tomorrow” is not a day."),
            ("cut", {}, "No new price was typed."),
            ("cut", {"price": "9"}, "cannot have its price cut"),
            ("cut", {"off": "lots"}, "is not a percentage."),
            ("give up", {"got": "-1"}, "is not an amount."),
            ("join", {"what": ""}, "A lot is made of several pieces and has a name."),
            ("", {}, "Nothing was asked for."),
        ):
            answer = client.post("/stock/together", data={"do": do, "items": three[:2], **more})
            shown = page(answer, 400)
            assert said in text(shown), do
            assert shown.xpath("//input[@name='items'][@checked]/@value") == ["2", "1"], do
            for name, value in more.items():
                if value and name != "on":
                    assert shown.xpath(f"//input[@name='{name}']/@value") == [value]
        assert "No piece was chosen" in together(client, "ready", [], 400)
        assert "no piece number 99" in together(client, "ready", [99], 400)
        assert len(ledger.actions(store)) == told


class TestAPiece:
    def test_from_listing_to_a_return_with_the_loss_booked(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        client.post("/stock/1", data={"do": "list", "asking": "64", "channel": "auction hall"})
        assert "listed" in alone(client, 1, "cut", price="59")
        assert "not known yet" in alone(client, 1, "sell", paid="58,00", postage="8.10")
        shown = alone(client, 1, "correct", fees="7.20", postage="8.10", paid="58")
        lines = ("Paid by the buyer$58.00", "Fees$7.20", "Postage$8.10", "Suppliesas the terms have them$0.75")
        assert (
            "".join((*lines, "What it cost, landed$26.74", "Left, before your labour$15.21")) in shown
        )  # 58.00 - 7.20 - 8.10 - 0.75 of supplies - 26.74
        shown = alone(client, 1, "back", refunded="58", cost="4")
        assert "The return cost you $19.30." in shown  # 7.20 + 8.10 + 4.00
        assert (shelf.get(store, 1).state, str(shelf.get(store, 1).landed_cost)) == ("returned", "26.74")

    def test_bad_input_is_said_at_its_field_and_changes_nothing(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        client.post("/stock/2", data={"do": "sell", "paid": "40"})
        client.post("/stock/3", data={"do": "label", "label": "BOX7"})
        told = len(ledger.actions(store))
        for item, do, more, said in (
            (1, "sell", {"paid": ""}, "No amount was typed."),
            (1, "sell", {"paid": "40", "on": "2020-01-01"}, "it was bought on"),
            (1, "sell", {"paid": "40", "on": (TODAY + timedelta(2)).isoformat()}, "is still to come"),
            (2, "sell", {"paid": "40"}, "is sold and cannot be sold"),
            (2, "back", {"refunded": "41"}, "more than the 40.00"),
            (1, "back", {"refunded": "1"}, "cannot come back"),
            (1, "label", {"label": "box7"}, "The label “BOX7” is on another piece."),
            (1, "label", {"label": "ö"}, "cannot be a label"),
            (1, "split", {"parts": "only one"}, "1 parts."),
        ):
            assert said in alone(client, item, do, 400, **more), do
        assert len(ledger.actions(store)) == told
        assert client.get("/stock/99").status_code == 404
        assert client.post("/stock/99", data={"do": "sell", "paid": "1"}).status_code == 404

    def test_a_pair_sold_apart_and_an_undo_leads_back_to_the_piece(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        answer = client.post("/stock/1", data={"do": "split", "parts": "left shoe\r\nright shoe\r\n"})
        assert answer.location.startswith("/stock?done=")
        assert sorted(str(one.landed_cost) for one in shelf.find(store))[:2] == ["13.37", "13.37"]
        undone = client.post("/stock/undo", data={"action_id": 2, "item_id": 1})
        assert undone.location.startswith("/stock/1?done=")
        assert "Do again" in text(page(client.get(undone.location)))

    def test_an_undo_over_a_later_change_is_refused_in_words(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        client.post("/stock/1", data={"do": "list", "asking": "64"})
        client.post("/stock/1", data={"do": "cut", "price": "60"})
        assert "changed since" in text(page(client.post("/stock/undo", data={"action_id": 2}), 409))


class TestLabels:
    def test_given_and_printed_in_one_tap(self, store: Store, client: FlaskClient, three: list[int]) -> None:
        shown = together(client, "labels", three)
        assert "3 labels given" in shown
        assert "3 labels to print" in shown
        assert "Undo" not in together(client, "labels", three)  # they bear one already: nothing was done
        answer = client.get("/stock/labels.pdf?items=1&items=3&start=24")
        assert answer.content_type == "application/pdf"
        assert len(pypdfium2.PdfDocument(answer.data)) == 2

    def test_what_cannot_be_printed(self, client: FlaskClient, three: list[int]) -> None:
        assert "has no label" in text(page(client.get("/stock/labels.pdf?items=1"), 400))
        assert "No piece was chosen" in text(page(client.get("/stock/labels.pdf"), 400))
        together(client, "labels", three)
        assert "The page has no place 25." in text(page(client.get("/stock/labels.pdf?items=1&start=25"), 400))

    def test_a_pattern_with_examples_saved_and_undone(
        self, store: Store, client: FlaskClient, three: list[int]
    ) -> None:
        found = client.get("/stock/labels.json", query_string={"pattern": "[store 3]-[count 2]"}).json
        assert found == {"labels": ["TAN-01", "TAN-02", "TAN-03"], "wrong": ""}
        assert "no field" in client.get("/stock/labels.json", query_string={"pattern": "[hue][count]"}).json["wrong"]
        form = {"pattern": "[store 3]-[count 2]", "codes": "QR", "names": "no", "sheet": "roll, 57 × 32 mm"}
        shown = text(page(client.post("/stock/labels", data=form, follow_redirects=True)))
        assert "Saved: labels: pattern" in shown
        kept = load_settings(store).labels
        assert (kept.pattern, kept.codes, kept.names, kept.page) == ("[store 3]-[count 2]", "QR", "no", "roll")
        together(client, "labels", three)
        assert shelf.get(store, 1).label == "TAN-01"
        client.post("/stock/labels/undo")
        assert load_settings(store).labels.page == "A4"

    def test_a_pattern_that_cannot_be_is_said_and_not_saved(self, store: Store, client: FlaskClient) -> None:
        form = {"codes": "both", "names": "yes", "sheet": "own"}
        for pattern, said in (
            ("[hue][count]", "There is no field “[hue]”"),
            ("", "pattern is"),
            ("ABCDEFGHIJKLMNOPQRSTUVWXYZ[count]", "characters."),
        ):
            shown = text(page(client.post("/stock/labels", data={**form, "pattern": pattern}), 400))
            assert said in shown
        assert "There is no sheet" in text(
            page(client.post("/stock/labels", data={**form, "pattern": "[count]", "sheet": "A5"}), 400)
        )
        assert load_settings(store).labels == type(load_settings(store).labels)()


def test_texts_of_a_piece_are_no_markup(store: Store, client: FlaskClient) -> None:
    bad = web_examples.item(label="<b>x</b>", title="<script>1</script>", size='"><i>')
    haul.take(store, history.record(store, web_examples.verdict(item=bad)))
    client.post("/stock/bring", data={"haul_id": 1, "store": "<u>y</u>"})
    for address in ("/stock", "/stock/1", "/stock/actions"):
        shown = page(client.get(address))
        assert not shown.xpath("//main//b[text()='x'] | //main//script | //main//u | //main//i"), address


def test_a_count_that_is_none_is_said_on_the_haul_itself(store: Store, client: FlaskClient) -> None:
    haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 1)
    line = store.read("SELECT id FROM haul_item")[0][0]
    for count in ("0", "-1", "1.5", ""):
        answer = client.post("/haul/recount", data={"item_id": str(line), "count": count})
        assert answer.status_code == 400
        page = lxml.html.fromstring(answer.text)
        assert page.xpath("string(//h1)").startswith("Haul at Tannery Row")
        assert page.xpath("//*[@role='alert']")
    assert store.read("SELECT count FROM haul_item") == [(1,)]


def test_what_a_piece_has_is_said_by_its_label(store: Store, client: FlaskClient) -> None:
    save_settings(store, from_toml('[flag.no_box]\nlabel = "Box is gone"\n[flag.worn_sole]\n'), "a test")
    number = haul.start(store, "Tannery Row")
    verdict = web_examples.verdict()
    marked = replace(verdict, query=replace(verdict.query, flags=("no_box", "worn_sole")))
    haul.take(store, history.record(store, marked), 1)
    client.post("/stock/bring", data={"haul_id": number})
    for path in ("/stock", "/stock/1"):
        shown = text(page(client.get(path)))
        assert "Box is gone" in shown, path
        assert "worn sole" in shown, path
        assert "no_box" not in shown
        assert "worn_sole" not in shown
