"""The Prep page and the ``prep`` commands: a batch from its start to what it teaches, and what goes wrong."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient

from sourcing.prep import watch
from sourcing.prep.clock import Reading
from sourcing.prep.pace import paces
from sourcing.settings import load_settings
from sourcing.storage import Store, open_store
from web.charts import BOTTOM, TOP
from web.charts_prep import per_hour
from web.cli import main
from web.state import current


@pytest.fixture
def kept(app: Flask) -> Store:
    with app.app_context():
        return current().store


def _ago(minutes: float) -> Any:
    at = datetime.now(UTC) - timedelta(minutes=minutes)
    return lambda: Reading(at)


def _text(client: FlaskClient, address: str = "/prep") -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return " ".join(answer.get_data(as_text=True).split())


def test_a_batch_from_start_to_finish_and_back(client: FlaskClient, kept: Store) -> None:
    assert "Last batches" not in _text(client)
    begun = {"step": "photograph", "category": "shoes", "flags": ["no_box"], "client_id": "one"}
    for _ in range(2):  # a tap sent twice starts one
        assert client.post("/prep/start", data=begun).status_code == 303
    (batch,) = watch.running(kept)
    assert (batch.step, batch.category, batch.flags) == ("photograph", "shoes", ("no_box",))
    assert "<bdi>shoes</bdi> · no box" in _text(client)
    client.post("/prep/tap", data={"batch": batch.id, "do": "pause"})
    assert "Go on" in _text(client)
    client.post("/prep/tap", data={"batch": batch.id, "do": "resume"})
    answer = client.post("/prep/finish", data={"batch": batch.id, "pieces": "12"}, follow_redirects=True)
    assert "Done: 12 in" in answer.get_data(as_text=True)
    assert watch.running(kept) == []
    client.post("/prep/undo", data={"batch": batch.id})
    assert [one.id for one in watch.running(kept)] == [batch.id]
    client.post("/prep/undo", data={"batch": batch.id, "do": "redo"})
    assert watch.finished(kept)[0].pieces == 12
    client.post("/prep/correct", data={"batch": batch.id, "pieces": "10", "minutes": "21,5"})
    assert (watch.finished(kept)[0].pieces, watch.finished(kept)[0].minutes) == (10, 21.5)
    assert "27.9" in _text(client)  # 10 in 21.5 minutes
    client.post("/prep/tap", data={"batch": batch.id, "do": "leave out"})
    assert load_settings(kept).learnt.by_category == {}


def test_a_forgotten_watch_is_asked_about(client: FlaskClient, kept: Store) -> None:
    number = watch.start(kept, "clean", clock=_ago(560))
    assert "It has run for 9 h 20 min without a tap" in _text(client)
    answer = client.post("/prep/finish", data={"batch": number, "pieces": "14"})
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400
    assert "without a pause" in text
    assert 'value="14"' in text  # what was typed is still there
    assert watch.finished(kept) == []
    client.post("/prep/finish", data={"batch": number, "pieces": "14", "minutes": "35"})
    assert watch.finished(kept)[0].minutes == 35


def test_a_watch_stopped_at_once_is_told_from_a_forgotten_one(client: FlaskClient, kept: Store) -> None:
    _timed(kept)
    number = watch.start(kept, "photograph", category="shoes", clock=_ago(5))
    watch.finish(kept, number, 3, clock=_ago(5 - 16 / 60))
    assert load_settings(kept).learnt.say[number] < 0.5
    text = _text(client)
    assert text.count("too short for so many pieces: it hardly counts") == 1
    assert "looks like a forgotten watch" not in text
    pace = paces(watch.finished(kept), dict(load_settings(kept).learnt.say))["photograph"]
    crosses = [y for _x, y, apart in per_hour(pace).dots if apart]
    sound = [y for _x, y, apart in per_hour(pace).dots if not apart]
    assert crosses[0] < min(sound) < (TOP + BOTTOM) / 2  # the others are not pressed to the ground by it
    watch.correct(kept, number, minutes=Decimal(600))
    text = _text(client)
    assert text.count("looks like a forgotten watch: it hardly counts") == 1
    assert "too short for so many pieces" not in text


@pytest.mark.parametrize(
    ("address", "values", "status", "words"),
    [
        ("start", {"step": "iron"}, 400, "is no step of prep"),
        ("start", {"step": "list", "flags": "wet"}, 400, "There is no flag"),
        ("tap", {"batch": "x", "do": "pause"}, 400, "is not a whole number"),
        ("tap", {"batch": "99", "do": "pause"}, 404, "There is no batch number 99"),
        ("tap", {"do": "burn"}, 400, "is nothing a watch does"),
        ("finish", {"pieces": "0"}, 400, "No piece was done"),
        ("finish", {"pieces": "four"}, 400, "is not a whole number"),
        ("finish", {"pieces": "4", "minutes": "1e3"}, 400, "is no number of minutes"),
        ("correct", {"pieces": "4"}, 409, "cannot be put right"),
    ],
)
def test_bad_input_is_answered_in_words(
    client: FlaskClient, kept: Store, address: str, values: dict[str, str], status: int, words: str
) -> None:
    number = watch.start(kept, "list", clock=_ago(10))
    answer = client.post(f"/prep/{address}", data={"batch": str(number)} | values)
    assert (answer.status_code, words in answer.get_data(as_text=True)) == (status, True)
    assert len(watch.running(kept)) == 1


def _timed(store: Store, count: int = 8) -> None:
    for at in range(count):
        number = watch.start(store, "photograph", category="shoes", clock=_ago(1000 - 60 * at))
        watch.finish(store, number, 12, clock=_ago(1000 - 60 * at - 38 - at))


def test_learnt_minutes_are_shown_where_they_hold(client: FlaskClient, kept: Store) -> None:
    _timed(kept)
    text = _text(client)
    assert "replaced" in text
    assert '<svg class="picture"' in text
    assert "in place of those below" in _text(client, "/rules/category?name=shoes")
    assert "Minutes learnt" not in _text(client, "/rules/category?name=toys")
    assert "learnt from 8 batches of yours" in _text(client, "/rules/receipt?category=shoes&paid=60")
    page = client.get("/rules/part/work").get_data(as_text=True)
    assert 'id="learn_minutes"' in page


def test_from_the_command_line(tmp_path: Path, empty: Path) -> None:
    def run(*words: str, code: int = 0) -> str:
        done = CliRunner().invoke(main, ["prep", *words, "--data", str(tmp_path)])
        assert done.exit_code == code, done.output
        return done.output

    (tmp_path / "sourcing.sqlite3").write_bytes(empty.read_bytes())
    assert "Batch 1 runs" in run("start", "photograph", "--category", "shoes")
    run("pause", "1")
    run("resume", "1")
    assert "6 pieces" in run("finish", "1", "6", "--minutes", "15")
    run("correct", "1", "--pieces", "5")
    (batch,) = json.loads(run("list", "--json"))
    assert (batch["pieces"], batch["minutes"], batch["per_hour"]) == (5, 15.0, 20.0)
    assert "20.0 an hour" in run("list")
    assert "too few yet" in run("learnt")
    assert json.loads(run("learnt", "--json"))[0]["name"] == "shoes"
    assert "Undone: correct" in run("undo", "1")
    assert "Done again: correct" in run("undo", "1", "--redo")
    run("leave-out", "1")
    assert "No batch was timed yet" in run("learnt")
    assert "There is no batch number 9" in run("pause", "9", code=1)
    run("finish", "1", "4", "--minutes", "soon", code=2)
    assert open_store(str(tmp_path / "sourcing.sqlite3")).read("SELECT COUNT(*) FROM prep_tap") == [(6,)]
