"""The pages of sales and of the track record."""

from __future__ import annotations

import io
import re
import shutil
from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from pathlib import Path

import pytest
import web_examples
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient
from test_sourcing_outcomes import HEAD, _stocked

from benchmarks._reseller import Truth, fill
from sourcing import haul, history
from sourcing.stock import ledger, sales, shelf
from sourcing.stock.bring import bring
from sourcing.storage import Store
from web.cli import main


@pytest.fixture
def store(app: Flask) -> Store:
    found: Store = app.extensions["sourcing"].store
    return found


def _said(client: FlaskClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


def test_an_empty_record_says_what_to_do(client: FlaskClient) -> None:
    assert "Nothing to judge yet" in _said(client, "/record")
    assert "No sale is recorded yet" in _said(client, "/outcomes")


def test_pieces_without_a_forecast_are_said_apart(client: FlaskClient, store: Store, tmp_path: Path) -> None:
    haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 2)
    bring(store, 1)
    assert "without a forecast" not in _said(client, "/record")
    haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, replace(web_examples.unknown(), landed_cost=D("21.40"))), 1)
    bring(store, 2)
    said = "2 pieces bought on a forecast, 2 of them still to sell. 1 more was bought without a forecast."
    assert said in _said(client, "/record")
    shutil.copy(tmp_path / "comps.db", tmp_path / "sourcing.sqlite3")
    told = CliRunner().invoke(main, ["--data", str(tmp_path), "record"]).output
    assert told.startswith("2 pieces bought on a forecast, 2 still to sell\n1 more was bought without a forecast.\n")


def test_a_correction_is_offered_taken_in_one_tap_and_undone_in_one(client: FlaskClient, store: Store) -> None:
    fill(store, 2, 700, date.today(), Truth(bias=-0.15))
    page = _said(client, "/record?by=store&within=60")
    assert "A correction would have helped" in page
    assert "Tannery Row" in page
    assert page.count("<svg") == 3
    tap = {"name": "price:", "client_id": "tap-number-one"}
    assert client.post("/record/accept", data=tap).status_code == 303
    page = _said(client, "/record")
    assert "A correction would have helped" not in page
    assert "at work" in page
    assert re.search(r"Prices 1\d % lower, all categories", page)
    number = re.findall(r'name="number" value="(\d+)"', page)[0]
    assert client.post("/record/undo", data={"number": number}).status_code == 303
    assert "A correction would have helped" in _said(client, "/record")
    assert client.post("/record/accept", data={"name": "price:nothing"}).status_code == 409


def test_a_file_is_recorded_at_one_tap_and_undone_as_one(client: FlaskClient, store: Store) -> None:
    _stocked(store, {"label": "B7-001"}, {"asking": "58.00", "size": "8"}, {"asking": "62.00", "size": "8"})
    rows = "B7-001,,,,55.00,2026-03-20,7.45,8,39.55\n,FW100,,8,60.00,2026-03-21,,,\n"
    sent = client.post("/outcomes/load", data={"file": (io.BytesIO((HEAD + rows).encode()), "sales.csv")})
    page = _said(client, sent.headers["Location"])
    assert "1 sure match" in page
    assert "1 question" in page
    path = sent.headers["Location"] + "/record"
    done = client.post(path, data={"row:3": "2", "client_id": "tap-number-two"})
    assert done.status_code == 303
    assert "2 sales recorded" in _said(client, done.headers["Location"])
    assert {item.state for item in shelf.find(store)} == {"sold", "listed"}
    assert store.read("SELECT count(*) FROM comp WHERE status = 1") == [(2,)]
    action = ledger.actions(store, 1)[0].id
    client.post("/outcomes/undo", data={"action_id": action, "client_id": "tap-number-three"})
    assert {item.state for item in shelf.find(store)} == {"listed"}
    assert store.read("SELECT count(*) FROM comp WHERE status = 1") == [(0,)]


def test_a_file_that_matches_nothing_can_be_loaded_as_comps(client: FlaskClient, store: Store) -> None:
    _stocked(store, {"label": "B7-001"})
    rows = "ZZ,QQ900,Other,9,55.00,2026-03-20,7,8,40\n"
    sent = client.post("/outcomes/load", data={"file": (io.BytesIO((HEAD + rows).encode()), "sales.csv")})
    page = _said(client, sent.headers["Location"])
    assert "Nothing of it matches your stock" in page
    assert "/comps/file/" in page


def test_bad_input_gets_a_message(client: FlaskClient) -> None:
    assert client.post("/outcomes/load", data={}).status_code == 400
    assert client.post("/record/undo", data={"number": "x"}).status_code == 400
    assert client.get("/outcomes/file/nothing").status_code == 404


def test_a_sale_is_shown_line_by_line(client: FlaskClient, store: Store) -> None:
    _stocked(store, {})
    sales.sell(store, 1, D("50.00"), date(2026, 3, 20), fees=D("7.00"), postage=D("9.00"))
    page = _said(client, "/outcomes")
    assert "Fees, charged otherwise" in page
    assert "7.00 was charged, 6.80 by the terms" in page
