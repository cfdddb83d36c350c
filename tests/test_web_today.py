"""The Today page and command: prices moved in one tap, several at once, undone; bad input in words."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal as D
from pathlib import Path

import pytest
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient
from test_sourcing_today import listed, stocked

from sourcing.stock import shelf
from sourcing.storage import Store
from web.app import create_app
from web.cli import main
from web.state import current


@pytest.fixture
def app(samples: Path, tmp_path: Path) -> Iterator[Flask]:
    shutil.copy(samples, tmp_path / "sourcing.sqlite3")
    app = create_app(tmp_path / "sourcing.sqlite3")
    app.config["WTF_CSRF_ENABLED"] = False
    yield app
    _rest(app)
    app.extensions["sourcing"].store.close()


def _rest(app: Flask) -> None:
    """Wait until what a move brings about in the background is done."""
    while app.extensions["sourcing"].task.running:
        time.sleep(0.05)


@pytest.fixture
def kept(app: Flask) -> Store:
    with app.app_context():
        return current().store


def _asking(store: Store, *numbers: int) -> list[D]:
    return [item.listing.asking_price for item in shelf.some(store, numbers) if item.listing]


def test_pieces_of_one_item_say_that_they_wait_for_the_same_buyers(client: FlaskClient, kept: Store) -> None:
    *alike, alone = stocked(kept, 2, 3)[:4]  # three of one style, one of another
    for item in (*alike, alone):
        listed(kept, item, 10)
    page = client.get("/today").get_data(as_text=True)
    assert page.count("2 more of it are listed: buyers take one each") == 3
    assert page.count('name="one"') == 4


def test_prices_are_moved_and_moved_back(client: FlaskClient, kept: Store, app: Flask) -> None:
    empty = client.get("/today").get_data(as_text=True)
    assert "Nothing is listed" in empty
    one, two, three = stocked(kept, 3)
    for item in (one, two, three):
        listed(kept, item, 70, (70, "90.00"))
    page = client.get("/today").get_data(as_text=True)
    assert page.count('name="one"') == 3
    assert "the plan asks" in page
    assert "in 14 days" in page
    values = {f"price-{one.id}": "61.50", f"price-{two.id}": "70,00", f"price-{three.id}": "80"}
    done = client.post("/today/cut", data={**values, "one": str(one.id), "items": str(two.id)})
    assert done.status_code == 303
    assert _asking(kept, one.id, two.id, three.id) == [D("61.50"), D(90), D(90)]  # the button's piece alone
    _rest(app)
    assert kept.read("SELECT COUNT(*) FROM comp WHERE note LIKE 'own listing%' AND out = 0") == [(3,)]
    done = client.post("/today/cut", data={**values, "items": [str(two.id), str(three.id)], "do": "ticked"})
    assert _asking(kept, two.id, three.id) == [D(70), D(80)]
    action = done.headers["Location"].split("done=")[1]
    assert "Undo" in client.get(done.headers["Location"]).get_data(as_text=True)
    client.post("/today/undo", data={"action": action})
    assert _asking(kept, one.id, two.id, three.id) == [D("61.50"), D(90), D(90)]


@pytest.mark.parametrize(
    ("values", "status", "words"),
    [
        ({"do": "ticked"}, 400, "No piece was chosen"),
        ({"one": "1", "price-1": "0"}, 400, "The asking price is 0"),
        ({"one": "1", "price-1": "cheap"}, 400, "“cheap” is no asking price"),
        ({"one": "1", "price-1": "1e3"}, 400, "is no asking price"),
        ({"one": "x"}, 400, "is not the number of a piece"),
        ({"one": "99", "price-99": "9"}, 404, "There is no piece number 99"),
    ],
)
def test_bad_input_is_answered_in_words(
    client: FlaskClient, kept: Store, values: dict[str, str], status: int, words: str
) -> None:
    item = listed(kept, stocked(kept, 1)[0], 20, (20, "50.00"))
    answer = client.post("/today/cut", data=values)
    assert (answer.status_code, words in answer.get_data(as_text=True)) == (status, True)
    assert _asking(kept, item.id) == [D(50)]


def test_pages_and_orders(client: FlaskClient, kept: Store) -> None:
    items = stocked(kept, 15, each=2)
    for at, item in enumerate(items):
        listed(kept, item, 3 + at, (3 + at, "50.00"))
    first = client.get("/today?order=longest+listed").get_data(as_text=True)
    assert first.count('name="one"') == 25
    assert 'rel="next"' in first
    assert client.get("/today?order=longest+listed&page=2").get_data(as_text=True).count('name="one"') == 5
    assert client.get("/today?order=nonsense&page=-4&category=none").status_code == 200


def test_from_the_command_line(app: Flask, kept: Store, tmp_path: Path) -> None:
    item = listed(kept, stocked(kept, 1)[0], 50, (50, "90.00"))

    def run(*words: str, code: int = 0) -> str:
        done = CliRunner().invoke(main, ["today", *words, "--data", str(tmp_path)])
        assert done.exit_code == code, done.output
        return done.output

    assert "1 listed, 1 past their plan" in run()
    (line,) = json.loads(run("--late", "--every", "--json"))
    assert (line["item"], line["days_listed"], line["cut_due_days"], line["planned_price"]) == (
        item.id,
        50,
        20,
        "81.00",
    )
    assert 0 < line["chances"]["14"] < line["chances"]["30"] < 1
    said = run("--cut", f"{item.id}=80.00")
    assert _asking(kept, item.id) == [D(80)]
    run("--undo", said.rsplit(" ", 1)[1].strip())
    assert _asking(kept, item.id) == [D(90)]
    run("--cut", "nothing", code=2)
    run("--cut", "99=5", code=1)
    with kept.write_rows() as raw:
        raw.execute("UPDATE stock_item SET category = 'Odds & Ends'")
    assert "1 listed" in run("--category", "odds & ends")
    assert json.loads(run("--category", "toys", "--json")) == []  # the settings know it, nothing of it is listed
    said = run("--category", "nope", "--json", code=1)
    assert "No piece of stock is of the category “nope”, and the settings do not name it. Known: Odds & Ends, " in said
    assert "Did you mean toys?" in run("--category", "toy", code=1)
    assert "1 open, 0 ended unsold" in run("--count-own")
    assert date.today() - timedelta(days=50) == shelf.get(kept, item.id).listing.listed_on  # type: ignore[union-attr]
