"""The pages: what they show, what they do, and that they do it without JavaScript."""

from __future__ import annotations

import io
import json
import threading
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import lxml.html
import pytest
import web_examples
from flask import Flask
from flask.testing import FlaskClient

from sourcing import haul, history
from sourcing.answer import Query, Verdict
from sourcing.codes import parse_code
from sourcing.photo import PhotoReading
from sourcing.purchase import Discounts
from sourcing.settings import default_settings, save_settings
from sourcing.storage import Store
from web import charts, filters, forms, tasks

GOOD = "title,status,sold_price,ended_on\nRidge shoe,sold,50.00,2026-01-05\nRidge shoe,sold,55.00,2026-01-09\n"


@pytest.fixture
def store(app: Flask) -> Store:
    return app.extensions["sourcing"].store


def page(client: FlaskClient, path: str, status: int = 200) -> lxml.html.HtmlElement:
    answer = client.get(path)
    assert answer.status_code == status
    return lxml.html.fromstring(answer.text)


def text(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


@pytest.fixture
def fixed(monkeypatch: pytest.MonkeyPatch) -> Callable[[Verdict], list[Query]]:
    """Let the engine answer with an invented verdict, and note what it was asked."""

    def fix(verdict: Verdict) -> list[Query]:
        asked: list[Query] = []

        def check(_store: Store, query: Query) -> Verdict:
            asked.append(query)
            return verdict

        monkeypatch.setattr("web.check.check", check)
        monkeypatch.setattr("web.check.check_json", lambda store, query, _: json.dumps(check(store, query).as_dict()))
        return asked

    return fix


class TestVerdict:
    @pytest.mark.parametrize(
        ("verdict", "word", "shape"),
        [
            (web_examples.verdict(), "Buy", "path"),
            (web_examples.passing(), "Pass", "rect"),
            (web_examples.unknown(), "Too little to go on", "circle"),
        ],
    )
    def test_word_and_shape(self, client: FlaskClient, store: Store, verdict: Verdict, word: str, shape: str) -> None:
        html = page(client, f"/check/{history.record(store, verdict)}")
        heading = html.find(".//h1")
        assert text(heading).startswith(word)
        assert heading.find("svg")[0].tag == shape
        assert verdict.reason in text(html)

    def test_every_part(self, client: FlaskClient, store: Store) -> None:
        verdict = web_examples.verdict()
        html = page(client, f"/check/{history.record(store, verdict)}")
        assert "28.40" in text(html.xpath("//*[@class='most']/strong")[0])
        assert len(html.xpath("//*[@class='comps']/li")) == len(verdict.comps)
        assert len(html.xpath("//*[@class='receipt']//tbody/tr")) == len(verdict.receipt)
        assert "This one decides" in text(html.xpath("//*[@class='binds']")[0])
        assert "best" in text(html.xpath("//*[@class='chosen']")[0])
        assert "80 % not reached" in text(html)
        assert "Set aside: said to be damaged" in text(html)
        names = " ".join(text(name) for name in html.xpath("//*[name()='text'][contains(@class, 'name')]"))
        for line in ("Asking price", "Break-even sale", "Shelf price"):
            assert line in names

    def test_suggestions_ask_again_with_the_same_price(self, client: FlaskClient, store: Store) -> None:
        html = page(client, f"/check/{history.record(store, web_examples.unknown())}")
        sent = [
            {field.get("name"): field.get("value") for field in form.xpath(".//input")}
            for form in html.xpath("//*[@class='chips']/form[@action='/check']")
        ]
        assert [(one["code"], one["price"]) for one in sent] == [("FWR1042", "20.00"), ("FWR1143", "20.00")]

    def test_markup_in_titles_stays_text(self, client: FlaskClient, store: Store) -> None:
        hostile = "<script>alert(1)</script>"
        verdict = web_examples.verdict(item=web_examples.item(label=hostile), reason=hostile)
        answer = client.get(f"/check/{history.record(store, verdict)}")
        assert hostile not in answer.text
        assert "&lt;script&gt;" in answer.text

    def test_no_such_check(self, client: FlaskClient) -> None:
        page(client, "/check/999", 404)

    @pytest.mark.parametrize("room", ["check", "whatif", "run", "stock", "comps/batch", "photos"])
    def test_a_number_past_what_can_be_kept_is_no_page(self, client: FlaskClient, room: str) -> None:
        page(client, f"/{room}/{2**63}", 404)
        page(client, f"/{room}/{2**63 - 1}", 404)

    def test_a_row_past_what_can_be_kept_is_no_row(self, client: FlaskClient) -> None:
        page(client, f"/comps/row?row=1-{2**63}", 400)

    def test_next_item_keeps_the_price(self, client: FlaskClient, store: Store) -> None:
        html = page(client, f"/check/{history.record(store, web_examples.verdict())}")
        link = html.xpath("//a[.='Next item']")[0].get("href")
        assert page(client, link).xpath("//input[@name='price']")[0].get("value") == "24.99"


class TestAsking:
    def test_a_check_is_recorded_and_shown(
        self, client: FlaskClient, store: Store, fixed: Callable[[Verdict], list[Query]]
    ) -> None:
        asked = fixed(web_examples.passing())
        answer = client.post("/check", data={"code": " FWR-1042 ", "price": "44,00", "size": "9", "discount": "20"})
        assert answer.status_code == 303
        assert asked == [
            Query(code="FWR-1042", shelf_price=Decimal("44.00"), size="9", discount=Discounts.parse("20%"))
        ]
        assert history.recent(store, 5)[0].decision == "pass"
        assert "Pass" in text(page(client, answer.headers["Location"]))
        assert len(page(client, "/history").xpath("//*[@class='rows']/li")) == 1

    @pytest.mark.parametrize("price", ["12,5o", "-3", "1e308", "NaN", "1.234", "1.234,50.", "12.345", "99999999", "١٢"])
    def test_a_bad_price_is_said_beside_its_field(self, client: FlaskClient, price: str) -> None:
        answer = client.post("/check", data={"code": "FWR1042", "price": price})
        assert answer.status_code == 400
        html = lxml.html.fromstring(answer.text)
        field = html.xpath("//input[@name='price']")[0]
        assert field.get("value") == price
        assert field.get("aria-invalid") == "true"
        assert price in text(html.get_element_by_id(field.get("aria-describedby")))
        assert html.xpath("//input[@name='code']")[0].get("value") == "FWR1042"

    def test_nothing_asked(self, client: FlaskClient) -> None:
        assert "Nothing says which item" in client.post("/check", data={"price": "5"}).text

    @pytest.mark.parametrize("data", [b"", b"not a picture", b"\x89PNG\r\n\x1a\n"])
    def test_a_photo_that_is_none_leads_to_typing(self, client: FlaskClient, data: bytes) -> None:
        answer = client.post("/check", data={"price": "5", "photo": (io.BytesIO(data), "photo.jpg")})
        assert answer.status_code == 400
        assert lxml.html.fromstring(answer.text).xpath("//input[@name='price']")[0].get("value") == "5"

    def test_what_a_photo_does_not_show_clearly_is_offered_and_not_taken(
        self, client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        unsure = PhotoReading(None, parse_code("04252614"), (), "Saw perhaps 04252614.")
        monkeypatch.setattr("sourcing.photo.read_photo", lambda _data: unsure)
        answer = client.post("/check", data={"price": "5", "photo": (io.BytesIO(b"x"), "photo.jpg")})
        assert answer.status_code == 400
        html = lxml.html.fromstring(answer.text)
        assert html.xpath("//input[@name='code']")[0].get("value") == "04252614"
        assert "Saw perhaps 04252614" in html.xpath("//*[@id='code-wrong']")[0].text_content()
        assert history.recent(store, 5) == []

    def test_the_json_twin_says_the_same_and_records_nothing(
        self, client: FlaskClient, store: Store, fixed: Callable[[Verdict], list[Query]]
    ) -> None:
        fixed(web_examples.verdict())
        answer = client.get("/check.json?code=FWR1042&price=24.99")
        assert answer.json == web_examples.verdict().as_dict()
        assert history.recent(store, 5) == []
        bad = client.get("/check.json?code=FWR1042&price=-1")
        assert bad.status_code == 400
        assert "-1" in bad.json["wrong"]


class TestHaul:
    def test_take_undo_redo_close(self, client: FlaskClient, store: Store) -> None:
        check_id = history.record(store, web_examples.verdict())
        taken = {"check_id": check_id, "count": 2, "client_id": "tap"}
        for _ in range(2):  # the same tap sent twice
            assert client.post("/haul/take", data=taken).status_code == 303
        view = haul.current(store)
        assert (view.pieces, view.outlay) == (2, Decimal("53.48"))
        html = page(client, "/haul")
        assert "53.48" in text(html)
        item = html.xpath("//input[@name='item_id']")[0].get("value")
        client.post("/haul/undo", data={"item_id": item})
        assert haul.current(store).pieces == 0
        assert "Take again" in text(page(client, "/haul"))
        client.post("/haul/redo", data={"item_id": item})
        assert haul.current(store).pieces == 2
        client.post("/haul/close")
        assert haul.current(store).id is None
        for path in ("undo", "redo", "recount"):
            answer = client.post(f"/haul/{path}", data={"item_id": item, "count": "2"})
            assert (answer.status_code, "haul is closed" in answer.text) == (409, True), path
            assert "This cannot be changed now" in answer.text  # RFC 9110, 15.5.10: in conflict with how it stands
            assert "This door is closed" not in answer.text

    def test_pieces_without_a_forecast_are_said(self, client: FlaskClient, store: Store) -> None:
        sure, blind = history.record(store, web_examples.verdict()), history.record(store, web_examples.unknown())
        buttons = {
            check: page(client, f"/check/{check}").xpath("//form[@action='/haul/take']//button")[0]
            for check in (sure, blind)
        }
        assert (buttons[sure].text, buttons[sure].get("class")) == ("Take it", "main")
        assert (buttons[blind].text, buttons[blind].get("class")) == ("Take it, no forecast", "plain")
        assert "without a forecast" in text(page(client, f"/check/{blind}").xpath("//article")[0])
        client.post("/haul/take", data={"check_id": sure, "count": "2", "client_id": "a"})
        assert "without a forecast" not in text(page(client, "/haul"))
        client.post("/haul/take", data={"check_id": blind, "count": "3", "client_id": "b"})
        shown = page(client, "/haul")
        assert "3 of 5 pieces are without a forecast" in text(shown)
        assert "where their prices are known, in the outlay; left out of profit" in text(shown)
        assert "no forecast" in text(shown.xpath("//li[contains(@class, 'little')]")[0])
        client.post("/haul/undo", data={"item_id": "2"})
        assert "without a forecast" not in text(page(client, "/haul").xpath("//main")[0])

    def test_what_was_paid_without_a_forecast_is_in_the_outlay_and_said_to_be(
        self, client: FlaskClient, store: Store
    ) -> None:
        haul.start(store, "Tannery Row")
        haul.take(store, history.record(store, web_examples.verdict()), 1)  # 26.74 landed
        haul.take(store, history.record(store, replace(web_examples.unknown(), landed_cost=Decimal("21.40"))), 1)
        for address, said in (
            ("/haul", "1 of 2 pieces is without a forecast: counted as pieces, in the prep and, where its price is "
             "known, in the outlay; left out of profit."),
            ("/run", "1 of 2 pieces is without a price or a forecast: left out of profit, and in the outlay where its "
             "price is known."),
        ):  # fmt: skip
            shown = page(client, address)
            assert " ".join(shown.xpath("string(//dt[text()='Outlay']/../dd)").split()).startswith("$48.14"), address
            assert said in " ".join(text(shown).split()), address

    def test_start_names_the_store(self, client: FlaskClient) -> None:
        client.post("/haul/start", data={"store": "Tannery Row"})
        assert "Haul at Tannery Row" in text(page(client, "/haul"))

    @pytest.mark.parametrize(
        ("data", "status"),
        [({"check_id": "x"}, 400), ({"check_id": 99}, 404), ({"check_id": 1, "count": "0"}, 400)],
    )
    def test_bad_takings(self, client: FlaskClient, store: Store, data: dict[str, str], status: int) -> None:
        history.record(store, web_examples.verdict())
        assert client.post("/haul/take", data=data).status_code == status
        assert haul.current(store).items == ()


class TestComps:
    def load(self, client: FlaskClient, content: str, status: int) -> str:
        answer = client.post("/comps/load", data={"file": (io.BytesIO(content.encode()), "mine.csv")})
        assert answer.status_code == status
        return answer.text

    def settle(self, app: Flask) -> None:
        import time

        until = time.monotonic() + 60
        while app.extensions["sourcing"].task.running:
            assert time.monotonic() < until
            time.sleep(0.02)

    def test_load_and_undo(self, app: Flask, client: FlaskClient) -> None:
        self.load(client, GOOD, 303)
        assert page(client, "/progress") is not None
        self.settle(app)
        html = page(client, "/comps")
        assert "read 2: 2 new" in text(html)
        batch = html.xpath("//input[@name='batch_id']")[0].get("value")
        assert "No row had a problem" in text(page(client, f"/comps/batch/{batch}"))
        assert client.post("/comps/undo", data={"batch_id": batch}).status_code == 303
        self.settle(app)
        assert "The table is empty" in text(page(client, "/comps"))

    def test_problems_wait_for_the_users_word(self, app: Flask, client: FlaskClient, tmp_path: Path) -> None:
        self.load(client, GOOD + "Ridge shoe,sold,5o.00,2026-01-11\n", 303)
        html = page(client, "/comps")
        assert "The table is empty" in text(html)
        address = html.xpath("//a[.='Go on']/@href")[0]
        rows = lxml.html.fromstring(client.get(f"{address}/rows").text)
        assert "5o.00" in text(rows.xpath("//*[@class='faults']")[0])
        assert client.post("/comps/file/..%2F..%2Fsecret_key/load", data={"keep": "good"}).status_code == 404
        assert client.post(f"{address}/load", data={"keep": "good", "once": "a"}).status_code == 303
        self.settle(app)
        assert "3: 2 new, 0 known, 1 rejected" in text(page(client, "/comps"))
        assert list((tmp_path / "waiting").iterdir()) == []

    def test_looking_again_can_be_stopped(self, app: Flask, client: FlaskClient) -> None:
        done = threading.Event()
        task = app.extensions["sourcing"].task
        task.start(lambda say: (say("Reading", "prices"), done.wait(20)))
        try:
            answer = client.get("/progress")
            assert "Refresh" not in answer.headers  # a header would reload the page under its script too
            html = lxml.html.fromstring(answer.text)
            assert html.xpath("//head/noscript/meta[@http-equiv='refresh']")
            assert html.get_element_by_id("progress").get("aria-live") == "polite"
            still = page(client, html.get_element_by_id("stop").get("href"))
            assert not still.xpath("//meta[@http-equiv='refresh'] | //script[contains(@src, 'progress')]")
            assert "stays as it is" in text(still)
            assert [one.get("href") for one in still.xpath("//a[.='Look again']")] == ["/progress?still=1"]
        finally:
            done.set()

    def test_no_such_batch(self, client: FlaskClient) -> None:
        page(client, "/comps/batch/7", 404)


def test_labels_in_the_picture_never_overlap() -> None:
    near = web_examples.verdict(asking_price=Decimal("30"), break_even_sale=Decimal("29.8"))
    sales = charts.past_sales(near.as_dict())
    assert sales is not None
    places = [line.label_y for line in sales.lines]
    assert all(after - before >= charts.APART for before, after in pairwise(places))
    assert all(charts.LEFT <= dot.x <= charts.RIGHT and dot.y >= charts.TOP for dot in sales.dots)


@pytest.mark.parametrize(
    ("profit", "outlay", "shown"),
    [("13.20", "26.74", "49 %"), ("-5", "20", "-25 %"), ("1", "0", "–"), (None, "3", "–")],
)
def test_profit_of_the_outlay(profit: str | None, outlay: str, shown: str) -> None:
    assert filters.on_outlay(profit, outlay).replace("\xa0", " ") == shown


def test_sell_through_counts_what_was_listed(client: FlaskClient) -> None:
    """Of 30 sold and 70 not sold 30 % (Levy & Weitz), not 30 of 70."""
    assert filters.sell_through(30, 70).replace("\xa0", " ") == "30 %"
    assert filters.sell_through(0, 0) == "–"
    rows = "Ridge shoe,shoes,sold,50.00,,2026-01-05\nRidge shoe,shoes,ended unsold,,60.00,2026-01-06\n"
    rows += "Ridge shoe,shoes,sold,51.00,,2026-01-07\nRidge shoe,shoes,sold,52.00,,2026-01-08\n"
    table = "title,category,status,sold_price,asking_price,ended_on\n" + rows
    client.post("/comps/load", data={"file": (io.BytesIO(table.encode()), "c.csv")})
    assert "75 %" in [text(cell) for cell in page(client, "/comps").xpath("//section//td")]


def test_figures_on_outlay_are_on_the_pages(client: FlaskClient, store: Store) -> None:
    check_id = history.record(store, web_examples.verdict())
    figure = page(client, f"/check/{check_id}").xpath("//dt[.='Profit of landed cost']/following-sibling::dd[1]")
    assert text(figure[0]) == "49 %"
    haul.take(store, check_id, 2)  # 13.20 and, beside the first, 9.40, on twice 26.74
    assert "42 % of outlay" in text(page(client, "/haul"))


class TestMoney:
    """Amounts are written as the settings' locale writes their currency."""

    @pytest.fixture(autouse=True)
    def kept(self, store: Store) -> None:
        settings = replace(default_settings(), currency="EUR", locale="de_DE")
        save_settings(store, settings, "a test")

    def test_lists_verdict_and_preview(self, client: FlaskClient, store: Store) -> None:
        check_id = history.record(store, web_examples.verdict(currency="EUR"))
        for path in ("/", "/history", f"/check/{check_id}"):
            shown = text(page(client, path))
            assert "28,40 €" in shown, path
            assert "$28" not in shown, path
        haul.take(store, check_id, 2)
        assert "53,48 €" in text(page(client, "/haul"))

    def test_a_past_answer_keeps_its_own_currency(self, client: FlaskClient, store: Store) -> None:
        check_id = history.record(store, web_examples.verdict(currency="JPY"))
        assert "28 ¥" in text(page(client, f"/check/{check_id}"))

    @pytest.mark.parametrize("typed", ["12,50", "12.50", "12,50 €", "EUR 12.5", " 12.50"])
    def test_a_price_is_read_in_the_currency(
        self, client: FlaskClient, fixed: Callable[[Verdict], list[Query]], typed: str
    ) -> None:
        asked = fixed(web_examples.passing())
        assert client.post("/check", data={"code": "FWR1042", "price": typed}).status_code == 303
        assert asked[0].shelf_price == Decimal("12.50")

    def test_a_currency_without_small_change_takes_none(self, client: FlaskClient, store: Store) -> None:
        save_settings(store, replace(default_settings(), currency="JPY", locale="ja_JP"), "a test")
        refused = client.post("/check", data={"code": "FWR1042", "price": "1250.50"})
        assert refused.status_code == 400
        assert "JPY" in text(lxml.html.fromstring(refused.text))


def test_no_price_is_no_error() -> None:
    assert forms.read_price({"code": "X1", "price": ""}) is None


def test_a_failed_task_says_so_and_the_next_one_runs() -> None:
    task = tasks.Task()

    def fail(_say: object) -> None:
        raise ValueError("no rows")

    done = []
    for call in (fail, lambda say: done.append(say("half", 1))):
        task.start(call)
        for _ in range(500):
            if not task.running:
                break
            __import__("time").sleep(0.01)
        assert task.failed == ("no rows" if call is fail else "")
    assert task.said == "half 1"
    assert len(done) == 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"code": "9-NOTHING-9"}, "Add brand, category and title"),
        ({"code": "9-NOTHING-9", "brand": "nobody"}, "Add category and title"),
        ({"code": "9-NOTHING-9", "brand": "nobody", "category": "shoes"}, "Add title"),
        ({"title": "Nothing known"}, "Type the style code, or add brand and category"),
        ({"brand": "nobody", "category": "shoes", "title": "Nothing known"}, "Type the style code"),
    ],
)
def test_of_an_unknown_item_only_what_is_missing_is_asked_for(
    client: FlaskClient, typed: dict[str, str], said: str
) -> None:
    html = lxml.html.fromstring(client.post("/check", data=typed | {"price": "9"}, follow_redirects=True).text)
    (card,) = html.xpath("//section[h2='Not in the comps table']")
    (link,) = [one for one in card.xpath(".//a[@class='tap']") if "code=" in one.get("href", "")]
    assert text(link) == said
    assert all(f"{name}=" in link.get("href") for name in typed)


def test_of_an_unknown_item_with_everything_typed_nothing_is_asked_for(client: FlaskClient) -> None:
    typed = {"code": "9-NOTHING-9", "brand": "nobody", "category": "shoes", "title": "Nothing known", "price": "9"}
    html = lxml.html.fromstring(client.post("/check", data=typed, follow_redirects=True).text)
    (card,) = html.xpath("//section[h2='Not in the comps table']")
    assert "All that tells which item it is has been typed." in text(card)
    assert "Type the style code" not in text(card)
