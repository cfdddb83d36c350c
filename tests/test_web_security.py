"""Who may knock, and what goes out with every answer."""

from __future__ import annotations

import hashlib
import io
import logging
import re
import shutil
import sqlite3
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask, render_template_string
from flask.testing import FlaskClient
from web_examples import verdict

from sourcing import access, history
from web.app import create_app
from web.routes import PHOTO, ROUTES, SMALL, Route
from web.security import ACCESS_COOKIE, HEADERS

HERE = {
    "check_id": 1, "haul_id": 1, "batch_id": 1, "item_id": 1, "number": 1,
    "key": "x", "token": "x", "part": "work", "of": "run-1",
}  # fmt: skip


def address(rule: str) -> str:
    return re.sub(r"<(?:int:)?(\w+)>", lambda found: str(HERE[found[1]]), rule)


GETS = [address(route.rule) for route in ROUTES if route.method == "GET"]
POSTS = [address(route.rule) for route in ROUTES if route.method == "POST"]


@pytest.fixture
def app(empty: Path, tmp_path: Path) -> Iterator[Flask]:
    shutil.copy(empty, tmp_path / "comps.db")
    app = create_app(tmp_path / "comps.db")
    history.record(app.extensions["sourcing"].store, verdict())
    yield app
    app.extensions["sourcing"].store.close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def token(client: FlaskClient) -> str:
    found = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/").text)
    assert found
    return found[1]


def test_the_table_is_the_url_map(app: Flask) -> None:
    rules = {rule.rule for rule in app.url_map.iter_rules()}
    assert rules == {route.rule for route in ROUTES} | {"/static/<path:filename>"}
    for rule in app.url_map.iter_rules():
        assert not {"PUT", "PATCH", "DELETE"} & (rule.methods or set())


@pytest.mark.parametrize("path", [*GETS, *POSTS, "/nowhere", "/static/style.css", "/static/nowhere"])
def test_headers_on_every_answer(client: FlaskClient, path: str) -> None:
    for method in ("GET", "POST", "OPTIONS"):
        answer = client.open(path, method=method)
        # What is still being built says so and when to ask again; anything else from 500 on is a fault.
        assert answer.status_code < 500 or (answer.status_code == 503 and int(answer.headers["Retry-After"]) > 0)
        expected = HEADERS | ({"Referrer-Policy": "no-referrer"} if path.startswith("/enter/") else {})
        for name, value in expected.items():
            assert answer.headers[name] == value
        assert "unsafe" not in answer.headers["Content-Security-Policy"]
        assert not [name for name in answer.headers if name[0].startswith("Access-Control")]
        if not (path.startswith("/static/") and answer.status_code == 200):
            assert answer.headers["Cache-Control"] == "no-store"


