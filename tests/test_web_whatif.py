"""The what-if page and its JSON twin."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import lxml.html
import pytest
from flask.testing import FlaskClient

from sourcing.answer import Query
from sourcing.check import check
from sourcing.money import format_money
from sourcing.settings import load_settings, save_settings, undo_settings
from sourcing.whatif import what_if
from web.app import create_app

CODE = "WE804-175"


@pytest.fixture(scope="module")
def client(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FlaskClient]:
    place = tmp_path_factory.mktemp("whatif") / "comps.db"
    shutil.copy(samples, place)
    app = create_app(place)
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    store = app.extensions["sourcing"].store
    yield app.test_client()
    store.close()


def test_a_verdict_leads_to_it_with_all_that_was_asked(client: FlaskClient) -> None:
    asked = {"code": CODE, "price": "16.99", "size": "S", "discount": "30% then 2.00"}
    verdict = lxml.html.fromstring(client.get(client.post("/check", data=asked).headers["Location"]).text)
    (link,) = verdict.xpath("//a[starts-with(@href, '/whatif/') and not(contains(@href, 'ask='))]/@href")
    moved = client.get(link)
    assert moved.status_code == 302
    page = lxml.html.fromstring(client.get(moved.headers["Location"]).text)
    (form,) = page.xpath("//form[@id='suppose']")
    sent = dict(form.form_values())
    assert Decimal(sent["price"]) == Decimal("16.99")
    assert {name: sent[name] for name in ("code", "size", "ask", "days")} == {
        "code": CODE, "size": "S", "ask": "", "days": "",
    }  # fmt: skip
    assert re.fullmatch(r"30% then 2(\.00)?", sent["discount"])
    most = verdict.xpath("//p[@class='most']/strong")[0].text
    assert page.xpath("//p[@class='most']/strong")[0].text == most


def test_the_twin_has_the_figures_and_the_parts_of_the_page(client: FlaskClient) -> None:
    address = f"code={CODE}&price=4.50&ask=31&days=30"
    found = client.get(f"/whatif.json?{address}").get_json()
    page = lxml.html.fromstring(client.get(f"/whatif?{address}").text)
    for name, text in found["page"].items():
        there = page.get_element_by_id(name)
        assert " ".join(there.text_content().split()) == " ".join(lxml.html.fromstring(text).text_content().split())
    (chosen,) = [one for one in found["asks"] if one["chosen"]]
    assert chosen["ask"] == found["verdict"]["asking_price"] == "31.00"
    assert chosen["left"] == found["verdict"]["profit_after_labour"]
    assert found["days"] == 30
    assert found["verdict"]["query"]["shelf_price"] == "4.50"


def test_the_picture_and_the_table_hold_the_same(client: FlaskClient) -> None:
    address = f"code={CODE}&price=4.50&ask=31&days=30"
    asks = client.get(f"/whatif.json?{address}").get_json()["asks"]
    page = lxml.html.fromstring(client.get(f"/whatif?{address}").text)
    (picture,) = page.xpath("//svg[contains(@class, 'whatif')]")
    assert picture.get("aria-label")
    assert len(page.xpath("//table[.//th='Ask']/tbody/tr")) == len(asks)
    for kind in ("left", "chance"):
        (path,) = picture.xpath(f".//path[@class='{kind}']/@d")
        points = [tuple(map(float, point.split())) for point in path[1:].split(" L")]
        assert len(points) == len(asks)
        # The chance falls with the asking price, so its curve goes down, and down is up in a picture's numbers.
        if kind == "chance":
            assert [y for _, y in points] == sorted(y for _, y in points)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("price", "12,5o", "is not a shelf price"),
        ("discount", "150", ""),
        ("ask", "dear", "is not an asking price"),
        ("ask", "0", "is not an asking price"),
        ("ask", "-3", "is not an asking price"),
        ("ask", "99999", "such items bring about"),
        ("days", "soon", "is no number of days"),
        ("days", "0", "From 1 to 365"),
        ("days", "99999", "From 1 to 365"),
    ],
)
def test_a_wrong_value_is_said_beside_its_field(client: FlaskClient, field: str, value: str, words: str) -> None:
    answer = client.get("/whatif", query_string={"code": CODE, field: value})
    assert answer.status_code == 400
    page = lxml.html.fromstring(answer.text)
    said = page.get_element_by_id(f"{field}-wrong").text_content()
    assert words in said
    assert said.strip()
    assert page.get_element_by_id(field).get("value") == value
    twin = client.get("/whatif.json", query_string={"code": CODE, field: value})
    assert (twin.status_code, twin.get_json()["field"]) == (400, field)


def test_an_item_nothing_is_known_of_has_no_picture(client: FlaskClient) -> None:
    answer = client.get("/whatif?code=ZZQ7788&price=20")
    assert answer.status_code == 200
    assert "Too little to go on" in answer.text
    assert '<svg class="picture' not in answer.text
    assert client.get("/whatif").status_code == 400
    assert client.get("/whatif/99999").status_code == 404


def test_nothing_is_recorded(client: FlaskClient) -> None:
    history: Callable[[], str] = lambda: client.get("/history").text  # noqa: E731
    before = history()
    client.get(f"/whatif?code={CODE}&price=5")
    client.get(f"/whatif.json?code={CODE}&price=5")
    assert history() == before


def test_flags_of_the_piece_cost_their_minutes_and_travel_along(client: FlaskClient) -> None:
    page = lxml.html.fromstring(client.get(f"/whatif?code={CODE}&price=5").text)
    names = page.xpath("//input[@name='flags']/@value")
    assert names
    plain = client.get(f"/whatif.json?code={CODE}&price=5&ask=31").get_json()
    for query in (f"flags={names[0]}&flags={names[1]}", f"flags={names[0]},{names[1]}"):
        marked = client.get(f"/whatif.json?code={CODE}&price=5&ask=31&{query}").get_json()
        (chosen,) = [one for one in marked["asks"] if one["chosen"]]
        assert chosen["left"] == marked["verdict"]["profit_after_labour"] != plain["verdict"]["profit_after_labour"]
        page = lxml.html.fromstring(client.get(f"/whatif?code={CODE}&price=5&{query}").text)
        assert page.xpath("//input[@name='flags'][@checked]/@value") == names[:2]
    assert client.get(f"/whatif.json?code={CODE}&flags=haunted").get_json()["field"] == "flags"


def test_every_figure_follows_the_channel(client: FlaskClient) -> None:
    """Supposed on one channel, it is judged as if everything were sold there; no other word of the settings changes."""
    asked = {"code": CODE, "price": "16.99"}
    assert not lxml.html.fromstring(client.get("/whatif", query_string=asked).text).xpath("//select[@name='channel']")
    store = client.application.extensions["sourcing"].store
    kept = load_settings(store)
    two = {**kept.channels, "bazaar": {**kept.channels["main"], "fee_rate": Decimal("0.30")}}
    save_settings(store, replace(kept, channels=two), "a second channel")
    try:
        page = lxml.html.fromstring(client.get("/whatif", query_string=asked | {"channel": "Bazaar"}).text)
        assert page.xpath("//select[@name='channel']/option/text()") == ["as your settings say", "main", "bazaar"]
        assert page.xpath("//select[@name='channel']/option[@selected]/text()") == ["bazaar"]
        plain, main, bazaar = (
            client.get("/whatif.json", query_string=asked | {"channel": name}).json for name in ("", "main", "bazaar")
        )
        assert plain["verdict"] == main["verdict"]
        assert Decimal(bazaar["verdict"]["profit_after_labour"]) < Decimal(main["verdict"]["profit_after_labour"])
        assert Decimal(bazaar["verdict"]["most_worth_paying"]) < Decimal(main["verdict"]["most_worth_paying"])
        assert bazaar["page"]["receipt"] != main["page"]["receipt"]
        assert "30\xa0% of" in bazaar["page"]["receipt"]
        alone = replace(kept, channels=two, default={**kept.default, "channel": "bazaar"})
        query = Query(code=CODE, shelf_price=Decimal("16.99"))
        assert bazaar["verdict"] == json.loads(json.dumps(check(store, query, alone).as_dict()))
        wrong = client.get("/whatif", query_string=asked | {"channel": "bazar"})
        assert wrong.status_code == 400
        place = lxml.html.fromstring(wrong.text).get_element_by_id("channel-wrong").text_content()
        assert "bazar" in place
        assert "bazaar" in place
    finally:
        undo_settings(store)


def test_a_limit_above_what_others_get_stands_beside_the_one_at_their_price(client: FlaskClient) -> None:
    store = client.application.extensions["sourcing"].store
    kept, shown = load_settings(store), 0
    for (code,) in store.read("SELECT style_code FROM product WHERE style_code <> '' ORDER BY id LIMIT 12"):
        query = Query(code=str(code), shelf_price=Decimal("6.99"))
        answer = check(store, query)
        page = lxml.html.fromstring(
            client.get(client.post("/check", data={"code": code, "price": "6.99"}).location).text
        )
        lines = [" ".join(line.text_content().split()) for line in page.find_class("usual") if line.tag == "p"]
        dearer = answer.asking_price is not None and answer.sale_price and answer.asking_price > answer.sale_price.high
        assert len(lines) == bool(dearer), code
        if not dearer:
            continue
        shown += 1
        assert answer.sale_price is not None
        there = what_if(store, query, kept, ask=answer.sale_price.mid).verdict
        assert there.most_worth_paying is not None
        assert f"it is worth at most {format_money(there.most_worth_paying)}." in lines[0]
        assert ("Then the word is: pass." in lines[0]) == (answer.decision == "buy" and there.decision == "pass")
    assert shown
