"""Stock in a real browser: from the haul to a sale, a return and an undo, by the boxful too; axe in both themes."""

from __future__ import annotations

import sys
from base64 import b64encode
from io import BytesIO
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Browser, Page, expect
from steps import SLOW, clean, opened

from sourcing import haul, history
from sourcing.stock.paper import LabelSettings
from sourcing.storage import open_store

sys.path.append(str(Path(__file__).parents[1]))
from web_examples import item, verdict

pytestmark = pytest.mark.browser
SHOE, MILL = "Fellwander Ridge trail shoe", "Walnut pepper mill with a name that goes on for quite a while"


@pytest.fixture
def haul_at_hand(address: str, tmp_path: Path) -> str:
    """Give the running server a haul of three pieces: it reads the same file."""
    store = open_store(str(tmp_path / "comps.db"))
    haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, verdict()), 2)
    haul.take(store, history.record(store, verdict(item=item(label=MILL, style_code="", gtin="", size=""))))
    store.close()
    return address


# The very worker of the Scan button is sent one picture a tick, as the camera would.
READ = """async ({ picture, name }) => {
  const worker = new Worker("/static/scan/reader.js", { type: "module", name });
  const blob = new Blob([Uint8Array.from(atob(picture), (sign) => sign.charCodeAt(0))], { type: "image/png" });
  const found = new Set();
  for (let at = 0; at < 6; at++) {
    const answer = new Promise((done) => worker.addEventListener("message", ({ data }) => done(data), { once: true }));
    const bitmap = await createImageBitmap(blob);
    worker.postMessage(bitmap, [bitmap]);
    for (const one of (await answer).found) found.add(`${one.symbology} ${one.text}`);
  }
  worker.terminate();
  return [...found].sort();
}"""


# A camera that sees one picture.
CAMERA = """
navigator.mediaDevices.enumerateDevices = async () => [{ kind: "videoinput" }];
MediaDevices.prototype.getUserMedia = async () => {
  const canvas = Object.assign(document.createElement("canvas"), { width: 1280, height: 720 });
  const seen = new Image();
  seen.src = "data:image/png;base64,PICTURE";
  await seen.decode();
  const pen = canvas.getContext("2d");
  setInterval(() => {
    pen.fillStyle = "white";
    pen.fillRect(0, 0, 1280, 720);
    pen.drawImage(seen, 400, 200, 480, (480 * seen.height) / seen.width); // a phone sees the middle alone
  }, 50);
  return canvas.captureStream(20);
};
"""


def label_picture(pdf: bytes, place: int) -> str:
    """Cut one label out of the first sheet, as a camera would see it: a PNG in base 64."""
    left, top = (float(edge) * 72 / 25.4 for edge in LabelSettings().corner(place))
    page = pypdfium2.PdfDocument(pdf)[0]
    wide, high = page.get_size()
    crop = (max(0, left - 10), max(0, high - top - 37 * 72 / 25.4), wide - left - 70 * 72 / 25.4, max(0, top))
    target = BytesIO()
    page.render(scale=4, crop=crop).to_pil().save(target, "PNG")
    return b64encode(target.getvalue()).decode()


def tap(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).first.click()
    page.wait_for_load_state()


def test_from_the_haul_to_a_sale_and_back_on_a_phone(browser: Browser, haul_at_hand: str) -> None:
    page = opened(browser, f"{haul_at_hand}/haul", "phone")
    tap(page, "Bring it into stock")
    expect(page.get_by_role("status").first).to_contain_text("3 pieces brought in from Tannery Row")
    page.locator("#tick-all").click()
    tap(page, "They are ready")
    page.goto(f"{haul_at_hand}/stock?state=ready")
    clean(page, "stock, ready")
    page.locator("#tick-all").click()
    tap(page, "Labels")
    expect(page.locator(".sample-labels").first.locator(".bin-label")).to_have_count(3)
    clean(page, "stock, labels to print")
    label = page.locator(".bin-label").first.inner_text()
    answer = page.request.get(page.evaluate("new URL('/stock/labels.pdf?items=1&items=2&start=4', location.href).href"))
    assert answer.ok
    picture = label_picture(answer.body(), 4)  # of piece 2: the first begins at place 4, which is the fourth
    second = page.locator(".bin-label").nth(1).inner_text()
    assert page.evaluate(READ, {"picture": picture, "name": "labels"}) == [f"CODE128 {second}", f"QRCODE {second}"]
    assert page.evaluate(READ, {"picture": picture, "name": ""}) == [f"CODE128 {second}"]  # at the rack
    page.fill("#pattern", "[store 3]-[count 3]")
    expect(page.locator("#examples .bin-label").first).to_have_text("TAN-001")

    page.add_init_script(CAMERA.replace("PICTURE", picture))
    page.goto(f"{haul_at_hand}/stock/box")
    page.fill("#labels", label.lower())
    tap(page, "Scan")
    expect(page.locator("#scan-read")).to_have_text(f"{second} (2)", timeout=SLOW)
    page.wait_for_timeout(500)  # in which it is seen again and again
    expect(page.locator("#scan-read")).to_have_text(f"{second} (2)")
    tap(page, "Done scanning")
    page.wait_for_url("**/stock/box?labels=*")
    expect(page.locator("input[name=items]:checked")).to_have_count(2)
    page.locator("#together summary").click()
    clean(page, "stock, a boxful")
    tap(page, "List")
    expect(page.get_by_role("status").first).to_contain_text("2 pieces listed")

    page.goto(f"{haul_at_hand}/stock")
    tap(page, "Scan")
    page.wait_for_url("**/stock/2")
    page.fill("#price-cut", "58")
    tap(page, "Change the price")
    clean(page, "stock, a piece that is listed")
    page.fill("#paid-sell", "57")
    page.fill("#postage-sell", "8,10")
    tap(page, "It is sold")
    expect(page.locator(".is")).to_have_text("sold")
    page.get_by_text("It came back").click()
    clean(page, "stock, a piece that is sold")
    page.fill("#refunded-back", "60")
    tap(page, "Back into stock")
    expect(page.locator("#refunded-back-wrong")).to_contain_text("more than the 57.00")
    page.fill("#refunded-back", "57")
    tap(page, "Back into stock")
    expect(page.locator(".is")).to_have_text("returned")
    page.locator(".note.done").get_by_role("button").click()
    expect(page.locator(".is")).to_have_text("sold")


def test_at_home_and_without_scripts(browser: Browser, haul_at_hand: str) -> None:
    page = opened(browser, f"{haul_at_hand}/stock", "laptop")
    clean(page, "stock, a haul waits")
    tap(page, "Bring into stock")
    clean(page, "stock, brought in")
    page.goto(f"{haul_at_hand}/stock/1")
    clean(page, "stock, a piece to prep")
    page.goto(f"{haul_at_hand}/stock/labels?items=1")
    expect(page.locator("body")).to_contain_text("1 label to print")
    plain = opened(browser, f"{haul_at_hand}/stock?all=1", "laptop", scripts=False)
    tap(plain, "They are ready")
    plain.goto(f"{haul_at_hand}/stock?state=ready&all=1")
    plain.locator("#together summary").click()
    plain.fill("#what", "lot of three")
    tap(plain, "Make a lot")
    expect(plain.get_by_role("status").first).to_contain_text("3 pieces joined to lot of three")
    page.goto(f"{haul_at_hand}/stock/actions")
    clean(page, "stock, what was done")
    plain.goto(f"{haul_at_hand}/stock/actions")
    tap(plain, "Undo: 3 pieces joined to lot of three, 3")
    expect(plain.locator(".finds li")).to_have_count(3)
