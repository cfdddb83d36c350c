"""What phones send: stored once however often it comes, by the server's clock, with undo; and over HTTP."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from sourcing import haul, history, sent
from sourcing.answer import Query
from sourcing.comps import load_file
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.storage import Store
from web import worker
from web.app import create_app

NOW = datetime(2026, 11, 26, 12, tzinfo=UTC)
WHEN = sent.Moment(NOW, "2026-11-26T13:00:00+01:00")
QUERY = Query(code="FW-100", title="Ridge shoe", shelf_price=Decimal("12.00"))
ROWS = b"style_code,title,status,sold_price,ended_on\nFW-100,Ridge shoe,sold,50.00,2026-01-05\n"


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Iterator[Store]:
    made = new_store()
    yield made
    made.close()


def checked(store: Store) -> int:
    return int(store.read("SELECT count(*) FROM checked")[0][0])


def test_a_check_is_stored_once_by_many_at_once(store: Store) -> None:
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: sent.keep_check(store, "phone-one-1", QUERY, WHEN, {}), range(24)))
    assert set(found) == {sent.Outcome("stored", found[0].target)}
    assert checked(store) == 1


def test_a_piece_hangs_on_its_check_and_comes_once(store: Store) -> None:
    with pytest.raises(NotFound):
        sent.keep_taking(store, "phone-one-2", "phone-one-1", 2, WHEN, {})
    sent.keep_check(store, "phone-one-1", QUERY, WHEN, {})
    with pytest.raises(BadInput, match="0 pieces"):
        sent.keep_taking(store, "phone-one-2", "phone-one-1", 0, WHEN, {})
    for _ in range(3):
        sent.keep_taking(store, "phone-one-2", "phone-one-1", 2, WHEN, {})
    (line,) = haul.current(store).items
    assert (line.count, line.client_id, line.taken_at) == (2, "phone-one-2", NOW.isoformat(timespec="seconds"))


def test_a_price_seen_comes_once_though_its_answer_was_lost(store: Store) -> None:
    seen = sent.Seen(Decimal("41.00"), sold=True)
    first = sent.keep_price(store, "phone-one-3", QUERY, seen, WHEN, {})
    with store.write() as connection:  # as after a crash between the load and its id
        connection.exec_driver_sql("DELETE FROM sent")
    assert sent.keep_price(store, "phone-one-3", QUERY, seen, WHEN, {}) == first
    sent.keep_price(store, "phone-two-3", QUERY, seen, WHEN, {})  # another person saw another
    assert store.read("SELECT count(*) FROM comp") == [(2,)]


def test_what_is_undone_before_it_comes_never_comes(store: Store) -> None:
    sent.take_back(store, "phone-one-1", WHEN)
    assert sent.keep_check(store, "phone-one-1", QUERY, WHEN, {}).state == "undone"
    assert checked(store) == 0


def test_undo_of_each_kind_twice(store: Store) -> None:
    sent.keep_check(store, "phone-one-1", QUERY, WHEN, {})
    sent.keep_check(store, "phone-one-4", QUERY, WHEN, {})
    sent.keep_taking(store, "phone-one-2", "phone-one-1", 1, WHEN, {})
    sent.keep_price(store, "phone-one-3", QUERY, sent.Seen(Decimal("41.00"), sold=False), WHEN, {})
    with pytest.raises(Refused, match="taken into a haul"):
        sent.take_back(store, "phone-one-1", WHEN)
    for _ in range(2):
        for name in ("phone-one-2", "phone-one-3", "phone-one-4"):
            assert sent.take_back(store, name, WHEN).state == "undone"
    assert [line.undone for line in haul.current(store).items] == [True]
    assert store.read("SELECT count(*) FROM comp") == [(0,)]
    assert checked(store) == 1


def test_a_line_taken_on_a_page_can_be_undone_from_a_phone(store: Store) -> None:
    check_id = sent.keep_check(store, "phone-one-1", QUERY, WHEN, {}).target
    assert check_id is not None
    haul.take(store, check_id, 1, "form-of-a-page")
    sent.take_back(store, "form-of-a-page", WHEN)
    assert [line.undone for line in haul.current(store).items] == [True]


@pytest.mark.parametrize(
    ("phone_at", "phone_now", "ago"),
    [
        ("2026-11-26T10:00:00+00:00", "2026-11-26T11:30:00+00:00", timedelta(minutes=90)),
        ("1970-01-01T00:00:05Z", "1970-01-01T00:10:05Z", timedelta(minutes=10)),  # its clock never was set
        ("2027-03-01T10:00:00+00:00", "2026-11-26T11:30:00+00:00", timedelta(0)),  # set back meanwhile
        ("1999-01-01T00:00:00+00:00", "2026-11-26T11:30:00+00:00", timedelta(0)),
        ("yesterday", "2026-11-26T11:30:00+00:00", timedelta(0)),
        ("2026-11-26T10:00:00", "2026-11-26T11:30:00", timedelta(0)),  # of no time zone
    ],
)
def test_the_servers_clock_wins_and_both_are_kept(phone_at: str, phone_now: str, ago: timedelta) -> None:
    assert sent.moment(phone_at, phone_now, NOW) == sent.Moment(NOW - ago, phone_at)


def test_what_the_phone_had_said_is_kept_beside(store: Store) -> None:
    number = sent.keep_check(store, "phone-one-1", QUERY, WHEN, {"shown": {"decision": "buy"}}).target
    assert number is not None
    said = sent.said_of_check(store, number)
    assert said is not None
    assert (said["shown"], said["phone_at"]) == ({"decision": "buy"}, WHEN.phone_at)
    assert history.recent(store)[0].at == NOW
    assert sent.said_of_check(store, number + 1) is None


@pytest.mark.parametrize("name", ["", "short", "x" * 65, "nul\0nul\0nul", "näme-of-one"])
def test_ids_that_are_none_are_refused(store: Store, name: str) -> None:
    with pytest.raises(BadInput, match="no id"):
        sent.keep_check(store, name, QUERY, WHEN, {})


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Flask]:
    app = create_app(tmp_path / "comps.db")
    yield app
    app.extensions["sourcing"].store.close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def post(client: FlaskClient, *items: Any, **more: Any) -> Any:
    state = client.get("/aisle/state").json
    body = {"server": state["server"], "sent_at": datetime.now(UTC).isoformat(), "items": list(items)} | more
    return client.post("/aisle/send", json=body, headers={"X-CSRFToken": state["token"]})


def test_each_thing_of_a_sending_gets_its_own_answer(app: Flask, client: FlaskClient, tmp_path: Path) -> None:
    (tmp_path / "comps.csv").write_bytes(ROWS)
    load_file(app.extensions["sourcing"].store, tmp_path / "comps.csv")
    at = datetime.now(UTC).isoformat()
    asked = {"code": "FW-100", "price": "12,00", "flags": []}
    results = post(
        client,
        {"id": "phone-one-1", "kind": "check", "at": at, "asked": asked, "shown": {"decision": "pass"}},
        {"id": "phone-one-2", "kind": "take", "at": at, "check": "phone-one-1", "count": 3},
        {"id": "phone-one-3", "kind": "comp", "at": at, "asked": asked, "seen_price": "0", "sold": True},
        {"id": "phone-one-4", "kind": "check", "at": at, "asked": {"code": "4006381333932"}},
        {"id": "phone-one-5", "kind": "dance", "at": at},
        {"id": "phone-one-6", "kind": "take", "at": at, "check": "phone-one-4", "count": 1},
        {"id": "phone-one-7", "kind": "take", "at": at, "check": None, "count": True},
        {"id": 7, "kind": "check", "asked": 5},
        {"id": "phone-one-8", "kind": "check", "asked": {"code": "FW-100", "flags": ["no such flag"]}},
    ).json["results"]
    assert [one["state"] for one in results] == ["stored", "stored"] + ["refused"] * 7
    assert "check digit" in results[3]["wrong"]
    assert all(one["wrong"] and (one["accepted"] or one["next_step"]) for one in results[2:])
    (line,) = client.get("/aisle/state").json["haul"]["lines"]
    assert (line["count"], line["client_id"]) == (3, "phone-one-2")


@pytest.mark.parametrize("body", [[], 5, None, {"items": 5}, {"items": [5]}, {"items": [{}] * 101}])
def test_a_sending_that_is_none(client: FlaskClient, body: Any) -> None:
    headers = {"X-CSRFToken": client.get("/aisle/state").json["token"]}
    assert client.post("/aisle/send", json=body, headers=headers).status_code == 400


def test_things_of_another_server_are_not_taken(client: FlaskClient) -> None:
    item = {"id": "phone-one-1", "kind": "check", "asked": {"code": "FW-100"}}
    assert post(client, item, server="another").status_code == 409
    assert post(client, item).json["results"][0]["state"] == "stored"


def test_any_change_of_what_is_kept_is_a_new_version(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    static = tmp_path / "static"
    for path in worker.STATIC.rglob("*"):
        if path.is_file():
            (static / path.relative_to(worker.STATIC)).parent.mkdir(parents=True, exist_ok=True)
            (static / path.relative_to(worker.STATIC)).write_bytes(path.read_bytes())
    monkeypatch.setattr(worker, "STATIC", static)
    monkeypatch.setattr(worker, "SOURCE", static / "aisle" / "worker.js")
    versions = {client.get("/sw.js").text.splitlines()[0]}
    assert client.get("/sw.js").text.splitlines()[0] in versions
    for name in ("style.css", "scan/reader.js", "aisle/judge.js", "aisle/worker.js", "vendor/zbar-wasm/zbar.wasm"):
        with (static / name).open("ab") as file:
            file.write(b"\n")
        versions.add(client.get("/sw.js").text.splitlines()[0])
    assert len(versions) == 6


def test_pages_a_phone_keeps_hold_nothing_of_anybody(app: Flask, client: FlaskClient) -> None:
    haul.start(app.extensions["sourcing"].store, "Tannery Row")
    sent.keep_check(app.extensions["sourcing"].store, "phone-one-1", QUERY, WHEN, {})
    assert "Ridge shoe" in client.get("/").text
    for path in ("/aisle/check", "/aisle/haul", "/aisle/away", "/waiting"):
        page = client.get(path)
        assert "csrf_token" not in page.text, path
        assert "Tannery" not in page.text, path
        assert "Ridge shoe" not in page.text, path
        assert "Set-Cookie" not in page.headers, path
