"""The aisle with the server off: judged, taken, seen and undone on the phone, and sent once each when it is back."""

from __future__ import annotations

import gzip
import os
import random
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import date, timedelta
from pathlib import Path
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, TimeoutError, expect
from steps import clean

from benchmarks._photos import photo
from sourcing.codes import check_digit
from sourcing.comps import load_file
from sourcing.fitting import keep_up
from sourcing.pack.kept import bring_up_to_date
from sourcing.storage import open_store

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
SERVE = (
    "import sys; from waitress import serve; from web.app import create_app; "
    "serve(create_app(sys.argv[1]), host='127.0.0.1', port=int(sys.argv[2]))"
)
PHONE = {"width": 390, "height": 844}
ITEMS = 12
HEADER = "gtin,style_code,brand,category,title,size,condition,asking_price,sold_price,listed_on,ended_on,status"


def code(item: int) -> str:
    body = f"95200010{item:04d}"
    return body + check_digit(body)


class Server:
    """A server in a process of its own, which can be killed and started again at the same address."""

    def __init__(self, data: Path, port: int = 0) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = port or free.getsockname()[1]
        self.data, self.process = data, None
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [sys.executable, "-c", SERVE, str(self.data), str(self.port)]
        self.process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL)
        until = time.monotonic() + 240  # on a machine with much else to do
        while True:
            try:
                urlopen(f"{self.address}/help", timeout=5).close()
                return
            except OSError:
                assert time.monotonic() < until
                time.sleep(0.05)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    def rows(self, statement: str) -> list[tuple[object, ...]]:
        with closing(sqlite3.connect(self.data)) as data:
            return data.execute(statement).fetchall()


