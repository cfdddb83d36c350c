"""The main job in a real browser, with and without JavaScript; axe on every page in both themes."""

from __future__ import annotations

import csv
import hashlib
import random
import shutil
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from threading import Event, Thread

import pytest
import zxingcpp
from accessible import AXE, violations
from conftest import serving
from PIL import Image
from playwright.sync_api import Browser, Page
from steps import SIZES, clean, judge, load, look, opened, taken
from werkzeug.serving import make_server

from sourcing import access
from web.app import create_app

pytestmark = pytest.mark.browser
EAN = "9521234567899"  # invented: GS1 keeps prefix 952 for demonstrations
HEADER = "gtin style_code brand category title size condition asking_price sold_price listed_on ended_on status"


@pytest.fixture
def comps_file(tmp_path: Path) -> Path:
    """Write an invented table: one shoe with forty sales and some listings still open."""
    draw, path, today = random.Random(7), tmp_path / "comps.csv", date(2026, 11, 20)
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(HEADER.split())
        for place in range(50):
            price, listed = round(draw.gauss(64, 6), 2), today - timedelta(days=5 * place + 40)
            sold = place % 5 != 4
            ended = (listed + timedelta(days=draw.randint(3, 38))).isoformat()
            rows.writerow(
                [EAN, "FWR-1042", "Fellwander", "shoes", "Ridge trail shoe", "9", "new", round(price + 6, 2),
                 price if sold else "", listed.isoformat(), ended if sold else "", "sold" if sold else "open"]
            )  # fmt: skip
    return path


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """Draw the barcode as a phone would see it: on a larger, off-white ground."""
    bars = zxingcpp.create_barcode(EAN, zxingcpp.BarcodeFormat.EAN13).to_image(scale=6)
    ground = Image.new("L", (1000, 900), 236)
    ground.paste(Image.fromarray(bars), (180, 240))
    path = tmp_path / "photo.png"
    ground.save(path)
    return path


def table_pages(page: Page, address: str) -> list[str]:
    """Return the pages of the comps table, with a change made so that each has all its parts."""
    page.goto(f"{address}/comps/table?query=ridge")
    page.locator(".finds a").first.click()
    row = page.url
    page.fill("#reason", "a lot of several")
    page.get_by_role("button", name="Set aside").click()
    done = page.url
    page.get_by_role("link", name="All rows of this item").click()
    plain = ["comps/table", "comps/table?query=ridge", "comps/names", "comps/changes", "comps/evidence"]
    return [*plain, *(one.removeprefix(f"{address}/") for one in (row, done, page.url))]


@pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize("size", SIZES)
def test_the_main_job(browser: Browser, address: str, comps_file: Path, photo: Path, size: str, scripts: bool) -> None:
    page = opened(browser, address, size, scripts=scripts)
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    load(page, address, comps_file)
    page.goto(address)
    page.set_input_files("#photo", photo)
    page.fill("#price", "18,00")
    judge(page)
    assert page.get_by_role("heading", level=1).inner_text().split("\n")[0].strip() in ("Buy", "Pass")
    assert "Ridge trail shoe" in page.inner_text("h1")
    page.get_by_role("button", name="Take it").click()
    page.wait_for_url("**/haul")
    assert "Ridge trail shoe" in page.inner_text("main")
    page.get_by_role("button", name="Undo").click()
    assert page.get_by_role("button", name="Take again").count() == 1
    assert wrong == []


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing(browser: Browser, address: str, comps_file: Path, tmp_path: Path, size: str) -> None:
    assert hashlib.sha256(AXE.read_bytes()).hexdigest() in (AXE.parent / "README.md").read_text()
    page = opened(browser, address, size)
    broken = tmp_path / "broken.csv"
    broken.write_text("title,status,sold_price\nRidge shoe,sold,5o.00\nRidge shoe,sold,50.00\n")

    for name in ("", "history", "haul", "comps", "rules", "help", "nowhere"):
        page.goto(f"{address}/{name}")
        clean(page, f"empty-{name or 'check'}")
    page.goto(f"{address}/comps")
    page.set_input_files("#file", broken)
    page.get_by_role("button", name="Load", exact=True).click()
    clean(page, "problems")
    load(page, address, comps_file)
    clean(page, "progress")
    for name, code, price in (("buy", EAN, "9"), ("pass", "FWR1042", "70"), ("unknown", "ZZQ7788", "20")):
        page.goto(address)
        page.fill("#code", code)
        page.fill("#price", price)
        judge(page)
        page.get_by_text("Seen one elsewhere").click()
        clean(page, name)
        page.get_by_role("button", name="Take it, no forecast" if name == "unknown" else "Take it").click()
        taken(page)
    page.goto(address)
    page.fill("#code", EAN)
    page.fill("#price", "12,5o")
    page.get_by_role("button", name="Judge it").click()
    page.locator("#price-wrong").wait_for()
    clean(page, "wrong-price")
    for name in ("", "history", "haul", "comps", "comps/batch/1", "rules", *table_pages(page, address)):
        page.goto(f"{address}/{name}")
        clean(page, (name or "check").replace("/", "-").split("=")[0])


