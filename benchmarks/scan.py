"""Live scanning in the page beside two bare readers: codes taken, and wrong ones, over seconds of a hand-held camera.

Each label is held before the camera for six pictures of 720 x 1280 pixels, seeded: the hand turns, focus and noise
come and go, some labels lie askew. Beside makers' codes of several kinds there are torn ones, in-store tags and none
at all, which are never to be taken. All sides see the same pictures and take a code read alike in two of them that is
not an in-store number; the page reads in headless Chromium with the reader, the passes and the votes it ships.
"""

from __future__ import annotations

import base64
import io
import shutil
import statistics
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from threading import Thread
from typing import Any, NamedTuple

import numpy as np
import zxingcpp
from PIL import Image

from benchmarks._photos import Shot, jpeg, label, scene
from sourcing.codes import check_digit, classify

SIZE = (720, 1280)
PICTURES = 6
STEP = 66  # milliseconds from one picture to the next
GRADES = {"easy": (0.1, 0.3, 8, 0.2), "medium": (0.3, 0.5, 16, 0.4), "hard": (0.45, 0.75, 28, 0.6)}
PER_GRADE = 12
NEVER = 18
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
READ = """async ([pictures, step]) => {
  const { Votes } = await import("/static/scan/votes.js");
  window.reader ??= new Worker("/static/scan/reader.js", { type: "module" });
  const votes = new Votes(), spent = [];
  let said = null, after = 0, read = [];
  for (const [at, picture] of pictures.entries()) {
    const bytes = Uint8Array.from(atob(picture), (one) => one.charCodeAt(0));
    const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
    const started = performance.now();
    const answer = new Promise((done) => reader.addEventListener("message", ({ data }) => done(data), { once: true }));
    reader.postMessage(bitmap, [bitmap]);
    const { found } = await answer;
    spent.push(performance.now() - started);
    read.push(found.map((one) => [one.text, one.symbology, one.quality]));
    const verdict = votes.add(found, at * step);
    if (verdict && said?.says !== "accept") { said = verdict; after = at + 1; }
  }
  return { says: said?.says ?? "", gtin: said?.code.gtin ?? "", after, spent, read };
}"""


class Held(NamedTuple):
    """One label before the camera: its grade, the GTIN-14 that may be taken ("" for none), and its pictures as JPEG."""

    grade: str
    truth: str
    pictures: list[bytes]


def labels(seed: int = 30952) -> list[Held]:
    """Draw every label and take its pictures."""
    draw = np.random.default_rng(seed)
    made = []

    def hold(grade: str, code: str, kind: str, truth: str, tear: float = 0.0) -> None:
        least, most, noise, shade = GRADES[grade]
        wide = 115 if kind in ("EAN13", "UPCA") else 87
        module = max(2, round(SIZE[0] * draw.uniform(0.3, 0.85) / wide))
        blur, turn = draw.uniform(least, most), draw.uniform(0, 180) if draw.random() < 0.2 else draw.uniform(-12, 12)
        pictures = []
        for _ in range(PICTURES):
            shot = Shot(
                module=module,
                turn=turn + draw.normal(0, 1.5),
                blur=module * blur * draw.uniform(0.6, 1.4),
                noise=draw.uniform(noise / 3, noise),
                shade=draw.uniform(0, shade),
                size=SIZE,
            )
            drawn = [label(code, kind, module, tear)] if code else []
            pictures.append(jpeg(scene(drawn, shot, int(draw.integers(2**31)))))
        made.append(Held(grade if truth else "never", truth, pictures))

    def number(prefix: str, length: int = 13) -> str:
        body = prefix + "".join(str(draw.integers(10)) for _ in range(length - 1 - len(prefix)))
        return body + check_digit(body)

    for grade in GRADES:
        for at in range(PER_GRADE):
            kind = ("EAN13", "EAN13", "UPCA", "EAN8")[at % 4]
            code = {"EAN13": number("952"), "UPCA": number("01", 12), "EAN8": number("96", 8)}[kind]
            hold(grade, code, kind, code.zfill(14))
        for at in range(NEVER // 3):
            if at % 5 == 4:
                hold(grade, "", "EAN13", "")
            elif at % 5 == 3:
                hold(grade, number("2"), "EAN13", "")
            else:
                hold(grade, number("952"), "EAN13", "", draw.uniform(0.12, 0.6))  # more than the white at its end
    return made


def twice(reads: list[set[str]]) -> str:
    """Return the first code, no in-store number, that two pictures gave."""
    votes: Counter[str] = Counter()
    for codes in reads:
        for code in sorted(codes):
            votes[code] += 1
            if votes[code] == 2:
                return code
    return ""


def bare_zbar() -> Callable[[Image.Image], set[str]] | None:
    """Return the first reader alone; None where its library is missing."""
    try:
        from pyzbar import pyzbar
    except (ImportError, OSError):
        return None
    kinds = pyzbar.ZBarSymbol
    wanted = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE]

    def read(image: Image.Image) -> set[str]:
        found = {one.data.decode().zfill(14) for one in pyzbar.decode(image, symbols=wanted)}
        return {code for code in found if classify(code) != "store tag"}

    return read