def test_headers_on_a_broken_page(
    app: Flask, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken() -> str:
        raise RuntimeError("secret detail")

    monkeypatch.setitem(app.view_functions, "help.show", broken)
    answer = app.test_client().get("/help?code=typed")
    assert answer.status_code == 500
    assert answer.headers["Content-Security-Policy"] == HEADERS["Content-Security-Policy"]
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    number = re.search(r"<code>([0-9a-f]{8})</code>", answer.text)
    assert number
    assert number[1] in caplog.text
    assert "typed" not in caplog.text


@pytest.mark.parametrize("path", POSTS)
def test_forged_requests_are_refused(app: Flask, path: str) -> None:
    for forged in ("none", "other session", "foreign origin", "null origin", "cross-site"):
        client = app.test_client()
        good = token(client)
        data, headers = {"csrf_token": good}, {}
        if forged == "none":
            data = {}
        elif forged == "other session":
            data = {"csrf_token": token(app.test_client())}
        elif forged == "foreign origin":
            headers = {"Origin": "http://elsewhere.example"}
        elif forged == "null origin":
            headers = {"Origin": "null"}
        else:
            headers = {"Sec-Fetch-Site": "cross-site"}
        assert client.post(path, data=data, headers=headers).status_code == 400


def test_an_own_page_gets_through(client: FlaskClient) -> None:
    data = {"csrf_token": token(client), "store": "Tannery Row"}
    headers = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    assert client.post("/haul/start", data=data, headers=headers).status_code == 303


@pytest.mark.parametrize("path", [*GETS, *POSTS, "/static/style.css", "/nowhere"])
def test_foreign_hosts_are_refused(client: FlaskClient, path: str) -> None:
    for method in ("GET", "POST"):
        answer = client.open(path, method=method, headers={"Host": "rebound.example"})
        assert answer.status_code == 400
        assert "rebound" not in answer.text
        assert answer.headers["Content-Security-Policy"] == HEADERS["Content-Security-Policy"]


def test_gets_change_nothing(app: Flask, tmp_path: Path) -> None:
    client = app.test_client()
    client.get("/")

    def dump() -> str:
        with sqlite3.connect(tmp_path / "comps.db") as connection:
            return hashlib.sha256("\n".join(connection.iterdump()).encode()).hexdigest()

    before = dump()
    for path in [*GETS, "/check.json?code=FWR1042&price=10", *GETS]:
        client.get(path)
    assert dump() == before


class TestNetwork:
    @pytest.fixture
    def app(self, tmp_path: Path) -> Iterator[Flask]:
        app = create_app(tmp_path / "comps.db", mode="lan", hosts=["192.0.2.7", "localhost"])
        yield app
        app.extensions["sourcing"].store.close()

    @pytest.mark.parametrize("path", [*GETS, *POSTS, "/nowhere"])
    def test_no_page_without_a_key(self, client: FlaskClient, path: str) -> None:
        for value in (None, "", "guess"):
            if value is not None:
                client.set_cookie(ACCESS_COOKIE, value)
            assert client.get(path).status_code == 403
            assert client.post(path).status_code in (403, 405)

    def test_the_key_opens_and_is_kept_as_a_hash(
        self, app: Flask, tmp_path: Path, caplog: pytest.LogCaptureFixture
    ) -> None:
        caplog.set_level(logging.DEBUG)
        store = app.extensions["sourcing"].store
        key = access.grant(store, app.config["SECRET_KEY"])
        assert key.encode() not in (tmp_path / "comps.db").read_bytes()
        client = app.test_client()
        there = "http://192.0.2.7"
        answer = client.get(f"/enter/{key}", base_url=there)
        assert answer.status_code == 303
        assert key not in answer.headers["Location"]
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["Cache-Control"] == "no-store"
        cookie = answer.headers["Set-Cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Lax" in cookie
        assert "Secure" not in cookie
        page = client.get("/", base_url=there)
        assert page.status_code == 200
        assert "Not encrypted" in page.text
        assert key not in page.text
        assert key not in caplog.text
        assert access.revoke(store) == 1
        assert client.get("/", base_url=there).status_code == 403
        assert client.get(f"/enter/{key}", base_url=there).status_code == 403
        assert [bool(one.revoked_at) for one in access.keys(store)] == [True]


def test_no_banner_on_loopback(client: FlaskClient) -> None:
    assert "Not encrypted" not in client.get("/help").text


def test_the_secret_is_the_owners_alone(tmp_path: Path) -> None:
    first = create_app(tmp_path / "comps.db").config["SECRET_KEY"]
    path = tmp_path / "secret_key"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert create_app(tmp_path / "comps.db").config["SECRET_KEY"] == first
    assert len(first) >= 43
    path.write_text("")
    assert len(create_app(tmp_path / "comps.db").config["SECRET_KEY"]) >= 43


UNSAFE = [route for route in ROUTES if route.method == "POST"]


@pytest.mark.parametrize("route", UNSAFE, ids=lambda route: route.rule)
def test_too_large_is_refused(app: Flask, route: Route) -> None:
    client = app.test_client()
    length = {"CONTENT_LENGTH": str(route.most_bytes + 1)}
    kind = "multipart/form-data; boundary=b"
    answer = client.post(address(route.rule), data=b"x", environ_overrides=length, content_type=kind)
    assert answer.status_code == 413
    assert "too large" in answer.text


def test_a_photo_may_be_larger_than_a_form(client: FlaskClient) -> None:
    assert PHOTO > SMALL
    data = {"csrf_token": token(client), "photo": (io.BytesIO(b"x" * (SMALL + 1)), "p.jpg")}
    assert client.post("/check", data=data).status_code == 400  # not a picture, but not too large


def test_templates_hold_no_inline_code() -> None:
    for path in Path(create_app.__code__.co_filename).parent.joinpath("templates").rglob("*.html"):
        text = path.read_text()
        assert not re.search(r"\sstyle=|\son\w+=|<style|javascript:|\|\s*safe\b", text), path
        for script in re.findall(r"<script[^>]*>", text):
            assert "src=" in script

    for path in Path(create_app.__code__.co_filename).parent.rglob("*.py"):
        assert "Markup" not in path.read_text() or path.name == "spoken.py", path


def test_what_is_said_as_markup_is_the_codes_own(app: Flask) -> None:
    """A message may hold marks, so that none may come from a file or a form; what fills it in is escaped."""
    for path in Path(create_app.__code__.co_filename).parent.joinpath("templates").rglob("*.html"):
        assert not re.search(r"""(?<![\w.])(?:_|gettext|ngettext)\((?!["'])""", path.read_text()), path
    with app.test_request_context():
        shown = render_template_string("{{ _('It is {name}.', name=name) }}", name="<b>")
        assert shown == "It is &lt;b&gt;."
        told = render_template_string("{{ word|said }}", word="<i>")
        assert told == "&lt;i&gt;"


def test_every_form_carries_the_token() -> None:
    for path in Path(create_app.__code__.co_filename).parent.joinpath("templates").rglob("*.html"):
        for form in re.findall(r'<form[^>]*method="post".*?</form>', path.read_text(), re.S):
            assert "token()" in form, path


def test_lan_needs_hosts_of_its_own(app: Flask) -> None:
    assert app.config["TRUSTED_HOSTS"] == ["127.0.0.1", "localhost", "[::1]"]