@pytest.mark.parametrize(("width", "height"), [(390, 844), (360, 640)])
def test_the_verdict_is_seen_without_scrolling(
    browser: Browser, address: str, comps_file: Path, width: int, height: int
) -> None:
    page = opened(browser, address, "phone")
    load(page, address, comps_file)
    page.set_viewport_size({"width": width, "height": height})
    page.goto(address)
    page.fill("#code", EAN)
    page.fill("#price", "18")
    judge(page)
    look(page, f"fold-{height}")
    bar = page.locator(".bar:visible").bounding_box()
    verdict = page.locator(".verdict:visible").bounding_box()
    assert bar
    assert verdict
    assert verdict["y"] + verdict["height"] <= bar["y"]
    assert bar["y"] >= height * 2 / 3
    sizes = page.evaluate(
        "[...document.querySelectorAll('*')].filter(e => e.children.length === 0 && e.textContent.trim())"
        ".map(e => [parseFloat(getComputedStyle(e).fontSize), e.closest('.most strong') !== null])"
    )
    assert max(sizes)[1]
    for box in [one.bounding_box() for one in page.locator(".bar button:visible, .bar a:visible, nav a").all()]:
        assert box
        assert min(box["width"], box["height"]) >= 44


def test_it_reflows_at_320(browser: Browser, address: str) -> None:
    page = opened(browser, address, "phone")
    page.set_viewport_size({"width": 320, "height": 600})
    for name in ("", "haul", "comps", "rules", "help", "history"):
        page.goto(f"{address}/{name}")
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, name


def test_tables_and_forms_reflow_at_320_with_rows_in_them(browser: Browser, samples: Path, tmp_path: Path) -> None:
    """WCAG 2.2, 1.4.10; amounts of four figures are the widest that a table at the rack is likely to hold."""
    shutil.copy(samples, tmp_path / "comps.db")
    dear = "document.querySelectorAll('.rack td strong').forEach(one => { one.textContent = '1.299,00\\u00a0€'; })"
    with serving(tmp_path / "comps.db") as address:
        page = opened(browser, address, "phone")
        page.set_viewport_size({"width": 320, "height": 600})
        for name in ("ladder", "ladder?group=size", "run", "plan", "today", "stock", "books", "record", "comps/table"):
            page.goto(f"{address}/{name}")
            page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, name
        for width in (320, 390):
            page.set_viewport_size({"width": width, "height": 600})
            page.goto(f"{address}/ladder")
            page.evaluate(dear)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, width


@pytest.fixture
def learning(tmp_path: Path) -> Iterator[tuple[str, Event]]:
    """Serve an application that learns until the event is set."""
    app, done = create_app(tmp_path / "comps.db"), Event()
    said: list[Callable[..., None]] = []
    app.extensions["sourcing"].task.start(lambda say: (said.append(say), say("Reading prices"), done.wait(60)))
    server = make_server("127.0.0.1", 0, app, threaded=True)
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/progress", done
    finally:
        done.set()
        server.shutdown()
        server.server_close()


@pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
def test_learning_is_followed_to_its_end(browser: Browser, learning: tuple[str, Event], scripts: bool) -> None:
    page = opened(browser, learning[0], "phone", scripts=scripts)
    loads: list[str] = []
    page.on("framenavigated", lambda frame: loads.append(frame.url))
    assert "Reading prices" in page.inner_text("#progress")
    if scripts:
        assert violations(page, at_foot=False) == []
    learning[1].set()
    page.get_by_role("heading", name="Ready").wait_for(timeout=15_000)
    assert page.get_by_text("looks again by itself").count() == 0
    assert bool(loads) is not scripts  # the script changes the words in place


@pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
def test_looking_again_stops_when_told(browser: Browser, learning: tuple[str, Event], scripts: bool) -> None:
    page = opened(browser, learning[0], "phone", scripts=scripts)
    page.get_by_role("link", name="Stop looking").click()
    page.get_by_text("stays as it is").wait_for()
    learning[1].set()
    page.wait_for_timeout(5000)
    assert page.get_by_role("heading", name="Learning").count() == 1
    page.get_by_role("link", name="Look again").click()
    page.get_by_role("heading", name="Ready").wait_for()


def test_the_key_of_the_link_is_not_in_the_back_list(browser: Browser, tmp_path: Path) -> None:
    app = create_app(tmp_path / "comps.db", mode="lan")
    store = app.extensions["sourcing"].store
    server = make_server("127.0.0.1", 0, app, threaded=True)
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        key, place = access.grant(store), f"http://127.0.0.1:{server.server_port}"
        page = browser.new_context().new_page()
        page.goto(f"{place}/enter/{key}")
        assert page.url == f"{place}/"
        entries = page.context.new_cdp_session(page).send("Page.getNavigationHistory")["entries"]
        assert not [one for one in entries if key in one["url"]]
        assert page.evaluate("document.referrer") == ""
    finally:
        server.shutdown()
        server.server_close()
        store.close()


@pytest.mark.parametrize("name", ["", "haul", "progress", "help", "rules/category?name=shoes"])
def test_the_main_action_is_within_reach_of_the_thumb(browser: Browser, address: str, name: str) -> None:
    """It stands at the foot of the screen, on pages shorter than the screen too."""
    page = opened(browser, f"{address}/{name}", "phone")
    box = page.locator(".bar .main:visible").bounding_box()
    assert box
    assert box["y"] + box["height"] <= SIZES["phone"][1]
    assert box["y"] >= SIZES["phone"][1] * 2 / 3


@pytest.mark.parametrize(("width", "height"), [(390, 844), (360, 640)])
def test_too_little_to_go_on_is_seen_whole(
    browser: Browser, address: str, comps_file: Path, width: int, height: int
) -> None:
    page = opened(browser, address, "phone")
    load(page, address, comps_file)
    page.set_viewport_size({"width": width, "height": height})
    page.goto(address)
    page.fill("#code", "ZZQ7788")
    page.fill("#price", "20")
    judge(page)
    bar, verdict = (page.locator(f".{name}:visible").bounding_box() for name in ("bar", "verdict"))
    assert bar
    assert verdict
    assert verdict["y"] + verdict["height"] <= bar["y"]
    assert bar["y"] + bar["height"] <= height
    assert bar["height"] < 90  # the longer words of its button stay on two lines
