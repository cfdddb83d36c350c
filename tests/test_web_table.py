"""The pages of the comps table: looking up, changing, undoing, all of it without JavaScript."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from urllib.parse import parse_qs, urlsplit

import lxml.html
import pytest
from flask import Flask
from flask.testing import FlaskClient
from web_examples import unknown
from werkzeug.test import TestResponse

from sourcing import history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import batches, load_file, undo_batch
from sourcing.comps.comp import CompRow
from sourcing.comps.search import Filter, search
from sourcing.fitting import refit
from sourcing.storage import Store
from web import charts_evidence

TODAY = datetime.now(UTC).date()
HEADER = "gtin,style_code,brand,category,title,size,condition,asking_price,sold_price,listed_on,ended_on,status"


def comps_file() -> bytes:
    """Write an invented table: two styles with ten rows each, one title without a code."""
    lines = [HEADER]
    for place in range(10):
        ended = (TODAY - timedelta(days=9 * place + 3)).isoformat()
        listed = (TODAY - timedelta(days=9 * place + 30)).isoformat()
        lines.append(
            f"9521234567899,KT-1042,Kestrel,shoes,Trail runner grey,9,new,70,{60 + place},{listed},{ended},sold"
        )
        lines.append(f",KT-1042B,kestrel ,shoes,Trail runner gray,10,new,75,{62 + place},{listed},{ended},sold")
    lines.append(",,,kitchen,Walnut pepper mill,,used,18,,,,open")
    return "\n".join(lines).encode()


@pytest.fixture
def store(app: Flask, monkeypatch: pytest.MonkeyPatch) -> Store:
    store: Store = app.extensions["sourcing"].store
    load_file(store, io.BytesIO(comps_file()), name="invented.csv", as_of=TODAY)
    monkeypatch.setattr("web.table.learn", lambda: None)  # its thread would outlive the test
    monkeypatch.setattr("web.typed.learn", lambda: None)
    return store


def page(answer: TestResponse, status: int = 200) -> lxml.html.HtmlElement:
    assert answer.status_code == status, answer.text
    return lxml.html.fromstring(answer.text)


def text(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


def rows(store: Store, **wanted: object) -> list[CompRow]:
    return list(search(store, Filter(**wanted), per_page=100).rows)  # type: ignore[arg-type]


def root(store: Store, code: str) -> int:
    return rows(store, query=code)[0].root


def undo_offered(html: lxml.html.HtmlElement) -> dict[str, str]:
    (form,) = html.xpath("//form[contains(@class, 'done')]")
    return {field.get("name"): field.get("value") for field in form.xpath(".//input")}


class TestLookingUp:
    @pytest.mark.parametrize(
        ("address", "count"),
        [("", 21), ("?query=KT-1042", 10), ("?query=peper+wallnut", 1), ("?category=Shoes", 20), ("?status=open", 1),
         ("?category=kitchen&status=sold", 0), ("?within=30", 9), ("?counts=counted", 21), ("?batch_id=1", 21),
         ("?brand=%28none%29", 1)],
    )  # fmt: skip
    def test_rows(self, client: FlaskClient, store: Store, address: str, count: int) -> None:
        html = page(client.get(f"/comps/table{address}"))
        links = html.xpath("//ul[@class='finds']/li/a/@href")
        assert len(links) == count
        for link in links[:1]:
            assert text(page(client.get(link)).find(".//h1")) in text(html)

    def test_pages_keep_the_filter(self, client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("web.table.search", lambda store, wanted: search(store, wanted, per_page=6))
        seen, address = [], "/comps/table?category=shoes&sort=cheapest"
        for _ in range(9):
            html = page(client.get(address))
            seen += [link.get("href") for link in html.xpath("//ul[@class='finds']//a")]
            following = html.xpath("//a[@rel='next']/@href")
            if not following:
                break
            address = following[0]
        assert len(seen) == len(set(seen)) == 20

    def test_what_was_asked_stays_in_the_form(self, client: FlaskClient, store: Store) -> None:
        html = page(client.get("/comps/table?query=trail&status=sold&within=90&category=shoes"))
        assert html.xpath("//input[@name='query']/@value") == ["trail"]
        chosen = {
            select.get("name"): select.xpath("./option[@selected]/@value")[0]
            for select in html.xpath("//select[./option[@selected]]")
        }
        assert chosen == {"status": "sold", "within": "90", "category": "shoes"}

    @pytest.mark.parametrize(
        "address", ["?page=0", "?page=x", "?within=-1", "?status=gone", "?sort=up", "?query=" + "x" * 201]
    )
    def test_bad_addresses_say_what_is_accepted(self, client: FlaskClient, store: Store, address: str) -> None:
        page(client.get(f"/comps/table{address}"), 400)

    def test_an_empty_table(self, client: FlaskClient) -> None:
        for name in ("table", "names", "changes", "evidence"):
            page(client.get(f"/comps/{name}"))
        for address in ("row", "row?row=1-2", "item", "item?item=3"):
            assert client.get(f"/comps/{address}").status_code in (400, 404)

    def test_markup_in_a_title_stays_text(self, client: FlaskClient, store: Store) -> None:
        hostile = b"title,status,sold_price\n<script>alert(1)</script>,sold,5\n"
        load_file(store, io.BytesIO(hostile), name="<b>.csv", as_of=TODAY)
        (row,) = rows(store, batch_id=2)
        for address in ("table", f"row?row={row.id}", f"item?item={row.root}"):
            answer = client.get(f"/comps/{address}")
            assert "<script>alert" not in answer.text
            assert "&lt;script&gt;" in answer.text


class TestOneRow:
    def test_everything_it_says_and_where_it_came_from(self, client: FlaskClient, store: Store) -> None:
        row = rows(store, query="KT-1042", sort="cheapest")[0]
        html = page(client.get(f"/comps/row?row={row.id}"))
        shown = dict(zip(*(map(text, html.xpath(f"//article//{tag}")) for tag in ("dt", "dd")), strict=True))
        assert shown["Sold price"] == "60.00"
        assert shown["Style code"] == "KT-1042"
        assert "load 1" in text(html)
        assert "row 2 of the file" in text(html)
        assert batches(store)[0].sha256 in text(html)

    def test_change_and_undo(self, client: FlaskClient, store: Store) -> None:
        row = rows(store, query="KT-1042")[0]
        html = page(client.get(f"/comps/row?row={row.id}"))
        (form,) = html.xpath("//form[@action='/comps/row/edit']")
        sent = dict(form.form_values()) | {"sold_price": "55,5", "note": "box torn"}
        done = page(client.post("/comps/row/edit", data=sent, follow_redirects=True))
        assert "Changed sold price and note of Trail runner grey" in text(done)
        assert rows(store, query="KT-1042", sort="cheapest")[0].sold_price == Decimal("55.50")
        undone = page(client.post("/comps/changes/undo", data=undo_offered(done), follow_redirects=True))
        assert "Undone: changed sold price" in text(undone)
        assert rows(store, query="KT-1042", sort="cheapest")[0].sold_price == Decimal("60.00")

    def test_a_wrong_value_stays_beside_its_field(self, client: FlaskClient, store: Store) -> None:
        row = rows(store, query="KT-1042")[0]
        sent = {"row": str(row.id), "sold_price": "5o", "note": "kept as typed"}
        html = page(client.post("/comps/row/edit", data=sent), 400)
        (field,) = html.xpath("//input[@aria-invalid]")
        assert (field.get("name"), field.get("value")) == ("sold_price", "5o")
        assert "5o" in text(html.get_element_by_id(field.get("aria-describedby")))
        assert html.xpath("//input[@name='note']/@value") == ["kept as typed"]
        assert rows(store, query="KT-1042")[0].note == ""

    def test_set_aside_and_bring_back(self, client: FlaskClient, store: Store) -> None:
        row = rows(store, query="KT-1042")[0]
        refused = page(client.post("/comps/aside", data={"row": str(row.id), "reason": " "}), 400)
        assert refused.xpath("//*[@role='alert']")
        done = page(client.post("/comps/aside", data={"row": str(row.id), "reason": "a lot"}, follow_redirects=True))
        assert "Not counted: set aside by you (a lot)" in text(done)
        assert "set aside by you (a lot)" in text(page(client.get("/comps/table?counts=set+aside+by+you")))
        page(client.post("/comps/back", data={"row": str(row.id)}, follow_redirects=True))
        assert rows(store, counts="set aside by you") == []


class TestOneItem:
    def test_merge_by_code_and_undo(self, client: FlaskClient, store: Store) -> None:
        gone, stays = root(store, "KT-1042B"), root(store, "KT-1042")
        html = page(client.get(f"/comps/item?item={gone}"))
        assert [one for one in html.xpath("//a/@href") if one == f"/comps/item?item={stays}"]  # alike by its words
        done = page(client.post("/comps/merge", data={"item": gone, "into": "9521234567899"}, follow_redirects=True))
        assert "Merged KT1042B into KT1042: 10 rows" in text(done)
        assert len(rows(store, item=stays)) == 20
        page(client.post("/comps/changes/undo", data=undo_offered(done), follow_redirects=True))
        assert len(rows(store, item=stays)) == 10

    @pytest.mark.parametrize("into", ["", "NOSUCH1", "KT-1042B"])
    def test_a_merge_that_cannot_be(self, client: FlaskClient, store: Store, into: str) -> None:
        gone = root(store, "KT-1042B")
        html = page(client.post("/comps/merge", data={"item": gone, "into": into}), 400)
        assert html.xpath("//*[@role='alert']")
        assert len(rows(store, item=gone)) == 10

    def test_ticked_rows_move_or_are_set_aside(self, client: FlaskClient, store: Store) -> None:
        item = root(store, "KT-1042")
        html = page(client.get(f"/comps/item?item={item}"))
        ticks = html.xpath("//input[@type='checkbox']/@value")
        assert len(ticks) == 10
        data = {"item": item, "row": ticks[:2], "reason": "another colour"}
        page(client.post("/comps/aside", data=data, follow_redirects=True))
        assert len(rows(store, counts="set aside by you")) == 2
        data = {"item": item, "row": ticks[:3], "style_code": "KT-2000"}
        moved = page(client.post("/comps/move", data=data, follow_redirects=True))
        assert "Moved 3 rows to KT2000" in text(moved)
        assert len(rows(store, query="KT2000")) == 3
        refused = page(client.post("/comps/move", data={"item": item, "style_code": "KT-3"}), 400)
        assert "No row was chosen" in text(refused)

    def test_a_barcode_alone_is_shown_with_the_style_it_leads_to(self, client: FlaskClient, store: Store) -> None:
        alone = f"{HEADER}\n9521234567899,,,,,,,,40,,,sold\n".encode()
        load_file(store, io.BytesIO(alone), name="barcode.csv", as_of=TODAY)
        (row,) = rows(store, batch_id=2)
        assert row.root == root(store, "KT-1042") != row.id.product_id
        html = page(client.get(f"/comps/item?item={row.id.product_id}"))
        assert len(html.xpath("//input[@type='checkbox']")) == 11

    def test_all_rows_can_go(self, client: FlaskClient, store: Store) -> None:
        item = root(store, "KT-1042B")
        ticks = [str(row.id) for row in rows(store, item=item)]
        page(client.post("/comps/move", data={"item": item, "row": ticks, "style_code": "ZZ1"}, follow_redirects=True))
        assert len(rows(store, query="ZZ1")) == 10


class TestNames:
    def test_rename_and_undo(self, client: FlaskClient, store: Store) -> None:
        html = page(client.get("/comps/names"))
        assert "also kestrel" in text(html)
        assert "20 rows, 2 items" in text(html)
        data = {"kind": "brand", "name": ["Kestrel"], "to": "Tarn"}
        done = page(client.post("/comps/rename", data=data, follow_redirects=True))
        assert "read for kestrel" in text(done)
        assert {row.brand for row in rows(store, category="shoes")} == {"Tarn"}
        page(client.post("/comps/changes/undo", data=undo_offered(done), follow_redirects=True))
        assert {row.brand for row in rows(store, category="shoes")} == {"Kestrel", "kestrel"}

    @pytest.mark.parametrize("data", [{"kind": "brand"}, {"kind": "brand", "name": "Kestrel"}, {"kind": "colour"}])
    def test_what_cannot_be(self, client: FlaskClient, store: Store, data: dict[str, str]) -> None:
        html = page(client.post("/comps/rename", data=data), 400)
        assert html.xpath("//*[@role='alert']")

    def test_names_are_looked_up(self, client: FlaskClient, store: Store) -> None:
        html = page(client.get("/comps/names?find=KITCH"))
        assert html.xpath("//input[@name='name']/@value") == ["kitchen"]


class TestChanges:
    def test_what_was_built_on_waits(self, client: FlaskClient, store: Store) -> None:
        row = rows(store, query="KT-1042")[0]
        for price in ("41", "42"):
            client.post("/comps/row/edit", data={"row": str(row.id), "sold_price": price})
        html = page(client.post("/comps/changes/undo", data={"edit_id": "1"}), 409)
        assert "Undo change 2 first" in text(html.xpath("//*[@role='alert']")[0])
        page(client.post("/comps/changes/undo", data={"edit_id": "2"}, follow_redirects=True))
        page(client.post("/comps/changes/undo", data={"edit_id": "1"}, follow_redirects=True))
        assert len(page(client.get("/comps/changes")).xpath("//li[contains(@class, 'gone')]")) == 2

    def test_rows_whose_load_was_undone(self, client: FlaskClient, store: Store) -> None:
        row = rows(store, query="KT-1042")[0]
        client.post("/comps/aside", data={"row": str(row.id), "reason": "lot"})
        undo_batch(store, 1)
        html = page(client.post("/comps/changes/undo", data={"edit_id": "1"}, follow_redirects=True))
        assert "Its rows are gone" in text(html)


class TestEvidence:
    def test_ages_and_what_is_wanted(self, client: FlaskClient, store: Store) -> None:
        for _ in range(2):
            history.record(store, unknown())
        html = page(client.get("/comps/evidence"))
        (line,) = [one for one in html.xpath("//tbody/tr") if text(one).startswith("shoes") and len(one) == 8]
        assert [text(cell) for cell in line[1:7]] == ["8", "12", "0", "0", "0", "0"]
        assert "asked 2 times" in text(html)
        (picture,) = html.xpath("//*[name()='svg'][contains(@class, 'ages')]")
        assert "Rows of each category by age" in picture.get("aria-label")

    def test_the_bars_are_as_long_as_their_rows(self) -> None:
        from sourcing.comps.gaps import Thickness

        found = [
            Thickness("a", (10, 0, 30, 0, 0, 10), 4, 2.0, 1, None),
            Thickness("", (5, 0, 0, 0, 0, 0), 1, 5.0, 0, None),
        ]
        picture = charts_evidence.ages(found)
        assert picture is not None
        first, second = picture.bars
        assert [(part.kind, part.x, part.width) for part in first.parts] == [
            ("a0", 0.0, 68.0), ("a2", 68.0, 204.0), ("a5", 272.0, 68.0)
        ]  # fmt: skip
        assert (second.label, second.parts[0].width) == ("none named", 34.0)
        assert charts_evidence.ages([]) is None


class TestTypedIn:
    @pytest.fixture
    def checked(self, store: Store) -> int:
        refit(store)
        query = Query(code="KT-1042", shelf_price=Decimal("20.00"), condition="new", size="9")
        return history.record(store, check(store, query))

    def add(self, client: FlaskClient, checked: int, **data: str) -> TestResponse:
        said = {"seen": "64,50", "kind": "sold", "condition": "used", "token": "one"}
        return client.post(f"/check/{checked}/comp", data=said | data)

    def test_a_sale_is_a_comp_at_once_and_can_be_undone(self, client: FlaskClient, store: Store, checked: int) -> None:
        before = history.get(store, checked)[1]
        answer = self.add(client, checked)
        assert answer.status_code == 303
        place = urlsplit(answer.headers["Location"])
        now = history.get(store, int(place.path.split("/")[-1]))[1]
        assert now["comps_sold"] == before["comps_sold"] + 1
        assert now["shelf_price"] == "20.00"
        (row,) = [one for one in rows(store, item=root(store, "KT-1042")) if one.typed_in]
        assert (row.sold_price, row.condition, row.size, row.ended_on) == (Decimal("64.50"), "used", "9", TODAY)
        assert row.item_code == "KT1042"
        assert "Typed by you" in text(page(client.get(f"/comps/row?row={row.id}")))
        (batch,) = [one for one in batches(store) if one.file_name == "typed in"]
        assert parse_qs(place.query)["typed"] == [str(batch.id)]
        html = page(client.get(answer.headers["Location"]))
        undone = client.post(f"{place.path}/comp/undo", data=undo_offered(html))
        after = history.get(store, int(urlsplit(undone.headers["Location"]).path.split("/")[-1]))[1]
        assert after["comps_sold"] == before["comps_sold"]

    def test_the_same_tap_twice_adds_one_and_an_equal_sale_two(
        self, client: FlaskClient, store: Store, checked: int
    ) -> None:
        for token in ("one", "one", "two"):
            assert self.add(client, checked, token=token).status_code == 303
        found = [one for one in rows(store, item=root(store, "KT-1042")) if one.typed_in]
        assert [(one.sold_price, one.out) for one in found] == [(Decimal("64.50"), "")] * 2

    def test_an_asking_price_is_an_open_listing(self, client: FlaskClient, store: Store, checked: int) -> None:
        self.add(client, checked, kind="asked")
        (row,) = [one for one in rows(store, item=root(store, "KT-1042")) if one.typed_in]
        assert (row.status, row.asking_price, row.seen_on) == ("open", Decimal("64.50"), TODAY)

    def test_an_item_the_table_does_not_know_becomes_known(self, client: FlaskClient, store: Store) -> None:
        refit(store)
        checked = history.record(store, check(store, Query(code="NEW-77", title="Slate mortar", category="kitchen")))
        self.add(client, checked)
        (row,) = rows(store, query="NEW77")
        assert (row.title, row.category) == ("Slate mortar", "kitchen")

    @pytest.mark.parametrize("seen", ["", "abc", "0", "-3", "1e9"])
    def test_what_is_no_price(self, client: FlaskClient, store: Store, checked: int, seen: str) -> None:
        page(self.add(client, checked, seen=seen), 400)
        assert [one for one in batches(store) if one.file_name == "typed in"] == []

    def test_an_item_only_named_by_its_brand(self, client: FlaskClient, store: Store) -> None:
        checked = history.record(store, check(store, Query(brand="Kestrel", category="shoes")))
        assert "which item" in text(page(self.add(client, checked), 400))
