"""The page, the file and the command of the break-even table."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import lxml.html
import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from sourcing.comps import load_file
from sourcing.fitting import refit
from sourcing.ladder import COLUMNS
from sourcing.storage import Store
from web.app import create_app
from web.cli import main

HOSTILE = '=HYPERLINK("x")'


@pytest.fixture(scope="module")
def data(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = Path(tmp_path_factory.mktemp("ladder"))
    store = sampled(place / "sourcing.sqlite3")
    more = place / "more.csv"
    quoted = HOSTILE.replace('"', '""')
    rows = [f'"{quoted} shoe",shoes,{size},sold,{60 + size}.00,2026-10-1{size}\n' for size in range(8)]
    more.write_text("title,category,size,status,sold_price,ended_on\n" + "".join(rows))
    load_file(store, more)
    refit(store)
    store.close()
    return place


@pytest.fixture
def client(data: Path) -> Iterator[FlaskClient]:
    app = create_app(data / "sourcing.sqlite3")
    yield app.test_client()
    app.extensions["sourcing"].store.close()


def lines(page: lxml.html.HtmlElement) -> list[str]:
    return [one.text_content() for one in page.xpath("//table[contains(@class, 'rack')]/tbody/tr/th/bdi")]


def test_pages_hold_every_line_once(client: FlaskClient) -> None:
    address, seen, pages = "/ladder?category=shoes&sort=best+known", [], 0
    while address:
        page = lxml.html.fromstring(client.get(address).text)
        shown = lines(page)
        assert len(shown) <= 50
        seen += shown
        pages += 1
        following = page.xpath("//a[@rel='next']/@href")
        address = following[0] if following else ""
    one = lxml.html.fromstring(client.get("/ladder?category=shoes&sort=best+known&rows=1000").text)
    assert pages > 2
    assert seen == lines(one)


def test_the_head_says_day_rules_and_what_it_rests_on(client: FlaskClient) -> None:
    page = lxml.html.fromstring(client.get("/ladder?category=shoes&discount=20%25").text)
    head = page.xpath("//div[@class='facts-line']")[0].text_content()
    for words in (
        "Worked out",
        "sold and",
        "newest",
        "expected profit of at least $8.00",
        "before a discount of 20\xa0%",
    ):
        assert words in head
    assert page.xpath("//h1")[0].text_content() == "Most worth paying: shoes"


def test_too_little_to_go_on_stands_apart(client: FlaskClient) -> None:
    page = lxml.html.fromstring(client.get("/ladder?part=little").text)
    assert not lines(page)
    assert "would settle" in page.xpath("//ul[@class='rows']")[0].text_content()


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("group=colour", "One of style, size, condition"),
        ("sort=colour", "no order"),
        ("rows=100000", "One of 50, 200, 1000"),
        ("page=0", "A whole number from 1"),
        ("page=x", "A whole number from 1"),
        ("discount=150", ""),
    ],
)
def test_wrong_values_are_said(client: FlaskClient, address: str, words: str) -> None:
    answer = client.get(f"/ladder?{address}")
    assert answer.status_code == 400
    (said,) = lxml.html.fromstring(answer.text).xpath("//p[@role='alert']")
    assert words in said.text_content()
    assert client.get("/ladder?page=999").status_code == 200  # a table may have shrunk meanwhile


def test_the_file_has_all_lines_and_no_formula(client: FlaskClient) -> None:
    answer = client.get("/ladder.csv?category=shoes")
    assert answer.headers["Content-Disposition"].startswith("attachment")
    rows = list(csv.DictReader(io.StringIO(answer.data.decode("utf-8-sig"))))
    assert tuple(rows[0]) == COLUMNS
    page = lxml.html.fromstring(client.get("/ladder?category=shoes&rows=1000").text)
    assert len([row for row in rows if row["known"] == "yes"]) == len(lines(page))
    assert any(row["item"].startswith("'=HYPERLINK") for row in rows)
    assert not any(cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row.values())


def test_the_command_prints_and_writes_the_same(data: Path, tmp_path: Path, client: FlaskClient) -> None:
    out = tmp_path / "rack.csv"
    run = CliRunner().invoke(
        main, ["--data", str(data), "ladder", "--category", "shoes", "--by", "size", "--out", str(out)]
    )
    assert run.exit_code == 0, run.output
    page = client.get("/ladder.csv?category=shoes&group=size").data.decode("utf-8-sig")
    assert out.read_bytes().decode() == page
    run = CliRunner().invoke(main, ["--data", str(data), "ladder", "--category", "shoes", "--find", "boot", "--json"])
    found = json.loads(run.stdout)
    assert found
    assert all("boot" in one["item"].casefold() for one in found)
    run = CliRunner().invoke(main, ["--data", str(data), "ladder", "--category", "shoes"])
    assert "at most" in run.stdout
    run = CliRunner().invoke(main, ["--data", str(data), "ladder", "--sort", "colour"])
    assert run.exit_code == 1
    assert "no order" in run.output
