"""Uploads that break off, are too large, or lie about their length, at the socket of the real server."""

from __future__ import annotations

import os
import socket
import time
from contextlib import suppress
from pathlib import Path

import pytest
from test_web_cli import fetch, serving

from web.commands.serve import LARGEST_BODY

BODY = (
    b'--b\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\nContent-Type: text/csv\r\n\r\n'
    b"title,sold_price\r\n" + b"Mug,9.50\r\n" * 100_000 + b"\r\n--b--\r\n"
)


def head(port: int, *lines: str) -> bytes:
    said = ("POST /comps/load HTTP/1.1", f"Host: 127.0.0.1:{port}", "Content-Type: multipart/form-data; boundary=b")
    return "\r\n".join((*said, *lines, "", "")).encode()


def answer(line: socket.socket) -> bytes:
    """Return the first bytes of the answer; the server may have hung up on what was still being sent."""
    line.settimeout(30)
    try:
        return line.recv(4_096)
    except ConnectionResetError:
        return b""


def temporary(process: int) -> list[str]:
    """Return the files a process holds open that have no name any more, or lie among the temporary ones."""
    held = []
    for link in Path(f"/proc/{process}/fd").iterdir():
        with suppress(FileNotFoundError):  # closed at this moment
            held.append(os.readlink(link))
    return [name for name in held if name.endswith("(deleted)") or name.startswith("/tmp/tmp")]


@pytest.mark.parametrize("share", [0.01, 0.5, 0.99])
def test_an_upload_that_breaks_off_leaves_nothing(tmp_path: Path, share: float) -> None:
    with serving(tmp_path) as (process, port):
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(head(port, f"Content-Length: {len(BODY)}"))
            line.sendall(BODY[: int(len(BODY) * share)])
            time.sleep(0.3)  # let the server take it in before the line goes dead
            if share > 0.9:
                assert temporary(process.pid) != []
        until = time.monotonic() + 20
        while temporary(process.pid) and time.monotonic() < until:
            time.sleep(0.1)
        assert temporary(process.pid) == []
        assert fetch(port, "/comps")[0] == 200
        assert not any((tmp_path / "waiting").glob("*"))


def test_a_length_beyond_the_limit_is_refused_before_the_body_is_read(tmp_path: Path) -> None:
    with serving(tmp_path) as (_, port):
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(head(port, f"Content-Length: {LARGEST_BODY + 1}") + b"a little of it")
            assert b" 413 " in answer(line)  # although nothing more of it came
        assert fetch(port, "/comps")[0] == 200


def test_a_length_that_lies_brings_in_no_more_than_it_says(tmp_path: Path) -> None:
    """RFC 9112, 6.3: what follows the stated length is no part of the body."""
    with serving(tmp_path) as (_, port):
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(head(port, "Content-Length: 10") + BODY[:5_000])
            assert b" 400 " in answer(line)
        assert fetch(port, "/comps")[0] == 200
        assert not any((tmp_path / "waiting").glob("*"))


def test_a_body_without_an_end_is_cut_off_at_the_limit(tmp_path: Path) -> None:
    with serving(tmp_path) as (_, port):
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(head(port, "Transfer-Encoding: chunked"))
            piece = b"100000\r\n" + b"x" * (1 << 20) + b"\r\n"
            sent = 0
            try:
                while sent < 2 * LARGEST_BODY:
                    line.sendall(piece)
                    sent += len(piece)
            except (BrokenPipeError, ConnectionResetError):
                pass
            assert sent < 1.2 * LARGEST_BODY
        assert fetch(port, "/comps")[0] == 200
        assert not any((tmp_path / "waiting").glob("*"))