@pytest.fixture(scope="module")
def learnt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make data with an invented table of twelve styles of two categories, and what was learnt from it."""
    folder = tmp_path_factory.mktemp("learnt")
    draw, lines = random.Random(952), [HEADER]
    for item in range(ITEMS):
        level = 30 + 8 * item
        for place in range(14):
            price, began = level * draw.uniform(0.85, 1.15), date.today() - timedelta(days=9 * place + 30)
            sold = place % 5 != 4
            ended = (began + timedelta(days=draw.randint(3, 25))).isoformat() if sold else ""
            lines.append(
                f"{code(item)},FW-{item:03d},Fellwander,{'shoes' if item % 2 else 'coats'},Ridge piece {item},9,new,"
                f"{price + 5:.2f},{f'{price:.2f}' if sold else ''},{began},{ended},{'sold' if sold else 'open'}"
            )
    (folder / "comps.csv").write_text("\n".join(lines) + "\n")
    store = open_store(str(folder / "comps.db"))
    load_file(store, folder / "comps.csv")
    keep_up(store)
    bring_up_to_date(store, folder)
    store.close()
    return folder


@pytest.fixture
def server(learnt: Path, tmp_path: Path) -> Iterator[Server]:
    shutil.copytree(learnt, tmp_path / "here")
    made = Server(tmp_path / "here" / "comps.db")
    made.start()
    yield made
    made.kill()


@pytest.fixture
def phone(browser: Browser, server: Server) -> BrowserContext:
    return ready(browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True), server)


def ready(context: BrowserContext, server: Server) -> BrowserContext:
    """Come by once while the server is there: the pages and the pack are fetched."""
    page = context.new_page()
    page.goto(server.address)
    expect(page.locator("#aisle-line")).to_contain_text("Answers without your server", timeout=30_000)
    page.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    page.close()
    return context


def opened(context: BrowserContext, server: Server, path: str = "/") -> Page:
    page = context.new_page()
    page.goto(server.address + path)
    return page


def judge(page: Page, typed: str, price: str) -> None:
    page.fill("#code", typed)
    page.fill("#price", price)
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("#verdict .word")).to_be_visible()


def all_sent(page: Page, seconds: int = 30) -> None:
    """Wait on the list until nothing waits any more."""
    expect(page.locator("#items")).not_to_be_empty()
    expect(page.locator("#items .waiting, #items .undoing")).to_have_count(0, timeout=1000 * seconds)


def test_ten_codes_and_four_pieces_without_the_server(phone: BrowserContext, server: Server) -> None:
    server.kill()
    page = opened(phone, server)
    clean(page, "check", at_foot=False)
    page.fill("#code", "9521234567891")  # a wrong check digit
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("#code-wrong")).to_be_visible()
    clean(page, "wrong", at_foot=False)
    for item in range(10):
        judge(page, code(item if item < 9 else 4999), "99.00" if item == 5 else f"{6 + item}.00")
        assert page.locator("#verdict .word span").inner_text().startswith(("Buy", "Pass", "Too little"))
        expect(page.locator("#verdict")).to_contain_text(f"Ridge piece {item}" if item < 9 else code(4999))
        expect(page.locator("#verdict .age")).to_contain_text("Pack of")
        if item < 4:
            page.fill("#take-count", str(item + 1))
            page.get_by_role("button", name="Take it").dblclick()  # once, however often it is tapped
            expect(page.locator("#taken")).to_contain_text(f"Taken: {item + 1}")
        if item == 3:
            page.get_by_role("button", name="Undo").click()
            expect(page.locator("#taken")).to_contain_text("Put back")
            page.get_by_role("button", name="Take it").click()
            expect(page.locator("#taken")).to_contain_text("Taken: 4")
        if item in (3, 5, 9):
            page.get_by_text("More figures").click()
            clean(page, f"verdict-{item}", at_foot=False)
        page.get_by_role("button", name="Next item").click()
    page.reload()
    expect(page.locator("#aisle-line a")).to_have_text("14 waiting to be sent")
    page.goto(f"{server.address}/rules")
    expect(page.get_by_role("heading", level=1)).to_have_text("This page needs your server")
    clean(page, "away", at_foot=False)
    page.goto(f"{server.address}/haul")
    expect(page.locator('[data-sum="pieces"]')).to_have_text("10")
    clean(page, "haul", at_foot=False)
    page.goto(f"{server.address}/waiting")
    expect(page.locator("#items .waiting")).to_have_count(14)
    clean(page, "waiting", at_foot=False)
    server.start()
    page.get_by_role("button", name="Send now").click()
    all_sent(page)
    expected = [code(at) for at in range(9)] + [code(4999)]
    assert [row[0] for row in server.rows("SELECT code FROM checked ORDER BY id")] == expected
    lines = server.rows("SELECT c.code, i.count FROM haul_item i JOIN checked c ON c.id = i.check_id ORDER BY i.id")
    assert lines == [(code(at), at + 1) for at in range(4)]
    page.goto(f"{server.address}/haul")
    expect(page.locator("ul.rows > li:not(.gone)")).to_have_count(4)


def test_what_a_piece_without_a_forecast_cost_is_in_the_phones_outlay_and_said_to_be(
    phone: BrowserContext, server: Server
) -> None:
    server.kill()
    page = opened(phone, server)
    judge(page, code(4999), "5.00")
    page.get_by_role("button", name="Take it").click()
    expect(page.locator("#taken")).to_contain_text("Taken: 1")
    page.goto(f"{server.address}/haul")
    expect(page.locator('[data-sum="outlay"]')).not_to_have_text(re.compile(r"^\D?0\.00"))
    expect(page.locator("#over")).to_contain_text(
        "1 piece without a forecast or a price: counted as pieces, in the prep and, where its price is known, in the "
        "outlay; left out of profit."
    )


def test_the_phone_names_the_limit_at_the_price_others_get_as_the_server_does(
    phone: BrowserContext, server: Server
) -> None:
    asked = [
        (code(0), "6.00", ""),
        (code(3), "9.00", "30% then 2.00"),
        (code(5), "3 for 60", ""),
        (code(4999), "5", ""),
    ]
    said = []
    page = opened(browser_without_scripts(phone), server)
    for typed, price, discount in asked:
        page.goto(server.address)
        fill(page, typed, price, discount)
        expect(page.locator("h1.word")).to_be_visible()
        link = page.locator("p.usual a")
        line = page.locator("p.usual").inner_text().removesuffix(link.inner_text()) if link.count() else ""
        said.append(" ".join(line.split()))
    assert "Then the word is: pass." in said[0]
    assert all("what others get, it is worth at most " in line for line in said[:3])
    assert said[3] == ""
    server.kill()
    page = opened(phone, server)
    for (typed, price, discount), line in zip(asked, said, strict=True):
        fill(page, typed, price, discount)
        expect(page.locator("#verdict .word")).to_be_visible()
        shown = [" ".join(one.split()) for one in page.locator("#verdict p.usual").all_inner_texts()]
        assert shown == ([line] if line else [])
        if line:  # between the verdict and what it rests on, as there
            assert page.locator("#verdict article + p.usual + p.rests").count() == 1
            assert page.locator("#verdict p.usual strong").first.inner_text() in line
        clean(page, "usual", at_foot=False)
        page.get_by_role("button", name="Next item").click()


def browser_without_scripts(phone: BrowserContext) -> BrowserContext:
    """Return another visitor, to whom the server alone answers."""
    assert phone.browser is not None
    return phone.browser.new_context(viewport=PHONE, java_script_enabled=False)


def fill(page: Page, typed: str, price: str, discount: str) -> None:
    """Ask for a verdict at a price as typed, less a discount where one is given."""
    page.fill("#code", typed)
    page.fill("#price", price)
    if not page.locator("#discount").is_visible():
        page.locator("details", has=page.locator("#discount")).locator("summary").first.click()
    page.fill("#discount", discount)
    page.get_by_role("button", name="Judge it").click()


# Kept for the tests alone: answers to sendings are lost now and then after the server has had them.
LOSSY = """
const real = window.fetch.bind(window);
window.fetch = async (where, how) => {
  const answer = await real(where, how);
  if (String(where) === "/aisle/send" && Math.random() < (window.lossy ?? 0)) throw new TypeError("lost on the way");
  return answer;
};
window.lossy = 0.4;
"""
SAVES = int(os.environ.get("AISLE_SAVES", "16"))


def test_every_save_arrives_once_through_drops_reloads_and_kills(phone: BrowserContext, server: Server) -> None:
    draw, taken = random.Random(SAVES), 0
    phone.add_init_script(LOSSY)
    page = opened(phone, server)
    for save in range(SAVES):
        chance = draw.random()
        if chance < 0.08:
            server.kill()
        elif chance < 0.3 and server.process is None:
            server.start()
        elif chance < 0.45:
            phone.set_offline(draw.random() < 0.5)
        elif chance < 0.6:
            page.reload()
        page.fill("#code", code(draw.randrange(ITEMS)))
        page.fill("#price", f"5.{save % 100:02d}" if save < 100 else f"{5 + save // 100}.{save % 100:02d}")
        page.get_by_role("button", name="Judge it").click()
        expect(page.locator("h1.word")).to_be_visible(timeout=30_000)  # the phone's, or the server's page
        if page.locator("#verdict h1.word").is_visible() and draw.random() < 0.4:
            page.get_by_role("button", name=re.compile("^Take it")).click()
            expect(page.locator("#taken", has_text="Taken")).to_be_visible()
            taken += 1
        if draw.random() < 0.3:  # the tab is gone, whatever was on its way
            page.close()
            page = opened(phone, server)
        elif page.url.rstrip("/") != server.address:
            page.goto(server.address)
        else:
            page.get_by_role("button", name="Next item").click()
    phone.set_offline(False)
    if server.process is None:
        server.start()
    page.goto(f"{server.address}/waiting")
    page.evaluate("window.lossy = 0")
    for _ in range(60):
        if not page.locator("#items .waiting, #items .undoing").count():
            break
        with suppress(TimeoutError):  # all may be sent, and the button gone, by the time it is to be clicked
            page.get_by_role("button", name="Send now").click(timeout=1000)
        page.wait_for_timeout(500)
    all_sent(page)
    kept = server.rows("SELECT shelf, count(*) FROM checked GROUP BY shelf ORDER BY shelf")
    assert kept == [(500 + save, 1) for save in range(SAVES)]
    lines = server.rows("SELECT count(*), count(DISTINCT client_id), count(DISTINCT check_id) FROM haul_item")
    assert lines == [(taken, taken, taken)]


def test_undo_prices_seen_two_phones_and_two_servers(
    browser: Browser, phone: BrowserContext, server: Server, tmp_path: Path
) -> None:
    other_phone = ready(browser.new_context(viewport=PHONE), server)
    before = server.rows("SELECT count(*) FROM comp")[0][0]
    server.kill()
    page = opened(phone, server)
    judge(page, code(1), "7.00")
    page.get_by_role("button", name=re.compile("^Take it")).click()
    expect(page.locator("#taken")).to_contain_text("Taken: 1")
    page.get_by_role("button", name="Next item").click()
    judge(page, code(2), "8.00")
    see_a_price(page)
    page_two = opened(other_phone, server)
    judge(page_two, code(2), "8.00")  # the other phone: the same item, the same price, at the same time
    see_a_price(page_two)
    page_two.goto(f"{server.address}/waiting")

    stranger = Server(tmp_path / "other" / "comps.db", server.port)
    stranger.start()  # at the same address, with data of its own
    page.goto(f"{server.address}/waiting")
    expect(page.locator("#items")).to_contain_text("Kept for another server", timeout=20_000)
    page.get_by_role("button", name="Send now").click()
    expect(page.locator("#said")).to_be_visible(timeout=20_000)
    assert stranger.rows("SELECT count(*) FROM checked") == [(0,)]
    stranger.kill()

    server.start()
    for each in (page, page_two):
        each.reload()
    for each in (page, page_two):
        all_sent(each)
    assert server.rows("SELECT count(*) FROM comp")[0][0] == before + 2  # two people saw one each
    assert sorted(server.rows("SELECT code FROM checked")) == [(code(1),), (code(2),), (code(2),)]
    page.get_by_role("button", name="Undo: Ridge piece 2").last.click()  # the check, which the server has
    expect(page.locator("#items .undone")).to_have_count(1, timeout=20_000)
    assert len(server.rows("SELECT code FROM checked")) == 2
    server.kill()
    page.goto(f"{server.address}/haul")
    page.get_by_role("button", name=re.compile("^Undo: Ridge piece 1")).click()
    expect(page.locator('[data-sum="pieces"]')).to_have_text("0")
    server.start()
    page.goto(f"{server.address}/waiting")
    all_sent(page)
    assert [row[0] is None for row in server.rows("SELECT undone_at FROM haul_item")] == [False]


def test_a_server_that_hangs_keeps_nobody_waiting(phone: BrowserContext, server: Server) -> None:
    page = opened(phone, server)
    judge_anywhere(page, code(1), "7.00")
    page.goto(f"{server.address}/check/1")
    expect(page.locator("article.verdict")).to_contain_text("Ridge piece 1")
    assert server.process
    server.process.send_signal(signal.SIGSTOP)  # it still takes connections, and answers none
    page.fill("#count", "3")
    page.get_by_role("button", name=re.compile("^Take it")).click()
    expect(page.locator("#taken")).to_contain_text("Taken: 3", timeout=15_000)
    clean(page, "taken-while-away", at_foot=False)
    page.goto(f"{server.address}/check/1", wait_until="commit")
    expect(page.locator("#verdict .word")).to_be_visible(timeout=20_000)  # the phone's own of the same check
    expect(page.locator("#verdict")).to_contain_text("Ridge piece 1")
    expect(page.locator("#taken")).to_contain_text("Taken: 3")
    page.get_by_role("button", name="Next item").click()
    page.set_input_files("#photo", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo(code(2))})
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("#verdict")).to_contain_text("Ridge piece 2", timeout=30_000)
    expect(page.locator("#verdict .note")).to_contain_text(f"Saw the maker's code {code(2)}")
    server.process.send_signal(signal.SIGCONT)
    page.goto(f"{server.address}/waiting")
    all_sent(page)
    lines = server.rows("SELECT check_id, count, client_id FROM haul_item")
    assert [line[:2] for line in lines] == [(1, 3)]
    assert server.rows("SELECT kind, target FROM sent WHERE kind = 'take'") == [("take", 1)]


def judge_anywhere(page: Page, typed: str, price: str) -> None:
    """Ask for a verdict, the server's or the phone's, and wait until the server has it too."""
    page.fill("#code", typed)
    page.fill("#price", price)
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("h1.word:visible")).to_have_count(1, timeout=30_000)
    if "/check/" not in page.url:
        expect(page.locator("#fuller")).to_be_visible(timeout=30_000)


def see_a_price(page: Page) -> None:
    page.get_by_text("Seen one elsewhere?").click()
    page.fill("#seen-price", "x")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("#seen-wrong")).to_contain_text("is not")
    page.fill("#seen-price", "51.00")
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("#noted")).to_contain_text("Noted: sold for 51.00")


SPOIL = """async how => {
  const {get, put} = await import("/static/aisle/kept.js");
  const {server} = await get("about", "server"), record = await get("packs", server);
  const bytes = new Uint8Array(await record.bytes.slice(0, how === "cut" ? 900 : undefined).arrayBuffer());
  if (how === "version") bytes[8] = 77;
  await put("packs", server, {...record, bytes: new Blob([bytes])});
}"""


REFUSED = "indexedDB.open = () => { throw new DOMException('no', 'SecurityError'); };"
FULL = """
const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (value, key) {
  if (window.room === false && this.name === "items") throw new DOMException("full", "QuotaExceededError");
  return put.call(this, value, key);
};
"""


def test_a_spoilt_pack_and_a_full_phone_are_told_and_nothing_is_lost(phone: BrowserContext, server: Server) -> None:
    phone.add_init_script(FULL)
    judged_by_server(opened(phone, server))
    nothing_of_anybody_is_cached(opened(phone, server))
    server.kill()
    page = opened(phone, server)
    page.evaluate("window.room = false")
    judge(page, code(2), "7.77")
    page.get_by_role("button", name="Next item").click()
    expect(page.locator("#aisle-trouble")).to_contain_text("no room left")
    expect(page.locator("#aisle-line a")).to_have_text("1 waiting to be sent")
    page.evaluate("window.room = true")
    server.start()
    expect(page.locator("#aisle-line a")).to_have_text("", timeout=40_000)
    assert server.rows("SELECT count(*) FROM checked WHERE shelf = 777") == [(1,)]
    for how, words in (("cut", "damaged"), ("version", "version")):
        server.kill()
        page.goto(server.address)
        page.evaluate(f"({SPOIL})({how!r})")
        page.reload()
        expect(page.locator("#aisle-line")).to_contain_text(words)
        page.fill("#code", code(1))
        page.get_by_role("button", name="Judge it").click()
        expect(page.locator("#code-wrong")).to_contain_text("Reach your server once")
        server.start()
        page.reload()
        expect(page.locator("#aisle-line")).to_contain_text("Answers without your server", timeout=40_000)


UPDATE = """async () => {
  const packs = await import("/static/aisle/packs.js");
  const answer = await fetch("/aisle/state");
  await packs.update({ ...(await answer.json()), learnt: true });
  return packs.current().then((held) => held?.pack.about.built);
}"""


def test_a_page_left_open_over_an_upgrade_fetches_a_pack_it_cannot_read_once(
    phone: BrowserContext, server: Server
) -> None:
    page = opened(phone, server)
    built = page.evaluate(UPDATE)
    fetched = []

    def newer(route: Route) -> None:
        fetched.append(route.request.url)
        answer = route.fetch()
        body = bytearray(answer.body())
        raw = bytearray(gzip.decompress(body)) if body[:2] == b"\x1f\x8b" else body
        raw[8] = 77
        route.fulfill(response=answer, body=bytes(raw))

    phone.route("**/aisle/pack/state", lambda route: route.fulfill(json={"stamp": "another", "building": False}))
    phone.route("**/aisle/pack", newer)
    for _ in range(3):
        assert page.evaluate(UPDATE) == built
    assert len(fetched) == 1
    page.reload()  # with scripts that may be new, it looks again
    assert page.evaluate(UPDATE) == built
    assert len(fetched) == 2


def test_where_storage_is_refused_the_page_works_as_without_it(browser: Browser, server: Server) -> None:
    context = browser.new_context(viewport=PHONE)
    context.add_init_script(REFUSED)
    page = opened(context, server)
    page.fill("#code", code(1))
    page.fill("#price", "7.00")
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("h1.word")).to_be_visible(timeout=20_000)
    page.goto(server.address)
    expect(page.locator("#aisle-trouble")).to_contain_text("keeps nothing here", timeout=20_000)


def nothing_of_anybody_is_cached(page: Page) -> None:
    cached = page.evaluate(
        "caches.keys().then(names => Promise.all(names.map(name => caches.open(name).then(cache => cache.keys()"
        ".then(all => Promise.all(all.map(one => cache.match(one).then(async answer => [new URL(one.url).pathname,"
        " answer.redirected, await answer.text()]))))))))"
    )
    (files,) = cached
    assert {path for path, _, _ in files if not path.startswith("/static/")} == {
        "/aisle/check", "/aisle/haul", "/aisle/away", "/waiting"
    }  # fmt: skip
    for path, redirected, text in files:
        assert not redirected, path
        if not path.startswith("/static/"):
            assert "csrf_token" not in text, path
            assert "Ridge piece" not in text, path


def judged_by_server(page: Page) -> None:
    page.fill("#code", code(1))
    page.fill("#price", "7.00")
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("h1.word")).to_be_visible(timeout=20_000)
    page.goto(page.url.split("/check")[0])
