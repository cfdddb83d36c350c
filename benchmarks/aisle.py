"""The aisle's pages on a slow phone: bytes of the first load, and the time from a code in view to the verdict.

The scores of Lighthouse are among them where the environment's ``LIGHTHOUSE`` names its program. Headless Chromium, its
CPU slowed four times where that is said.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.request import Request, urlopen

from benchmarks._photos import Shot, jpeg, label, scene
from sourcing.storage import Store

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
MOST_BYTES, MOST_SCAN = 150_000, 1000  # first load without the readers; ms
SLOWED, TIMES = 4, 7
LIGHTHOUSE = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
)
LOADED = """() => performance.getEntriesByType("resource").map((one) => one.name).concat(location.href)
  .filter((name) => !name.includes("/vendor/") && !name.includes("/aisle/state") && !name.includes("/aisle/pack"))"""
# From the first picture of the camera with the code in it to the verdict on the screen; the price was typed before.
SCAN = """async () => {
  const panel = document.getElementById("scan"), video = panel.querySelector("video");
  const began = performance.now();
  let seen = 0;
  video.requestVideoFrameCallback(() => (seen = performance.now()));
  document.getElementById("scan-open").click();
  while (!document.querySelector("#verdict .word")?.checkVisibility()) {
    if (seen && !panel.open && document.getElementById("code").value) document.getElementById("ask").requestSubmit();
    if (performance.now() - began > 60_000) throw new Error(`no verdict: ${document.getElementById("scan").innerText}`);
    await new Promise((done) => setTimeout(done, 20));
  }
  return performance.now() - seen;
}"""


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, Store, Any]]:
    """Serve the sample comps, learnt, with their pack; what is yielded last stops it."""
    from werkzeug.serving import make_server

    from sourcing.fitting import keep_up
    from sourcing.pack.kept import bring_up_to_date
    from sourcing.samples import load_samples
    from web.app import create_app

    app = create_app(folder / "comps.db")
    store: Store = app.extensions["sourcing"].store
    load_samples(store)
    keep_up(store)
    bring_up_to_date(store, folder)
    server = make_server("127.0.0.1", 0, app, threaded=True)
    Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", store, server
    finally:
        server.shutdown()
        server.server_close()
        store.close()


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    return [*_in_browser(), *_lighthouse()]


def _in_browser() -> list[dict[str, Any]]:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        return []
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory(prefix="bench-") as name, serving(Path(name)) as (address, store, _):
        code = f"{store.read('SELECT gtin FROM code ORDER BY gtin LIMIT 1 OFFSET 40')[0][0]:013d}"
        film = Path(name) / "film.mjpeg"
        shot = Shot(size=(480, 640), module=3, blur=0.5)  # upright, as a phone is held
        film.write_bytes(b"".join(jpeg(scene([label(code, module=3)], shot, at)) for at in range(6)))
        camera = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"]
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium, args=[*FLAGS, *camera])
            context = browser.new_context(viewport={"width": 390, "height": 844}, permissions=["camera"])
            page = context.new_page()
            page.set_default_timeout(300_000)
            page.goto(address)
            page.get_by_text("Answers without your server").wait_for()
            page.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
            first = _first_load(sorted(set(page.evaluate(LOADED))))
            times = []
            context.set_offline(True)
            for _ in range(TIMES):
                page.goto(address)
                page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
                page.get_by_text("Answers without your server").wait_for()
                page.fill("#price", "9.00")
                times.append(page.evaluate(SCAN))
            browser.close()
    scan = statistics.median(times)
    return [
        first,
        {
            "name": f"a code in view to the verdict, no server, CPU slowed: ms beside {MOST_SCAN}",
            "ratio": scan / MOST_SCAN,
            "bar": 1.0,
            "detail": f"median of {TIMES}: {scan:.0f} ms, {min(times):.0f} to {max(times):.0f}; a fake camera at 480 x "
            "640, two equal readings, the reader loaded anew on each page",
        },
    ]  # fmt: skip


def _first_load(names: list[str]) -> dict[str, Any]:
    sizes = {}
    for name in names:
        # What a browser offers over a plain line; over an encrypted one it takes Brotli, which is smaller.
        with urlopen(Request(name, headers={"Accept-Encoding": "gzip, deflate"}), timeout=60) as answer:
            sizes[name] = len(answer.read())
    total = sum(sizes.values())
    return {
        "name": f"first load of the Check page, without the readers: bytes beside {MOST_BYTES:,}",
        "ratio": total / MOST_BYTES,
        "bar": 1.0,
        "detail": f"{total:,} bytes in {len(sizes)} files, as sent: scripts and styles packed with gzip, the page not",
    }


def _lighthouse() -> list[dict[str, Any]]:
    program = os.environ.get("LIGHTHOUSE")
    if not program:
        return []
    from sourcing import haul, history
    from sourcing.answer import Query
    from sourcing.check import check

    found = []
    with tempfile.TemporaryDirectory(prefix="bench-") as name, serving(Path(name)) as (address, store, _):
        style = store.read("SELECT style_code FROM product WHERE root = id AND style_code <> '' ORDER BY id LIMIT 1")[
            0
        ][0]
        number = history.record(store, check(store, Query(code=style)), datetime.now(UTC))
        haul.take(store, number, 1, "benchmark")
        for page, path in (("Check", "/"), ("a verdict", f"/check/{number}"), ("Haul", "/haul")):
            out = Path(name) / "report.json"
            command = [program, address + path, "--output=json", f"--output-path={out}", "--quiet"]
            command += ["--only-categories=performance,best-practices,accessibility", f"--chrome-flags={LIGHTHOUSE}"]
            subprocess.run(command, check=True, env={**os.environ, "CHROME_PATH": shutil.which("chromium") or ""})
            report = json.loads(out.read_text())
            speed, good, for_all = (
                report["categories"][key]["score"] for key in ("performance", "best-practices", "accessibility")
            )
            audits = report["audits"]
            paint, shift = (
                audits[key]["numericValue"] for key in ("largest-contentful-paint", "cumulative-layout-shift")
            )
            busy, moved = (audits[key]["numericValue"] for key in ("total-blocking-time", "total-byte-weight"))
            failed = [key for key, one in audits.items() if one["score"] == 0]
            found.append(
                {
                    "name": f"Lighthouse {report['lighthouseVersion']}, mobile, {page}: best practices short of 1",
                    "ratio": 1 - good,
                    "bar": 0.0,
                    "detail": f"performance {speed:.2f}, best practices {good:.2f}, accessibility {for_all:.2f}; "
                    f"largest paint {paint / 1000:.1f} s, blocked "
                    f"{busy:.0f} ms, shift {shift:.3f}, {moved / 1000:.0f} kB; failed: {', '.join(failed) or 'none'}",
                }
            )
    return found


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']}: {line['ratio']:.3g} (bar {line['bar']}); {line['detail']}")
