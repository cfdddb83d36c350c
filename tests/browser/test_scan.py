"""Live scanning before a fake camera: what is taken, explained and asked, refusals, and how it looks and is left."""

from __future__ import annotations

import random
import shutil
from base64 import b64encode
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from accessible import violations
from conftest import FLAGS
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from steps import look
from werkzeug.serving import make_server

from benchmarks._photos import Shot, jpeg, label, scene
from sourcing.codes import check_digit, parse_code
from sourcing.photo.readers import Found
from sourcing.photo.reading import understood
from web.app import create_app

pytestmark = pytest.mark.browser
EAN, TAG, UPCE, STYLE = "9521234567899", "2001234567893", "04252614", "VK-4410-BLK"  # invented, but for the UPC-E
PHONE = {"width": 390, "height": 844}
# Kept for the tests alone: the streams that were opened, how many pictures the reader was sent, and every shake.
WATCH = """
window.watched = { streams: [], pictures: 0, shakes: [] };
const open = MediaDevices.prototype.getUserMedia;
MediaDevices.prototype.getUserMedia = async function (wanted) {
  const stream = await open.call(this, wanted);
  watched.streams.push(stream);
  return stream;
};
const send = Worker.prototype.postMessage;
Worker.prototype.postMessage = function (...all) { watched.pictures++; return send.apply(this, all); };
Navigator.prototype.vibrate = (length) => { watched.shakes.push(length); return true; };
"""
STOPPED = "watched.streams.length > 0 && watched.streams.every(s => s.getTracks().every(t => t.readyState === 'ended'))"
Film = Callable[..., None]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    app = create_app(tmp_path_factory.mktemp("scan") / "comps.db")
    server = make_server("127.0.0.1", 0, app, threaded=True)
    Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    app.extensions["sourcing"].store.close()


@pytest.fixture(scope="module")
def film_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("film") / "film.mjpeg"


@pytest.fixture
def film(film_file: Path) -> Film:
    """Return what makes the camera's film, a picture of its own for each label: it is read anew at each opening."""

    def make(*labels: tuple[str, str, float], seed: int = 952) -> None:
        draw, shots = random.Random(seed), []
        for at, (code, kind, tear) in enumerate(labels):
            shot = Shot(size=(480, 640), module=3, turn=draw.uniform(-8, 8), blur=draw.uniform(0.3, 0.9))
            drawn = [label(code, kind, 2 if kind == "Code128" else 3, tear)] if code else []
            shots.append(jpeg(scene(drawn, shot, seed + at)))
        film_file.write_bytes(b"".join(shots))

    return make


def held(code: str, kind: str = "EAN13", tear: float = 0.0) -> list[tuple[str, str, float]]:
    return [(code, kind, tear)] * 6


@pytest.fixture(scope="module")
def camera(browser: Browser, film_file: Path) -> Iterator[Browser]:
    """Start a browser with a camera that plays the film."""
    film_file.write_bytes(jpeg(scene([], Shot(size=(480, 640)), 1)))
    flags = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film_file}"]
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with browser.browser_type.launch(executable_path=chromium, args=[*FLAGS, *flags]) as started:
        yield started


@pytest.fixture
def opened(camera: Browser, place: str) -> Iterator[Callable[..., Page]]:
    """Return what opens the Check page at phone size, watched; ``before`` is run ahead of its own scripts."""
    contexts = []

    def open_page(*, allowed: bool = True, before: str = "", among: Browser = camera, **more: Any) -> Page:
        rights = ["camera"] if allowed else []
        contexts.append(among.new_context(viewport=PHONE, permissions=rights, **more))
        contexts[-1].add_init_script(WATCH + before)
        page = contexts[-1].new_page()
        page.goto(place)
        return page

    yield open_page
    for context in contexts:
        context.close()


def scan(page: Page, state: str) -> None:
    page.get_by_role("button", name="Scan").click()
    in_state(page, state)


def in_state(page: Page, state: str) -> None:
    expect(page.locator("#scan")).to_have_attribute("data-state", state, timeout=20_000)


def read_some(page: Page, pictures: int) -> None:
    """Wait until the reader was sent this many pictures more."""
    until = page.evaluate("watched.pictures") + pictures
    for _ in range(600):
        if page.evaluate("watched.pictures") >= until:
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"the reader was sent {page.evaluate('watched.pictures')} pictures, not {until}")


