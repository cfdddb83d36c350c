"""A real server and a real headless browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import pytest
from playwright.sync_api import Browser, sync_playwright
from werkzeug.serving import make_server

from web.app import create_app

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


@contextmanager
def serving(data: Path) -> Iterator[str]:
    """Serve the data from this process: one of its own takes seconds to start."""
    app = create_app(data)
    server = make_server("127.0.0.1", 0, app, threaded=True)
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        app.extensions["sourcing"].store.close()


@pytest.fixture
def address(empty: Path, tmp_path: Path) -> Iterator[str]:
    """Serve an empty store, which lies in the test's own folder."""
    shutil.copy(empty, tmp_path / "comps.db")
    with serving(tmp_path / "comps.db") as address:
        yield address
