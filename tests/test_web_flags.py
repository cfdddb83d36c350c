"""Flags on the pages, in the JSON, in lists and on the command line."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import lxml.html
import pytest
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient

from sourcing import haul, history
from sourcing.settings import load_settings, save_settings
from sourcing.shelf_list import answer_list
from sourcing.storage import Store, open_store
from web.app import create_app
from web.cli import main

COMPS = "title,category,status,sold_price,ended_on\n" + "".join(
    f"Ridge shoe,shoes,sold,{50 + day}.00,2026-01-{day + 1:02}\n" for day in range(9)
)


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Flask]:
    from sourcing.comps import load_file
    from sourcing.fitting import refit

    app = create_app(tmp_path / "sourcing.sqlite3")
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    (tmp_path / "comps.csv").write_text(COMPS)
    load_file(app.extensions["sourcing"].store, tmp_path / "comps.csv", name="comps.csv")
    refit(app.extensions["sourcing"].store)
    yield app
    app.extensions["sourcing"].store.close()


@pytest.fixture
def store(app: Flask) -> Store:
    kept: Store = app.extensions["sourcing"].store
    return kept


def judged(client: FlaskClient, *flags: str, status: int = 200) -> lxml.html.HtmlElement:
    sent = {"title": "Ridge shoe", "price": "9", "flags": list(flags)}
    answer = client.post("/check", data=sent, follow_redirects=True)
    assert answer.status_code == status
    return lxml.html.fromstring(answer.text)


def chips(page: lxml.html.HtmlElement) -> dict[str, bool]:
    return {
        box.get("value"): box.get("checked") is not None
        for box in page.xpath("//form[@id='ask']//input[@name='flags']")
    }


def said(page: lxml.html.HtmlElement) -> str:
    card = page.xpath("//section[h2[.='What it has']]")
    return " ".join(card[0].text_content().split()) if card else ""


def test_the_form_offers_the_flags_of_the_settings_as_chips(client: FlaskClient, store: Store) -> None:
    page = lxml.html.fromstring(client.get("/?flags=scuffed").text)
    assert chips(page) == {"price_ink": False, "no_box": False, "scuffed": True, "battery_test": False}
    assert page.xpath("//label[input/@value='battery_test']/span/text()") == ["needs a battery test"]
    save_settings(store, replace(load_settings(store), flags={}), "none")
    page = lxml.html.fromstring(client.get("/").text)
    assert chips(page) == {}
    assert not page.xpath("//fieldset[legend[.='What it has']]")


def test_the_verdict_says_of_each_flag_what_it_does(client: FlaskClient, store: Store) -> None:
    page = judged(client, "no_box", "scuffed")
    assert "no box 2 min of prep, $0.60 of supplies." in said(page)
    assert "scuffed 5 min of prep. Your comps do not show what “scuffed” costs; price left as it is." in said(page)
    assert "Judge again with" in said(page)
    query, answer = history.get(store, history.recent(store, 1)[0].id)
    assert query.flags == ("no_box", "scuffed")
    assert [one["name"] for one in answer["flags"]] == ["no_box", "scuffed"]


def test_one_tap_judges_again_without_a_flag_or_with_another(client: FlaskClient, store: Store) -> None:
    page = judged(client, "no_box")
    (form,) = page.xpath("//form[button[.='Without']]")
    answer = client.post(form.get("action"), data={"flags": form.xpath("input[@name='flags']/@value")[0]})
    assert answer.status_code == 303
    query = history.get(store, history.recent(store, 1)[0].id)[0]
    assert query.flags == ()
    assert query.title == "Ridge shoe"
    assert query.shelf_price == Decimal(9)
    page = lxml.html.fromstring(client.get(answer.location).text)
    assert "Something about this piece?" in said(page)
    (form,) = page.xpath("//form[button[.='+ scuffed']]")
    client.post(form.get("action"), data={"flags": form.xpath("input[@name='flags']/@value")[0]})
    assert history.get(store, history.recent(store, 1)[0].id)[0].flags == ("scuffed",)
    assert len(history.recent(store, 9)) == 3


def test_an_unknown_flag_is_told_at_the_chips_and_the_rest_is_kept(client: FlaskClient, store: Store) -> None:
    page = judged(client, "no_box", "scufed", status=400)
    (told,) = page.xpath("//p[@id='flags-wrong']")
    assert "There is no flag “scufed”. The closest is “scuffed”." in " ".join(told.text_content().split())
    assert chips(page)["no_box"]
    assert page.xpath("//input[@name='title']/@value") == ["Ridge shoe"]
    assert history.recent(store, 1) == []
    judged(client, "no_box")
    number = history.recent(store, 1)[0].id
    assert client.post(f"/check/{number}/flags", data={"flags": "scufed"}).status_code == 400
    assert client.post("/check/999/flags", data={"flags": "scuffed"}).status_code == 404


def test_a_past_check_may_have_a_flag_that_is_gone(client: FlaskClient, store: Store) -> None:
    judged(client, "no_box", "scuffed")
    number = history.recent(store, 1)[0].id
    settings = load_settings(store)
    save_settings(store, replace(settings, flags={"scuffed": settings.flags["scuffed"]}), "one less")
    page = lxml.html.fromstring(client.get(f"/check/{number}").text)
    assert "no box" in said(page)
    client.post(f"/check/{number}/flags", data={"flags": "scuffed"})
    assert history.get(store, history.recent(store, 1)[0].id)[0].flags == ()


def test_an_answer_kept_before_there_were_flags_still_shows(client: FlaskClient, store: Store) -> None:
    judged(client)
    number = history.recent(store, 1)[0].id
    query, answer = (json.loads(text) for text in store.read("SELECT query, answer FROM checked")[0])
    del query["flags"], answer["flags"], answer["item"]["flags"]
    with store.write() as connection:
        connection.exec_driver_sql("UPDATE checked SET query = ?, answer = ?", (json.dumps(query), json.dumps(answer)))
    assert history.get(store, number)[0].flags == ()
    assert client.get(f"/check/{number}").status_code == 200
    haul.take(store, number)
    assert haul.current(store).prep_minutes == load_settings(store).for_category("shoes").terms.prep_minutes


def test_the_haul_counts_the_flags_minutes(client: FlaskClient, store: Store) -> None:
    judged(client, "scuffed")
    haul.take(store, history.recent(store, 1)[0].id, 2)
    usual = load_settings(store).for_category("shoes").terms.prep_minutes
    assert haul.current(store).prep_minutes == 2 * (usual + 5)


def test_the_json_twin_takes_and_tells_flags(client: FlaskClient) -> None:
    found = client.get("/check.json?title=Ridge+shoe&price=9&flags=scuffed&flags=no_box").get_json()
    assert found["item"]["flags"] == ["no_box", "scuffed"]
    assert found == client.get("/check.json?title=Ridge+shoe&price=9&flags=scuffed,no_box").get_json()
    assert found["flags"][0] == {
        "name": "no_box", "label": "no box", "minutes": "2", "supplies": "0.60", "price_change": None, "low": None,
        "high": None, "comps": 0, "words": "Your comps do not show what “no box” costs; price left as it is.",
    }  # fmt: skip
    bad = client.get("/check.json?title=Ridge+shoe&flags=boxless")
    assert bad.status_code == 400
    assert "boxless" in bad.get_data(as_text=True)


def test_a_list_has_a_column_of_flags(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text(
        'title,shelf_price,flags\nRidge shoe,9,"no box; Scuffed"\nRidge shoe,9,\nRidge shoe,9,"scufed, no_box"\n'
    )
    found = answer_list(store, path)
    assert [one["flags"] for one in found.rows] == ["no_box, scuffed", "", "scufed, no_box"]
    assert [bool(one["problem"]) for one in found.rows] == [False, False, True]
    assert "The closest is “scuffed”" in found.rows[2]["problem"]
    assert Decimal(found.rows[0]["profit_after_labour"]) < Decimal(found.rows[1]["profit_after_labour"]) - 2
    again = io.StringIO()
    writer = csv.DictWriter(again, found.columns)
    writer.writeheader()
    writer.writerows(found.rows)
    path.write_text(again.getvalue())
    assert [one["flags"] for one in answer_list(store, path).rows] == ["no_box, scuffed", "", "scufed, no_box"]


def test_the_command_takes_flags(app: Flask, store: Store, tmp_path: Path) -> None:
    given = ["check", "--title", "Ridge shoe", "--price", "9", "--data", str(tmp_path)]
    done = CliRunner().invoke(main, [*given, "--flag", "no_box", "--flag", "scuffed"])
    assert done.exit_code == 0
    assert "no box: 2 min of prep, $0.60 of supplies. Your comps do not show" in done.stdout
    done = CliRunner().invoke(main, [*given, "--flag", "no_box", "--json"])
    assert json.loads(done.stdout)["query"]["flags"] == ["no_box"]
    other = open_store(str(tmp_path / "sourcing.sqlite3"))
    assert history.get(other, history.recent(other, 1)[0].id)[0].flags == ("no_box",)
    other.close()
    done = CliRunner().invoke(main, [*given, "--flag", "scufed"])
    assert done.exit_code == 1
    assert "There is no flag “scufed”. The closest is “scuffed”." in done.output
    done = CliRunner().invoke(main, ["check", "--list", str(tmp_path / "comps.csv"), "--flag", "no_box"])
    assert done.exit_code == 2