def bare_zxing(image: Image.Image) -> set[str]:
    """Read with the second reader alone."""
    kinds = zxingcpp.BarcodeFormat
    wanted: Any = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE]
    found = {one.text.zfill(14) for one in zxingcpp.read_barcodes(image, formats=wanted)}
    return {code for code in found if classify(code) != "store tag"}


def in_page(held: list[Held]) -> list[dict[str, Any]]:
    """Show every label to the page's own reader; [] where there is no browser."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        return []
    from playwright.sync_api import sync_playwright
    from werkzeug.serving import make_server

    from web.app import create_app

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        app = create_app(Path(folder) / "comps.db")
        server = make_server("127.0.0.1", 0, app, threaded=True)
        Thread(target=server.serve_forever, daemon=True).start()
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/help")
        blank = base64.b64encode(jpeg(Image.new("L", SIZE, 128))).decode()
        with page.expect_response("**/zxing_reader.wasm"):  # both readers at work, as after the first second or so
            page.evaluate(READ, [[blank] * 16, STEP])
        page.evaluate(READ, [[blank] * 16, STEP])
        said = [page.evaluate(READ, [[base64.b64encode(p).decode() for p in one.pictures], STEP]) for one in held]
        browser.close()
        server.shutdown()
        server.server_close()
        app.extensions["sourcing"].store.close()
    return said


def run() -> list[dict[str, Any]]:
    """Show every label to the page and to the bare readers."""
    held = labels()
    page, zbar = in_page(held), bare_zbar()
    if not page or zbar is None:
        return []
    taken: dict[str, list[str]] = {"page": [one["gtin"] if one["says"] == "accept" else "" for one in page]}
    spent: dict[str, list[float]] = {"page": [ms for one in page for ms in one["spent"]]}
    for name, read in (("pyzbar", zbar), ("zxing-cpp", bare_zxing)):
        taken[name], spent[name] = [], []
        for one in held:
            reads = []
            for picture in one.pictures:
                image = Image.open(io.BytesIO(picture)).convert("L")
                started = time.thread_time()
                reads.append(read(image))
                spent[name].append(1000 * (time.thread_time() - started))
            taken[name].append(twice(reads))
    there = Counter(one.grade for one in held if one.truth)
    right = {
        name: Counter(one.grade for one, code in zip(held, codes, strict=True) if one.truth and code == one.truth)
        for name, codes in taken.items()
    }
    wrong = {
        name: sum(bool(code) and code != one.truth for one, code in zip(held, codes, strict=True))
        for name, codes in taken.items()
    }
    asked = sum(one["says"] == "ask" for one in page)
    after = [one["after"] for one, code in zip(page, taken["page"], strict=True) if code]
    missed = {name: there.total() - right[name].total() for name in taken}
    shares = "; ".join(
        f"{name} {', '.join(f'{grade} {right[name][grade]}' for grade in there)}, wrong {wrong[name]}, "
        f"{statistics.median(spent[name]):.0f} ms a picture"
        for name in taken
    )
    return [
        {
            "name": "live scanning: labels not read",
            "ratio": missed["page"] / max(1, missed["pyzbar"]),
            "bar": 1.0,
            "detail": f"of {', '.join(f'{there[grade]} {grade}' for grade in there)}, and of "
            f"{len(held) - there.total()} that are never to be taken: {shares} (the page's by the clock, its answer "
            f"awaited); the page took one after {statistics.median(after):.0f} of {PICTURES} pictures in the median "
            f"and asked about {asked}",
        },
        {
            "name": "live scanning: wrong codes taken",
            "ratio": float(wrong["page"]),
            "bar": 0.0,
            "detail": f"count, not ratio, over {len(held)} labels: page {wrong['page']}, pyzbar {wrong['pyzbar']}, "
            f"zxing-cpp {wrong['zxing-cpp']}",
        },
    ]


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']:34} {line['ratio']:.2f} (bar {line['bar']})  {line['detail']}")
