"""Static files packed on the way, and what is not."""

from __future__ import annotations

import gzip
from pathlib import Path

import brotli
import pytest
from flask.testing import FlaskClient

import web

STATIC = Path(web.__file__).parent / "static"
READER = "vendor/zxing-wasm/reader/zxing_reader.wasm"


@pytest.mark.parametrize("name", ["style.css", "aisle/judge.js", "languages/de.json", READER])
def test_a_static_file_comes_packed_and_whole(client: FlaskClient, name: str) -> None:
    whole = (STATIC / name).read_bytes()
    answer = client.get(f"/static/{name}", headers={"Accept-Encoding": "gzip, deflate"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(answer.data) == whole
    assert len(answer.data) < 0.5 * len(whole)
    assert "Accept-Encoding" in answer.headers["Vary"]
    answer = client.get(f"/static/{name}", headers={"Accept-Encoding": "gzip, deflate, br, zstd"})
    assert answer.headers["Content-Encoding"] == "br"
    assert brotli.decompress(answer.data) == whole


def test_who_asks_for_no_packing_gets_none(client: FlaskClient) -> None:
    answer = client.get("/static/style.css")
    assert "Content-Encoding" not in answer.headers
    assert answer.data == (STATIC / "style.css").read_bytes()


@pytest.mark.parametrize("asked", ["gzip", "br"])
def test_a_file_known_already_is_not_sent_again(client: FlaskClient, asked: str) -> None:
    first = client.get("/static/style.css", headers={"Accept-Encoding": asked})
    known = {"Accept-Encoding": asked, "If-None-Match": first.headers["ETag"]}
    again = client.get("/static/style.css", headers=known)
    assert (again.status_code, again.data) == (304, b"")


def test_the_policies_go_out_with_packed_files_too(client: FlaskClient) -> None:
    answer = client.get("/static/scan/reader.js", headers={"Accept-Encoding": "gzip"})
    assert "wasm-unsafe-eval" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("path", ["/", "/haul", "/check?code=952", "/static/nothing.js"])
def test_a_page_is_not_packed(client: FlaskClient, path: str) -> None:
    assert "Content-Encoding" not in client.get(path, headers={"Accept-Encoding": "gzip, br"}).headers


def test_a_picture_is_packed_already(client: FlaskClient) -> None:
    answer = client.get("/static/mark-512.png", headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in answer.headers