def test_a_product_code_is_taken(opened: Callable[..., Page], film: Film, place: str) -> None:
    film(*held(EAN))
    page = opened()
    asked: list[str] = []
    wrong: list[str] = []
    # The worker fetches everything ahead for the aisle; what the page itself asks for is what is held here.
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.reload()
    expect(page.get_by_role("button", name="Scan")).to_be_visible()
    assert not [url for url in asked if "vendor" in url or "reader" in url or "panel" in url]  # not before it is tapped
    page.get_by_role("button", name="Scan").click()
    expect(page.locator("#code")).to_have_value(EAN, timeout=20_000)
    expect(page.locator("#price")).to_be_focused()
    assert page.get_attribute("#price", "inputmode") == "decimal"
    expect(page.get_by_role("status").filter(has_text=f"Read {EAN}")).to_be_visible()
    expect(page.locator("#scan")).to_be_hidden()
    assert page.evaluate(STOPPED)
    assert page.evaluate("watched.pictures") >= 2
    assert page.evaluate("watched.shakes") == [60]
    own = [url for url in asked if "/aisle" not in url and not url.endswith(("/sw.js", ".webmanifest"))]
    assert {url.removeprefix(place).rsplit("/", 1)[-1] for url in own} == {
        "", "style.css", "photo.js", "language.js", "scan.css", "scan.js", "mark.svg", "camera.js", "panel.js",
        "signal.js", "votes.js", "codes.js", "reader.js", "readers.js", "still.js", "index.mjs", "zbar.wasm",
    }  # fmt: skip
    assert all(url.startswith(f"{place}/") for url in asked)
    assert wrong == []


def test_a_store_tag_is_explained_and_the_makers_code_beside_it_still_taken(
    opened: Callable[..., Page], film: Film
) -> None:
    film(*held(TAG))
    page = opened()
    scan(page, "told")
    assert f"{TAG} is an in-store tag. It identifies nothing outside that store." in page.inner_text(".says")
    assert "type the style code" in page.inner_text(".says")
    read_some(page, 8)
    in_state(page, "told")
    page.get_by_role("button", name="Type it").click()
    expect(page.locator("#code")).to_be_focused()
    expect(page.locator("#code")).to_have_value("")
    film(*held(TAG), *held(EAN))
    page.get_by_role("button", name="Scan").click()
    expect(page.locator("#code")).to_have_value(EAN, timeout=20_000)


def test_torn_codes_are_never_taken(opened: Callable[..., Page], film: Film) -> None:
    draw, torn = random.Random(31), []
    for at in range(24):
        body = f"952{draw.randrange(10**9):09}"
        torn.append((body + check_digit(body), "EAN13", 0.12 + 0.02 * at))  # more than the white at its end
    film(*torn)
    page = opened()
    scan(page, "looking")
    read_some(page, 36)
    assert page.get_attribute("#scan", "data-state") in ("looking", "slow", "asked")
    expect(page.locator("#code")).to_have_value("")


SHARP = Shot(size=(480, 640), module=3, blur=0.6)
SHOW = """async (pictures) => {
  const { Votes } = await import("/static/scan/votes.js");
  window.reader ??= new Worker("/static/scan/reader.js", { type: "module" });
  const votes = new Votes(), said = [];
  for (const [at, picture] of pictures.entries()) {
    const bytes = Uint8Array.from(atob(picture), (one) => one.charCodeAt(0));
    const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
    const answer = new Promise((done) => reader.addEventListener("message", ({ data }) => done(data), { once: true }));
    reader.postMessage(bitmap, [bitmap]);
    said.push(votes.add((await answer).found, at * 66));
  }
  return said.filter(Boolean);
}"""


def test_with_the_second_reader_more_is_read_and_no_torn_code_taken(browser: Browser, place: str) -> None:
    page = browser.new_page()
    page.goto(f"{place}/help")

    def show(*drawn: Image.Image, shot: Shot = SHARP) -> list[dict[str, Any]]:
        shots = [scene([one], shot, at) for at, one in enumerate(drawn)]
        said: list[dict[str, Any]] = page.evaluate(SHOW, [b64encode(jpeg(shot)).decode() for shot in shots])
        return said

    nothing = Image.new("L", (9, 9), 128)
    poor = Shot(size=(720, 1280), module=4, blur=2.2, noise=20, turn=5, shade=0.3)  # too much for the first alone
    assert show(*[label(EAN)] * 6, shot=poor) == []
    with page.expect_response(f"{place}/static/vendor/zxing-wasm/reader/zxing_reader.wasm"):
        show(*[nothing] * 16)
    show(*[nothing] * 8)
    assert {one["says"] for one in show(*[label(EAN)] * 6, shot=poor)} == {"accept"}
    draw = random.Random(32)
    for at in range(8):
        body = f"952{draw.randrange(10**9):09}"
        torn = label(body + check_digit(body), "EAN13", 3, 0.12 + 0.06 * at)
        assert [one for one in show(torn, torn) if one["says"] == "accept"] == []


