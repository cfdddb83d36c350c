"""A phone comes in over HTTPS: a secure context in a real browser, and the pages that say how."""

from __future__ import annotations

import base64
import hashlib
import shutil
import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from threading import Thread

import pytest
from conftest import FLAGS
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Browser
from steps import SIZES, clean, opened
from werkzeug.serving import make_server

from sourcing import access
from sourcing.certificates import Choice, choose
from web.app import create_app
from web.reach import Reach
from web.secure_server import SecureServer

pytestmark = pytest.mark.browser
NAME = "box.home.arpa"


class Home:
    """A server of both lines in this process."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as one, socket.socket() as other:
            one.bind(("127.0.0.1", 0))
            other.bind(("127.0.0.1", 0))
            self.port, self.plain = one.getsockname()[1], other.getsockname()[1]
        self.choice: Choice = choose(folder, [NAME], [], datetime.now(UTC))
        reach = Reach(
            "https",
            f"https://{NAME}:{self.port}",
            f"http://localhost:{self.plain}",
            f"http://{NAME}:{self.plain}/trust",
            "127.0.0.1",
            self.choice.kept,
        )
        self.app = create_app(folder / "data.db", mode="lan", hosts=["localhost", NAME], reach=reach)
        self.key = access.grant(self.app.extensions["sourcing"].store, self.app.config["SECRET_KEY"])
        self.server = SecureServer(self.app, self.choice.kept, "127.0.0.1", self.port, self.plain, 10**6)
        self.thread = Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def spki(self) -> str:
        """The leaf's public key as Chromium's switch takes it."""
        leaf = self.choice.kept.leaves[0][1].public_key()
        return base64.b64encode(
            hashlib.sha256(leaf.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).digest()
        ).decode()


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    made = Home(tmp_path_factory.mktemp("home"))
    yield made
    for line in made.server.lines:
        line.stop()
    made.app.extensions["sourcing"].store.close()


def test_a_phone_that_trusts_the_leaf_is_in_a_secure_context(browser: Browser, home: Home) -> None:
    """The browser's own switch stands for the trusted root, as its system store cannot be filled here."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    trusted = f"--ignore-certificate-errors-spki-list={home.spki()}"
    seen = {}
    reads = "[isSecureContext, 'mediaDevices' in navigator, 'serviceWorker' in navigator]"
    mapped = f"--host-resolver-rules=MAP {NAME} 127.0.0.1"
    with browser.browser_type.launch(executable_path=chromium, args=[*FLAGS, mapped, trusted]) as phone:
        page = phone.new_page()
        page.goto(f"https://{NAME}:{home.port}/enter/{home.key}")
        assert page.url == f"https://{NAME}:{home.port}/"
        assert "This address is not secure" not in page.content()
        seen["https"] = page.evaluate(reads)
        page.fill("#code", "FWR-1042")  # the forms work over this line: the token, the origin and the cookies fit
        page.fill("#price", "10")
        page.get_by_role("button", name="Judge it").click()
        page.wait_for_url("**/check/*")
        page.goto(f"http://{NAME}:{home.plain}/")
        assert page.url == f"http://{NAME}:{home.plain}/trust"
        assert home.choice.kept.fingerprint in "".join(page.inner_text("main").split())
        seen["plain"] = page.evaluate(reads)
    assert seen == {"https": [True, True, True], "plain": [False, False, False]}


@pytest.mark.parametrize("size", SIZES)
def test_the_pages_that_say_how(browser: Browser, home: Home, size: str) -> None:
    page = opened(browser, f"http://localhost:{home.plain}/help", size)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.goto(f"http://localhost:{home.plain}/enter/{home.key}")
    page.goto(f"http://localhost:{home.plain}/help")
    page.get_by_role("link", name="Connect a phone").click()
    page.wait_for_url("**/connect")
    assert page.locator("svg.qr").count() == 2
    for one in page.locator("svg.qr").all():
        assert (one.bounding_box() or {})["width"] >= 150
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    clean(page, "connect", at_foot=False)
    page.goto(f"http://localhost:{home.plain}/trust")
    clean(page, "trust", at_foot=False)
    assert said == []


def test_here_and_in_plain(browser: Browser, tmp_path: Path) -> None:
    """This computer alone, and the network in plain as a phone sees it, by a name that the browser maps to it."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    here = create_app(tmp_path / "here.db")
    reach = Reach("plain", f"http://{NAME}", f"http://{NAME}")
    plain = create_app(tmp_path / "plain.db", mode="lan", hosts=[NAME], access=lambda key: True, reach=reach)
    servers = [make_server("127.0.0.1", 0, app, threaded=True) for app in (here, plain)]
    for server in servers:
        Thread(target=server.serve_forever, daemon=True).start()
    mapped = f"--host-resolver-rules=MAP {NAME} 127.0.0.1"
    with browser.browser_type.launch(executable_path=chromium, args=[*FLAGS, mapped]) as phone:
        page = opened(phone, f"http://127.0.0.1:{servers[0].server_port}/connect", "phone")
        assert page.locator("svg.qr").count() == 0
        clean(page, "connect-here", at_foot=False)
        there = f"http://{NAME}:{servers[1].server_port}"
        page.goto(there)
        clean(page, "check-plain", at_foot=False)
        page.get_by_role("button", name="Put away").click()
        page.wait_for_url(f"{there}/")
        page.goto(there)
        assert page.get_by_role("heading", name="This address is not secure").count() == 0
    for server in servers:
        server.shutdown()
    for app in (here, plain):
        app.extensions["sourcing"].store.close()
