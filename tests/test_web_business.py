"""Pages and files of stores, books and photos: what they show, what they refuse, and every way back."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal as D
from pathlib import Path

import openpyxl
import pytest
import web_examples
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient
from lxml import html
from test_sourcing_books import buy
from test_sourcing_photo_kept import jpeg, opened, picture

from sourcing import haul, history
from sourcing.stock import sales, shelf
from sourcing.stock.bring import bring
from sourcing.storage import Store
from web.cli import main

TODAY = date.today()


@pytest.fixture
def store(app: Flask) -> Iterator[Store]:
    return app.extensions["sourcing"].store  # type: ignore[no-any-return]


@pytest.fixture
def run(store: Store) -> int:
    """A run of two pieces in stock, one of them sold."""
    number = haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 2)
    bring(store, number)
    piece = shelf.find(store)[0]
    sales.sell(store, piece.id, D("60.00"), piece.bought_on, fees=D("8.10"))
    return number


def text(client: FlaskClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return " ".join(html.fromstring(answer.text).text_content().split())


def test_empty_pages_say_what_to_do(client: FlaskClient) -> None:
    assert "Bring a haul into stock" in text(client, "/stores")
    assert "Nothing is in the books yet" in text(client, "/books")
    assert "No pass to look back at" in text(client, "/stores/left")


def test_a_trip_is_typed_saved_and_undone(client: FlaskClient, run: int) -> None:
    page = text(client, f"/run/{run}")
    assert "Realised: 1 of 2 sold" in page
    assert "Driving or shopping is not known" in page
    sent = {"drive": "40", "shop": "1:15", "distance": "24,5", "as_usual": "on"}
    answer = client.post(f"/run/{run}/trip", data=sent)
    assert answer.status_code == 303
    page = text(client, answer.location)
    assert "Saved." in page
    assert "-$7.35" in page  # 24.5 km at 0.30
    number = re.search(r"trip=(\d+)", answer.location)
    assert number
    answer = client.post("/stores/undo", data={"number": number[1]})
    assert "Undone." in text(client, answer.location)
    assert "Driving or shopping is not known" in text(client, f"/run/{run}")
    assert "too few to tell" in text(client, "/stores").casefold()


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"drive": "an hour"}, "“an hour” are no minutes."),
        ({"shop": "20.5"}, "“20.5” are no minutes."),
        ({"drive": "99999"}, "99999 minutes cannot be."),
        ({"distance": "far"}, "“far” is no distance."),
        ({"distance": "1.25"}, "A distance of 1.25 cannot be."),
    ],
)
def test_a_trip_that_cannot_be_is_said_and_kept_in_the_form(
    client: FlaskClient, store: Store, run: int, sent: dict[str, str], said: str
) -> None:
    answer = client.post(f"/run/{run}/trip", data=sent)
    assert answer.status_code == 400
    page = html.fromstring(answer.text)
    assert said in page.xpath("string(//*[@id='trip-wrong'])")
    (name, value), = sent.items()  # fmt: skip
    (field,) = page.xpath(f"//input[@id='trip-{name}']")
    assert (field.get("value"), field.get("aria-invalid")) == (value, "true")
    assert not store.read("SELECT * FROM trip")


class TestBooks:
    def test_periods(self, client: FlaskClient, run: int) -> None:
        page = text(client, "/books")
        assert "no tax advice" in page
        assert "Net sales$60.00" in page.replace("sales $", "sales$")
        assert "1 sale has none recorded yet" in page  # postage
        earlier = TODAY - timedelta(days=800)
        assert "Net sales$0.00" in text(client, f"/books?from={earlier}&to={earlier}").replace("sales $", "sales$")
        for each in ("month", "quarter", "year"):
            assert "Cost of goods" in text(client, f"/books?each={each}")

    @pytest.mark.parametrize(
        ("query", "said"),
        [
            ("from=2027-02-30&to=2027-03-01", "“2027-02-30” is not a day."),
            ("from=2027-03-01&to=2027-02-01", "from 2027-03-01 to 2027-02-01"),
            ("from=2027-03-01", "The last day is missing."),
            ("from=1900-01-01&to=2027-02-01", "at most 60 years"),
        ],
    )
    def test_days_that_cannot_be(self, client: FlaskClient, query: str, said: str) -> None:
        answer = client.get(f"/books?{query}")
        assert answer.status_code == 400
        assert said in html.fromstring(answer.text).xpath("string(//*[@id='period-wrong'])")

    def test_files_hold_the_same_figures_and_no_formula(self, client: FlaskClient, store: Store, run: int) -> None:
        buy(store, TODAY, "10.00", "20.00", place="=cmd()")
        store.read("UPDATE stock_item SET what = '@evil' WHERE store = '=cmd()'")
        rows = list(csv.DictReader(io.StringIO(client.get("/books.csv").text)))
        total, held = rows[-1], D("26.74") + 30
        assert D(total["closing_stock"]) == held
        assert D(total["opening_stock"]) + D(total["purchases"]) - D(total["closing_stock"]) == D(
            total["cost_of_goods"]
        )
        entries = list(csv.DictReader(io.StringIO(client.get("/books/entries.csv").text)))
        assert sum(D(one["cost"]) for one in entries if one["entry"] == "purchase") == D(total["purchases"])
        assert [D(one["paid"]) for one in entries if one["entry"] == "sale"] == [D(60)]
        assert {one["what"] for one in entries if one["store"] == "'=cmd()"} == {"'@evil"}
        meant = list(csv.DictReader(io.StringIO(client.get("/books/dictionary.csv").text)))
        assert {one["column"] for one in meant if one["table"] == "statement"} == set(total)
        assert {one["column"] for one in meant if one["table"] == "entries"} == set(entries[0])
        book = openpyxl.load_workbook(io.BytesIO(client.get("/books.xlsx").data))
        assert book.sheetnames == ["Statement", "Entries", "Dictionary"]
        head, *lines = book["Statement"].iter_rows(values_only=True)
        assert D(str(dict(zip(head, lines[-1], strict=True))["closing_stock"])) == held
        cells = [cell for row in book["Entries"].iter_rows() for cell in row]
        assert all(cell.data_type != "f" for cell in cells)
        assert "=cmd()" in [cell.value for cell in cells]

    def test_the_zip_has_the_photos_of_the_period(self, client: FlaskClient, store: Store, run: int) -> None:
        piece = shelf.find(store)[0].id
        for of, number in (("item", piece), ("run", run)):
            client.post(f"/photos/{of}/{number}", data={"photo": (io.BytesIO(jpeg(picture())), "a.jpg")})
        with zipfile.ZipFile(io.BytesIO(client.get("/books.zip").data)) as archive:
            names = set(archive.namelist())
            assert {"statement.csv", "entries.csv", "dictionary.csv", "books.xlsx"} < names
            assert {f"photos/piece-{piece}-1.jpg", f"photos/run-{run}-2.jpg"} < names
            assert f"piece-{piece}-1.jpg" in archive.read("entries.csv").decode()
        old = client.get("/books.zip?from=2000-01-01&to=2000-12-31").data
        with zipfile.ZipFile(io.BytesIO(old)) as archive:
            assert not [name for name in archive.namelist() if name.startswith("photos")]


class TestPhotos:
    def test_added_shown_removed_and_brought_back(self, client: FlaskClient, store: Store, run: int) -> None:
        piece = shelf.find(store)[0].id
        sent = {"photo": (io.BytesIO(jpeg(picture(), turned=6)), "IMG_1.jpg"), "words": "the sole"}
        answer = client.post(f"/photos/item/{piece}", data=sent)
        assert answer.status_code == 303
        page = html.fromstring(client.get(answer.location.split("#")[0]).text)
        (image,) = page.xpath("//ul[@class='thumbs']//img")
        assert image.get("alt") == "the sole"
        for address in (image.get("src"), "/photos/1.jpg"):
            got = client.get(address)
            assert got.content_type == "image/jpeg"
            assert not dict(opened(got.data).getexif())
        assert opened(client.get("/photos/1.jpg").data).size == (200, 400)
        assert "the sole" in text(client, "/photos/1")
        answer = client.post("/photos/1/remove", data={"do": "remove"})
        page = html.fromstring(client.get(answer.location.split("#")[0]).text)
        assert not page.xpath("//ul[@class='thumbs']")
        assert page.xpath("//form[@action='/photos/1/remove']//button[@value='back']")
        client.post("/photos/1/remove", data={"do": "back"})
        assert "the sole" in client.get(f"/stock/{piece}").text

    @pytest.mark.parametrize(("data", "said"), [(None, "No photo was chosen."), (b"text", "That file is no photo.")])
    def test_what_is_none_is_said(self, client: FlaskClient, run: int, data: bytes | None, said: str) -> None:
        def sent() -> dict[str, tuple[io.BytesIO, str]]:
            return {} if data is None else {"photo": (io.BytesIO(data), "a.jpg")}

        answer = client.post(f"/photos/run/{run}", data=sent())
        assert answer.status_code == 400
        assert said in answer.text
        assert client.get("/photos/1.jpg").status_code == 404
        assert client.post("/photos/other/1", data=sent()).status_code == 404


def test_the_commands(store: Store, run: int, tmp_path: Path) -> None:
    data, call = str(tmp_path), CliRunner().invoke
    store.close()
    (tmp_path / "comps.db").rename(tmp_path / "sourcing.sqlite3")
    assert "Tannery Row" in call(main, ["stores", "--data", data]).output
    assert '"store": "Tannery Row"' in call(main, ["stores", "--json", "--data", data]).output
    assert "60.00" in call(main, ["books", "--data", data]).output
    for name in ("books.csv", "books.xlsx", "books.zip"):
        assert call(main, ["books", "--out", str(tmp_path / name), "--data", data]).exit_code == 0
    assert {"books.csv", "books-entries.csv", "books-dictionary.csv"} <= {path.name for path in tmp_path.iterdir()}
    wrong = call(main, ["books", "--from", "yesterday", "--data", data])
    assert wrong.exit_code != 0
    assert "“yesterday”" in wrong.output
    assert "known ending" in call(main, ["books", "--out", str(tmp_path / "books.doc"), "--data", data]).output
    assert call(main, ["export", str(tmp_path / "all.zip"), "--data", data]).exit_code == 0
    again = call(main, ["restore", str(tmp_path / "all.zip"), "--data", str(tmp_path / "again")])
    assert again.exit_code == 0, again.output
    assert "60.00" in call(main, ["books", "--data", str(tmp_path / "again")]).output