def test_a_short_code_is_asked(opened: Callable[..., Page], film: Film) -> None:
    film(*held(UPCE, "UPCE"))
    page = opened()
    scan(page, "asked")
    assert UPCE in page.inner_text(".says")
    assert "Is this the number under the bars" in page.inner_text(".says")
    expect(page.locator("#code")).to_have_value("")
    page.get_by_role("button", name="No, look on").click()
    in_state(page, "looking")
    read_some(page, 30)  # longer than the question takes to come up
    assert page.get_attribute("#scan", "data-state") in ("looking", "slow")
    page.keyboard.press("Escape")
    expect(page.get_by_role("button", name="Scan")).to_be_focused()
    scan(page, "asked")
    page.get_by_role("button", name="Yes, use it").click()
    expect(page.locator("#code")).to_have_value(UPCE)
    expect(page.locator("#price")).to_be_focused()


def test_a_style_code_on_a_box_label_is_asked(opened: Callable[..., Page], film: Film) -> None:
    film(*held(STYLE, "Code128"))
    page = opened()
    scan(page, "asked")
    assert STYLE in page.inner_text(".says")
    assert "Is it the style code?" in page.inner_text(".says")


IN_USE = (
    """MediaDevices.prototype.getUserMedia = () => Promise.reject(new DOMException("in use", "NotReadableError"));"""
)
GONE = """MediaDevices.prototype.getUserMedia = () => Promise.reject(new DOMException("gone", "NotFoundError"));"""


@pytest.mark.parametrize(("state", "allowed", "before"), [
    ("refused", False, ""), ("busy", True, IN_USE), ("none", True, GONE),
])  # fmt: skip
def test_a_camera_that_does_not_open(
    opened: Callable[..., Page], film: Film, state: str, allowed: bool, before: str
) -> None:
    film(*held(EAN))
    page = opened(allowed=allowed, before=before)
    scan(page, state)
    fits(page, state)
    for name in ("Try again", "Type it"):
        expect(page.get_by_role("button", name=name)).to_be_visible()
    with page.expect_file_chooser():
        page.get_by_role("button", name="Photo", exact=True).click()
    expect(page.locator("#scan")).to_be_hidden()
    if state == "refused":
        page.context.grant_permissions(["camera"])
        page.get_by_role("button", name="Scan").click()
        expect(page.locator("#code")).to_have_value(EAN, timeout=20_000)


@pytest.mark.parametrize(("why", "before"), [
    ("none", ""),
    ("insecure", "Object.defineProperty(window, 'isSecureContext', { value: false });"),
    ("old", "delete window.OffscreenCanvas;"),
])  # fmt: skip
def test_where_it_cannot_be_the_page_says_why(
    browser: Browser, opened: Callable[..., Page], why: str, before: str
) -> None:
    page = opened(among=browser, allowed=False, before=before)  # a browser without a camera
    expect(page.locator(f"[data-why={why}]")).to_be_visible()
    assert page.locator("[data-why]:visible").count() == 1
    expect(page.get_by_role("button", name="Scan")).to_be_hidden()
    expect(page.locator("#photo")).to_be_visible()
    look(page, f"scan-cannot-{why}")


LIGHT = """
window.lit = [];
MediaStreamTrack.prototype.getCapabilities = () => ({ torch: true });
MediaStreamTrack.prototype.applyConstraints = async (wanted) => { lit.push(wanted.advanced[0].torch); };
"""


