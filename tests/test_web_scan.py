"""What live scanning is served with: the policy of the reader alone, types, and files made elsewhere as they came."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from web.app import create_app
from web.security import HEADERS, READER

STATIC = Path(create_app.__code__.co_filename).parent / "static"
VENDOR = STATIC / "vendor"


@pytest.fixture
def client(tmp_path: Path) -> FlaskClient:
    return create_app(tmp_path / "comps.db").test_client()


def test_files_made_elsewhere_are_as_the_table_says() -> None:
    table = (VENDOR / "README.md").read_text(encoding="utf-8")
    said = dict(re.findall(r"^\| (\S+/\S+) \|.*\| ([0-9a-f]{64}) \|$", table, re.M))
    here = {
        path.relative_to(VENDOR).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in VENDOR.rglob("*")
        if path.is_file() and path.name != "README.md"
    }
    assert here == said
    for folder in {name.split("/")[0] for name in here}:
        assert f"{folder}/LICENSE" in here


def test_only_the_reader_may_run_webassembly(client: FlaskClient) -> None:
    asked = f"/static/{READER}"
    assert (STATIC / READER).is_file()
    policy = client.get(asked).headers["Content-Security-Policy"]
    assert policy == HEADERS["Content-Security-Policy"].replace("'self'", "'self' 'wasm-unsafe-eval'", 1)
    assert "script-src 'self' 'wasm-unsafe-eval';" in policy
    for path in ("/", *(f"/static/{one.relative_to(STATIC).as_posix()}" for one in STATIC.rglob("*"))):
        if path != asked:
            assert client.get(path).headers["Content-Security-Policy"] == HEADERS["Content-Security-Policy"]


@pytest.mark.parametrize(("name", "kind"), [
    ("vendor/zbar-wasm/zbar.wasm", "application/wasm"),
    ("vendor/zbar-wasm/index.mjs", "text/javascript; charset=utf-8"),
    ("scan.js", "text/javascript; charset=utf-8"),
])  # fmt: skip
def test_files_have_the_types_browsers_insist_on(client: FlaskClient, name: str, kind: str) -> None:
    assert client.get(f"/static/{name}").headers["Content-Type"] == kind


def test_scripts_of_ours_name_no_other_place() -> None:
    for path in (*STATIC.glob("*.js"), *(STATIC / "scan").glob("*.js")):
        assert not re.search(r"https?://|\beval\(|new Function|innerHTML", path.read_text(encoding="utf-8")), path


def test_nothing_of_scanning_shows_without_a_script(client: FlaskClient) -> None:
    page = client.get("/").text
    assert re.search(r'<button[^>]* id="scan-open" hidden>', page)
    assert not re.search(r"<dialog[^>]*\bopen\b", page)
    for line in re.findall(r"<[^>]* data-why=[^>]*>", page):
        assert line.endswith(" hidden>")
