"""The take-along pack: bytes an item, and on a slow phone the time to open it and from a typed code to the verdict.

The items are made up, in the categories and conditions of the sample comps, and forecast by the fit of those. Opening
is from IndexedDB to the first verdict, in headless Chromium with its CPU slowed four times; the verdicts are of known
codes and of mistyped ones, whose close matches are looked for too.
"""

from __future__ import annotations

import csv
import random
import shutil
import statistics
import sys
import tempfile
import time
from datetime import date, timedelta
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

from sourcing.codes import check_digit
from sourcing.comps import load_file
from sourcing.pack import kept
from sourcing.samples import load_samples
from sourcing.storage import open_store

SIZES = (10_000, 50_000)
MOST_BYTES, MOST_OPEN, MOST_VERDICT = 60, 200, 100  # an item; ms
SLOWED = 4
STATIC = Path(__file__).resolve().parent.parent / "web" / "static"
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
WORDS = ("runner", "trail", "court", "low", "mid", "knit", "suede", "canvas", "grey", "navy", "sand", "wide", "kettle")
STORE = """async (name) => {
  const raw = await new Response((await fetch(name)).body.pipeThrough(new DecompressionStream("gzip"))).arrayBuffer();
  const db = await new Promise((done) => {
    const request = indexedDB.open("bench", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("pack");
    request.onsuccess = () => done(request.result);
  });
  await new Promise((done) => {
    const writing = db.transaction("pack", "readwrite");
    writing.objectStore("pack").put(new Blob([raw]), "pack");
    writing.oncomplete = done;
  });
  db.close();
}"""
READY = """async () => {
  Object.assign(window, await import("/aisle/pack.js"), await import("/aisle/judge.js"));
}"""
OPEN = """async (code) => {
  const started = performance.now();
  const db = await new Promise((done) => {
    const request = indexedDB.open("bench", 1);
    request.onsuccess = () => done(request.result);
  });
  const raw = await new Promise((done) => {
    const request = db.transaction("pack").objectStore("pack").get("pack");
    request.onsuccess = () => done(request.result.arrayBuffer());
  });
  const read = performance.now();
  window.pack = await window.openPack(raw);
  window.judge(window.pack, { code, price: "12.50" });
  return [performance.now() - started, performance.now() - read];
}"""
JUDGE = """(codes) => codes.map((code) => {
  const started = performance.now();
  const answer = window.judge(window.pack, { code, price: "12.50", condition: "used", discount: "20%" });
  return [performance.now() - started, answer.item.known, answer.item.suggestions.length];
})"""


def write_items(path: Path, items: int) -> list[str]:
    """Write a few listings of each of so many made-up items, and return their style codes."""
    kinds = ("shoes", "clothing", "toys", "games", "housewares")
    draw, codes = random.Random(items), []
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(("gtin", "style_code", "brand", "category", "title", "condition", "asking_price", "sold_price",
                      "listed_on", "ended_on", "status"))  # fmt: skip
        for at in range(items):
            brand = f"Maker{draw.randrange(300):03d}"
            code, body = f"{brand[-3:]}-{at:06d}", f"952{at:09d}"
            codes.append(code)
            level, title = draw.lognormvariate(3.6, 0.5), f"{brand} {' '.join(draw.sample(WORDS, 4))}"
            kind = draw.choice(kinds)
            for _ in range(1 + int(draw.expovariate(1 / 5))):
                listed = date(2026, 1, 1) + timedelta(draw.randrange(280))
                ended, asked = (
                    listed + timedelta(1 + int(draw.expovariate(1 / 35))),
                    level * draw.lognormvariate(0.1, 0.2),
                )
                sold = draw.random() < 0.75
                out.writerow((body + check_digit(body), code, brand, kind, title, draw.choice(("new", "used")),
                              f"{asked:.2f}", f"{asked * 0.95:.2f}" if sold else "", listed,
                              min(ended, date(2026, 11, 19)), "sold" if sold else "ended unsold"))  # fmt: skip
    return codes


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    found = []
    with tempfile.TemporaryDirectory(prefix="bench-") as name:
        place = Path(name)
        for folder in ("aisle", "scan"):
            shutil.copytree(STATIC / folder, place / folder)
        shutil.copy(STATIC / "language.js", place)
        (place / "page.html").write_text("<!doctype html><title>bench</title>")
        for items in SIZES:
            store = open_store(str(place / f"{items}.sqlite3"))
            load_samples(store)
            codes = write_items(place / "more.csv", items)
            load_file(store, place / "more.csv", as_of=date(2026, 11, 20))
            started = time.process_time()
            pack = kept.build(store)
            spent = time.process_time() - started
            store.close()
            kept.write(pack.data, place / f"{items}.pack")
            found += [_bytes(pack, spent), *_on_a_phone(place, items, codes)]
    return found


def _bytes(pack: kept.Pack, spent: float) -> dict[str, Any]:
    import gzip

    items = kept.header_of(gzip.decompress(pack.data))["items"]
    each = len(pack.data) / items
    return {
        "name": f"the pack of {items:,} made-up items in three conditions: bytes an item beside {MOST_BYTES}",
        "ratio": each / MOST_BYTES,
        "bar": 1.0,
        "detail": f"{len(pack.data):,} bytes compressed, {each:.1f} an item; built in {spent:.1f} CPU s",
    }


def _on_a_phone(place: Path, items: int, codes: list[str]) -> list[dict[str, Any]]:
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(place)))
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
            page = browser.new_page()
            page.set_default_timeout(600_000)
            address = f"http://127.0.0.1:{server.server_address[1]}"
            page.goto(f"{address}/page.html")
            page.evaluate(STORE, f"{address}/{items}.pack")
            page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
            opened = []
            for _ in range(5):
                page.reload()
                page.evaluate(READY)
                opened.append(page.evaluate(OPEN, codes[7]))
            draw = random.Random(3)
            typed = draw.sample(codes, 60)
            wrong = [code[:-1] + "X" for code in draw.sample(codes, 20)]
            times, misses = page.evaluate(JUDGE, typed), page.evaluate(JUDGE, wrong)
            browser.close()
    finally:
        server.shutdown()
    assert all(known for _, known, _ in times)
    assert all(not known and near for _, known, near in misses)
    whole, own = (statistics.median(one[at] for one in opened) for at in range(2))
    hit, miss = (statistics.median(one[0] for one in some) for some in (times, misses))
    return [
        {
            "name": f"opening the pack of {items:,} items up to the first verdict, CPU slowed: ms beside {MOST_OPEN}",
            "ratio": whole / MOST_OPEN,
            "bar": 1.0,
            "detail": f"median of 5: {whole:.0f} ms, {own:.0f} of them checking, laying out and judging",
        },
        {
            "name": f"a typed code to the verdict at {items:,} items, CPU slowed: ms beside {MOST_VERDICT}",
            "ratio": max(hit, miss) / MOST_VERDICT,
            "bar": 1.0,
            "detail": f"median of 60 known codes: {hit:.1f} ms; of 20 mistyped ones, with close matches: {miss:.1f} ms",
        },
    ]  # fmt: skip


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: Any) -> None:
        """Say nothing."""


if __name__ == "__main__":
    for line in run():
        sys.stdout.write(f"{line['ratio']:.3f} {line['name']}: {line['detail']}\n")