def test_the_camera_is_off_when_out_of_sight_or_left(opened: Callable[..., Page], film: Film) -> None:
    film(*held(""))
    page = opened(before=LIGHT)
    scan(page, "looking")
    light = page.get_by_role("button", name="Light")
    light.click()
    expect(light).to_have_attribute("aria-pressed", "true")
    light.click()
    expect(light).to_have_attribute("aria-pressed", "false")
    assert page.evaluate("lit") == [True, False]
    assert not page.evaluate(STOPPED)
    page.evaluate(
        "Object.defineProperty(document, 'hidden', { value: true, configurable: true });"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )
    in_state(page, "paused")
    assert page.evaluate(STOPPED)
    page.evaluate("delete document.hidden")
    page.get_by_role("button", name="Try again").click()
    in_state(page, "looking")
    assert not page.evaluate(STOPPED)
    page.evaluate("watched.streams.at(-1).getTracks()[0].dispatchEvent(new Event('ended'))")
    in_state(page, "lost")
    page.get_by_role("button", name="Try again").click()
    in_state(page, "looking")
    page.evaluate("window.dispatchEvent(new Event('pagehide'))")
    expect(page.locator("#scan")).to_be_hidden()
    assert page.evaluate(STOPPED)


def test_sound_and_shaking_are_kept_in_the_browser(opened: Callable[..., Page], film: Film) -> None:
    film(*held(""))
    page = opened(reduced_motion="reduce")
    scan(page, "looking")
    sound, shake = page.get_by_label("Sound"), page.get_by_label("Vibrate")
    expect(sound).not_to_be_checked()
    expect(shake).not_to_be_checked()  # asked for less motion: not unless it is wanted
    sound.check()
    shake.check()
    assert page.evaluate("watched.shakes") == [60]
    page.reload()
    scan(page, "looking")
    expect(sound).to_be_checked()
    expect(shake).to_be_checked()


def test_a_reader_that_does_not_load_is_said(opened: Callable[..., Page], film: Film) -> None:
    film(*held(EAN))
    page = opened(service_workers="block")  # which would have it kept already
    page.context.route("**/zbar.wasm", lambda route: route.abort())
    scan(page, "unread")
    assert page.evaluate(STOPPED)
    page.context.unroute("**/zbar.wasm")
    page.get_by_role("button", name="Try again").click()
    expect(page.locator("#code")).to_have_value(EAN, timeout=20_000)


def test_axe_finds_nothing_while_scanning(opened: Callable[..., Page], film: Film) -> None:
    page = opened(before=LIGHT)
    for state, shown in (("looking", held("")), ("told", held(TAG)), ("asked", held(UPCE, "UPCE"))):
        film(*shown)
        scan(page, state)
        fits(page, state)
        page.keyboard.press("Escape")


def fits(page: Page, name: str) -> None:
    """Hold the open panel to WCAG at every width, and on phones its buttons to the thumb."""
    for width, height in ((320, 568), (360, 640), (390, 844), (768, 1024), (1280, 800)):
        page.set_viewport_size({"width": width, "height": height})
        look(page, f"scan-{name}-{width}")
        assert (name, width, violations(page, at_foot=False)) == (name, width, [])
        whole = "(e => e.scrollWidth <= e.clientWidth && e.scrollHeight <= e.clientHeight)"
        assert page.evaluate(f"{whole}(document.getElementById('scan'))"), (name, width)
        for button in page.locator("#scan button:visible").all():
            box = button.bounding_box()
            assert box
            assert min(box["width"], box["height"]) >= 44
            assert box["y"] >= height * 2 / 3 or width > 400


def numbers() -> list[tuple[str, str]]:
    """Return thousands of readings: every prefix, each length, UPC-E of each ending, wrong check digits, box labels."""
    draw, made = random.Random(12952), []

    def add(body: str, *kinds: str) -> None:
        digits = body + (check_digit(body) if draw.random() < 0.85 else str(draw.randrange(10)))
        made.extend((digits, kind) for kind in kinds)

    for prefix in range(1000):
        add(f"{prefix:03}{draw.randrange(10**9):09}", "EAN13", "CODE128")
    for first in range(100):
        for _ in range(10):
            add(f"{first:02}{draw.randrange(10**9):09}", "UPCA")
            add(f"{first:02}{draw.randrange(10**5):05}", "EAN8", "CODE128")
        add(f"{draw.randrange(10**13):013}", "CODE128")
        add(f"000000{first:02}{draw.randrange(10**4):04}", "EAN13", "UPCA")
    for core in range(0, 10**6, 4211):
        short = f"0{core:06}{draw.randrange(10)}"
        for at in range(10):  # one of the ten check digits is right
            made.append((f"{short[:7]}{at}", "UPCE"))
    made += [("12345670", "UPCE"), ("10263847", "CODE128"), (STYLE, "CODE128"), ("1234567", "CODE128")]
    made += [("", "EAN13"), ("952123456789", "EAN13"), ("95212345678991", "EAN13"), ("FWR 1042", "CODE128")]
    return made


