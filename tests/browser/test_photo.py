"""A photo read on the phone: what the server would say of it, whatever the label, and nothing taken of a torn one."""

from __future__ import annotations

import random
from base64 import b64encode

import pytest
from playwright.sync_api import Browser, Page

from benchmarks._photos import Shot, jpeg, label, photo, scene
from sourcing.codes import check_digit
from sourcing.photo import read_photo

pytestmark = pytest.mark.browser
EAN, OTHER, TAG, COUPON = "9521234567899", "9520000000011", "2001234567893", "9990000000012"
UPCE, OF_SYSTEM_1, STYLE = "04252614", "12345670", "VK-4410-BLK"
READ = """async (pictures) => {
  const { inWords } = await import("/static/scan/photo.js");
  window.reader ??= new Worker("/static/scan/reader.js", { type: "module" });
  const said = [];
  for (const picture of pictures) {
    const bytes = Uint8Array.from(atob(picture), (one) => one.charCodeAt(0));
    const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
    const answer = new Promise((done) => reader.addEventListener("message", ({ data }) => done(data), { once: true }));
    reader.postMessage({ photo: bitmap }, [bitmap]);
    const found = await answer;
    said.push({ chosen: found.chosen?.typed ?? null, maybe: found.maybe?.typed ?? null, note: inWords(found) });
  }
  return said;
}"""


@pytest.fixture
def page(browser: Browser, address: str) -> Page:
    page = browser.new_page()
    page.set_default_timeout(120_000)
    page.goto(f"{address}/help")
    return page


def read(page: Page, *pictures: bytes) -> list[dict[str, str | None]]:
    said: list[dict[str, str | None]] = page.evaluate(READ, [b64encode(one).decode() for one in pictures])
    return said


def two_makers() -> bytes:
    canvas = scene([label(EAN)], Shot(size=(1200, 1400)), 3)
    canvas.paste(label(OTHER, module=3), (20, 10))
    return jpeg(canvas)


def test_the_phone_reads_photos_as_the_server_does(page: Page) -> None:
    pictures = {
        "a maker's code": photo(EAN),
        "a large one, turned": photo(EAN, shot=Shot(module=9, turn=50, size=(3000, 2200))),
        "blurred": photo(EAN, shot=Shot(module=5, blur=2.0, noise=12)),
        "beside a tag": photo(TAG, EAN),
        "a tag": photo(TAG),
        "a coupon": photo(COUPON),
        "two makers' codes": two_makers(),
        "a UPC-E": photo(UPCE, kind="UPCE"),
        "one that only the second reader sees": photo(OF_SYSTEM_1, kind="UPCE"),
        "a box label": photo(STYLE, kind="Code128", shot=Shot(module=3)),
        "a small one": photo(EAN, shot=Shot(module=2, size=(500, 400))),
    }
    for (name, data), said in zip(pictures.items(), read(page, *pictures.values()), strict=True):
        wanted = read_photo(data)
        chosen, maybe = (code and code.typed for code in (wanted.chosen, wanted.maybe))
        assert (name, said) == (name, {"chosen": chosen, "maybe": maybe, "note": wanted.note})
    nothing = read_photo(photo())
    assert read(page, photo()) == [{"chosen": None, "maybe": None, "note": nothing.note}]


def test_nothing_is_taken_of_torn_labels(page: Page) -> None:
    draw, torn = random.Random(33), []
    for at in range(5):
        body = f"952{draw.randrange(10**9):09}"
        shot = Shot(tear=0.12 + 0.1 * at, turn=draw.uniform(-10, 10), blur=draw.uniform(0, 1.5))
        torn.append(photo(body + check_digit(body), shot=shot, seed=at))
    said = read(page, *torn)
    assert [one["chosen"] for one in said] == [None] * len(torn)
