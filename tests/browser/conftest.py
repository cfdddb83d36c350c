"""A real server in a child process and a real headless browser."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[2]
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SERVE = (
    "import sys; from waitress import serve; from web.app import create_app; "
    "serve(create_app(sys.argv[1]), host='127.0.0.1', port=int(sys.argv[2]))"
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        assert "CI" not in os.environ, "the browser tests may not be left out here, and there is no chromium"
        pytest.skip("no chromium: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(autouse=True)
def _closed(browser: Browser) -> Iterator[None]:
    """Close a test's pages: those that look again by themselves would slow down all tests after it."""
    yield
    for context in browser.contexts:
        context.close()


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-c", SERVE, str(tmp_path / "comps.db"), str(port)]
    server = subprocess.Popen(command, cwd=ROOT)
    try:
        until = time.monotonic() + 60
        while True:
            try:
                urlopen(f"http://127.0.0.1:{port}/help", timeout=5).close()
                break
            except OSError:
                assert server.poll() is None
                assert time.monotonic() < until
                time.sleep(0.1)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(20)