def test_numbers_are_classed_as_on_the_server(browser: Browser, place: str) -> None:
    page = browser.new_page()
    page.goto(place)
    readings = numbers()
    got = page.evaluate(
        "async (all) => { const { understood } = await import('/static/scan/codes.js');"
        "return all.map(([text, kind]) => understood(text, kind)); }",
        readings,
    )
    kinds: dict[str, int] = {}
    for (text, symbology), here in zip(readings, got, strict=True):
        code = understood(Found(text, symbology, 0, 0.0))
        if code is None or here is None:
            assert (text, symbology, code, here) == (text, symbology, None, None)
            continue
        assert (text, here["kind"], here["gtin"]) == (text, code.kind, code.gtin)
        if code.gtin:  # what goes into the field means the same to the server, and nothing else
            typed = parse_code(here["typed"])
            assert (text, typed.gtin, typed.alternatives) == (text, code.gtin, ())
            assert (
                here["typed"] == code.typed or symbology == "UPCE"
            )  # of one number's two short spellings, the one seen
        kinds[code.kind] = kinds.get(code.kind, 0) + 1
    assert len(readings) > 7_000
    assert min(kinds[kind] for kind in ("product", "demo", "store tag", "coupon", "refund", "unknown")) >= 2


def test_what_is_taken_after_which_readings(browser: Browser, place: str) -> None:
    """Each line: readings as (milliseconds, code, symbology, agreeing lines), and what is said to the last of them."""
    other, half = "9520000000011", "96385074"
    wanted = [
        ([(0, EAN, "EAN13", 20)], None),
        ([(0, EAN, "EAN13", 20), (40, EAN, "EAN13", 20)], "accept"),
        ([(0, EAN, "EAN13", 20), (40, other, "EAN13", 20)], None),
        ([(0, EAN, "EAN13", 20), (40, other, "EAN13", 20), (80, EAN, "EAN13", 20)], None),
        ([(0, EAN, "EAN13", 20), (40, other, "EAN13", 20), (80, EAN, "EAN13", 20), (90, EAN, "EAN13", 9)], "accept"),
        ([(0, EAN, "EAN13", 20), (4000, EAN, "EAN13", 20)], None),
        ([(0, EAN, "EAN13", 4), (40, EAN, "EAN13", 5)], None),
        ([(0, EAN, "EAN13", 4), (40, EAN, "EAN13", 5), (80, EAN, "EAN13", 20)], "accept"),
        ([(0, "9521234567890", "EAN13", 20), (40, "9521234567890", "EAN13", 20)], None),  # wrong check digit
        ([(0, half, "EAN8", 20), (40, half, "EAN8", 20)], "accept"),
        ([(0, TAG, "EAN13", 20), (2000, TAG, "EAN13", 20)], "tell"),
        ([(0, "201234567899", "UPCA", 20), (2000, "201234567899", "UPCA", 20)], "tell"),
        ([(0, "9990000000012", "EAN13", 20), (2000, "9990000000012", "EAN13", 20)], "tell"),
        ([(0, TAG, "EAN13", 20), (40, EAN, "EAN13", 20), (80, TAG, "EAN13", 20)], None),
        ([(0, UPCE, "UPCE", 40), (40, UPCE, "UPCE", 40)], None),  # time for the maker's code beside it
        ([(0, UPCE, "UPCE", 40), (800, UPCE, "UPCE", 40)], "ask"),
        ([(0, UPCE, "UPCE", 40), (700, EAN, "EAN13", 9), (800, UPCE, "UPCE", 40)], None),
        ([(0, STYLE, "CODE128", 9), (800, STYLE, "CODE128", 9)], "ask"),
        ([(0, EAN, "CODE128", 9), (800, EAN, "CODE128", 9)], "ask"),
        ([(0, "1990000000010", "EAN13", 20), (800, "1990000000010", "EAN13", 20)], "ask"),  # prefix not assigned
    ]
    page = browser.new_page()
    page.goto(place)
    said = page.evaluate(
        "async (all) => { const { Votes } = await import('/static/scan/votes.js');"
        "return all.map((reads) => { const votes = new Votes(); let last = null;"
        "for (const [at, text, symbology, quality] of reads)"
        " last = votes.add([{ text, symbology, quality, offCentre: 0 }], at);"
        "return last && last.says; }); }",
        [list(reads) for reads, _ in wanted],
    )
    assert said == [says for _, says in wanted]
