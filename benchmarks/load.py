"""Loading and looking up comps, beside the sqlite3 command line and a flat indexed table, in one run.

Every load is a child process measured by its own CPU seconds (user + system), turns are interleaved, and the
least of each counts; of the first load the median of the turns, each held to the imports before and after it. The
data is invented: seeded random listings of invented brands.
"""

from __future__ import annotations

import csv
import os
import random
import resource
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sourcing.codes import check_digit
from sourcing.comps.columns import NAMES
from sourcing.comps.lookup import rows_of_gtin
from sourcing.storage import open_store

ROWS = 100_000
MANY = 1_000_000
ROUNDS = 3
TURNS = 9
ROWS_A_PRODUCT = 8.5
LOOKUPS = 3_000
_LOAD = """
import re, sys, time
from sourcing.comps.load import load_file
from sourcing.storage import open_store
store = open_store(sys.argv[1])
at = time.process_time()
load_file(store, sys.argv[2])
peak = re.search(r"VmHWM:\\s*(\\d+) kB", open("/proc/self/status").read())
print(time.process_time() - at, int(peak[1]) * 1024)
"""
_FLAT = (
    "gtin INTEGER, style_code, brand, category, title, size, condition, channel, asking_price REAL, "
    "sold_price, shipping_charged, listed_on, ended_on, status, note"
)
_TEN = (
    "SELECT status, gtin, asking_price, sold_price, shipping_charged, listed_on, ended_on, size, condition, channel "
    "FROM comp"
)
_OWN_TEN = """
SELECT c.status, c.gtin, c.ask, c.sold, c.ship, c.listed, c.ended, c.size, c.condition, c.channel
FROM code k CROSS JOIN product p ON p.root = k.root CROSS JOIN comp c ON c.product_id = p.id
WHERE k.gtin = ? AND c.gtin = ? ORDER BY c.ended
"""


def write_comps(path: Path, rows: int, seed: int = 1, first: int = 0) -> None:
    """Write invented listings as the documented CSV in the order they ended, about eight a product.

    What a product is hangs on its number alone, counted from `first`, so that two files can tell of the same products.
    """
    draw = random.Random(seed)
    words = [
        "runner",
        "trail",
        "court",
        "low",
        "mid",
        "knit",
        "suede",
        "canvas",
        "grey",
        "navy",
        "sand",
        "wide",
    ]
    start = date(2025, 1, 1)
    made: list[tuple[str, ...]] = []
    product = first
    while len(made) < rows:
        product += 1
        who = random.Random(product)
        brand = f"Brand{who.randrange(400):03d}"
        category = f"category {who.randrange(40):02d}"
        style = f"{brand[-3:]}-{product:06d}"
        codes = [f"952{product:07d}{size:02d}" for size in range(3)]
        codes = [code + check_digit(code) for code in codes]
        level = who.lognormvariate(3.6, 0.5)
        name = " ".join(who.sample(words, 4))
        for _ in range(min(rows - len(made), 1 + int(draw.expovariate(1 / 8)))):
            size = draw.randrange(3)
            listed = start + timedelta(draw.randrange(500))
            ended = (listed + timedelta(1 + int(draw.expovariate(1 / 40)))).isoformat()
            ask = round(level * draw.lognormvariate(0.1, 0.2), 2)
            status = draw.choices(["sold", "open", "ended unsold"], [75, 10, 15])[0]
            sold = f"{ask * 0.95:.2f}" if status == "sold" else ""
            title = f"{brand} {name} size {8 + size} listing {len(made) % 977}"
            worn, shipping = draw.choice(["new", "used"]), draw.choice(["0", "5.99"])
            made.append((
                codes[size], style, brand, category, title, str(8 + size), worn, "market A", f"{ask:.2f}",
                sold, shipping, listed.isoformat(), "" if status == "open" else ended, status, "",
            ))  # fmt: skip
    # An export lists what ended, day by day; rows of one product do not stand together.
    draw.shuffle(made)
    made.sort(key=lambda row: row[12])
    with path.open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(name for name in NAMES if name not in ("listing", "currency"))
        out.writerows(made)


def cpu_of(command: list[str], place: Path, **options: Any) -> float:
    """Run a child process, its modules compiled as where it is installed, and return the CPU seconds it took."""
    surroundings = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    surroundings["PYTHONPYCACHEPREFIX"] = str(place / "compiled")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, env=surroundings, **options)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def flat_script(target: Path, source: Path) -> str:
    """Return the sqlite3 command line's script: import without any check, then four indexes."""
    return (
        "PRAGMA journal_mode=DELETE;\nPRAGMA synchronous=FULL;\nPRAGMA cache_size=-65536;\n"
        f"CREATE TABLE comp ({_FLAT});\n"
        f".mode csv\n.import --skip 1 {source} comp\n"
        "CREATE INDEX by_gtin ON comp(gtin);\nCREATE INDEX by_style ON comp(style_code);\n"
        "CREATE INDEX by_kin ON comp(brand, category);\nCREATE INDEX by_end ON comp(ended_on);\n"
    )


def bare_import(place: Path, source: Path) -> float:
    """Return the CPU seconds of the sqlite3 command line importing the file."""
    target = place / "flat.db"
    target.unlink(missing_ok=True)
    script = flat_script(target, source).encode()
    return cpu_of(["sqlite3", str(target)], place, input=script, stdout=subprocess.DEVNULL)


def own_load(place: Path, source: Path, name: str = "own.db", *, fresh: bool = True) -> tuple[float, float, float]:
    """Return what our load of the file takes: CPU seconds of the whole process, of the load alone, peak bytes."""
    target = place / name
    if fresh:  # an empty store made beforehand: what is measured is the load
        target.unlink(missing_ok=True)
        open_store(str(target)).close()
    said = place / "said.txt"
    with said.open("w") as out:
        whole = cpu_of([sys.executable, "-c", _LOAD, str(target), str(source)], place, stdout=out)
    alone, peak = said.read_text().split()
    return whole, float(alone), float(peak)


def measure_load(place: Path) -> list[dict[str, Any]]:
    """Compare a first load, the same rows again and the same file again with the bare import."""
    source, again = place / "comps.csv", place / "again.csv"
    write_comps(source, ROWS)
    again.write_bytes(source.read_bytes() + b"\r\n")  # other bytes, same rows: no short cut by the file's hash
    bare: list[float] = []
    first, rows_again, file_again, beside, running = [], [], [], [], []
    own_load(place, source)  # compiles the modules, as installing them does
    for _ in range(TURNS):
        before = bare_import(place, source)
        whole, alone, peak = own_load(place, source)
        bare += [before, bare_import(place, source)]
        # A machine that others share runs slower for minutes at times: each load is held to the imports around it.
        around = (bare[-2] + bare[-1]) / 2
        first.append((whole, alone, peak))
        beside.append(whole / around)
        running.append(alone / around)
        file_again.append(own_load(place, source, fresh=False))
        rows_again.append(own_load(place, again, fresh=False))
    one, two, three, four = min(first), min(bare), min(rows_again), min(file_again)
    return [
        _line(
            f"load {ROWS:,} rows, checked and told apart: by a process that runs, as the pages do",
            statistics.median(running), 2.5,
            f"{_turns(running)}; least {min(alone for _, alone, _ in first):.2f} CPU s; sqlite3 .import + 4 indexes, "
            f"no checks, its whole process: {two:.2f}",
        ),
        _line(
            f"load {ROWS:,} rows by a process that starts for it, as the command does", statistics.median(beside), 2.5,
            f"{_turns(beside)}; least {one[0]:.2f} CPU s, about {one[0] - one[1]:.2f} of them process start",
        ),
        _line("the same rows, other bytes", three[0] / one[0], 0.7, f"{three[0]:.2f} CPU s"),
        _line("the same file again", four[0] / one[0], 0.7, f"{four[0]:.2f} CPU s; first load {one[0]:.2f}"),
    ]  # fmt: skip


def _turns(ratios: list[float]) -> str:
    return f"median of {len(ratios)} turns, {min(ratios):.2f} to {max(ratios):.2f}"


def measure_million(place: Path) -> list[dict[str, Any]]:
    """Load a million comps in two files, each below the largest that is accepted; look items up; add to them."""
    target = place / "flat.db"
    target.unlink(missing_ok=True)
    took = bare = memory = 0.0
    for part in range(2):
        source = place / "half.csv"
        write_comps(source, MANY // 2, seed=2 + part, first=part * MANY)
        whole, _, peak = own_load(place, source, "million.db", fresh=not part)
        took += whole
        memory = max(memory, peak / source.stat().st_size)
        script = flat_script(target, source) if not part else f".mode csv\n.import --skip 1 {source} comp\n"
        bare += cpu_of(["sqlite3", str(target)], place, input=script.encode(), stdout=subprocess.DEVNULL)
    lookups = measure_lookup(place / "million.db", target)
    more, alone = place / "more.csv", place / "comps.csv"
    # Half of its products are among those of the first file, half are new.
    write_comps(more, ROWS, seed=9, first=int(MANY / 2 / ROWS_A_PRODUCT - ROWS / 2 / ROWS_A_PRODUCT))
    write_comps(alone, ROWS)
    onto, onto_empty = [], []
    for turn in range(ROUNDS):
        shutil.copyfile(place / "million.db", place / f"onto{turn}.db")
        onto.append(own_load(place, more, f"onto{turn}.db", fresh=False)[0])
        (place / f"onto{turn}.db").unlink()
        onto_empty.append(own_load(place, alone)[0])
    return [
        *lookups,
        _line(f"{ROWS:,} rows onto {MANY:,}, a row of the load onto none", min(onto) / min(onto_empty), 1.5,
              f"{min(onto):.2f} CPU s, half of the rows of products that were there; onto none {min(onto_empty):.2f}"),
        _line(f"load {MANY:,} rows in two files", took / bare, 2.5,
              f"{took:.1f} CPU s, process start included; bare import {bare:.1f}"),
        _line("peak memory of that, times the file's size", memory, 2.5, f"files of {MANY // 2:,} rows"),
    ]  # fmt: skip


def measure_lookup(ours: Path, theirs: Path) -> list[dict[str, Any]]:
    """Compare exact lookups with a flat table's index on a kept connection; both sides return the same rows."""
    flat = sqlite3.connect(theirs)
    flat.execute("PRAGMA cache_size=-65536")
    store = open_store(str(ours))
    picks = random.Random(3).sample(store.read("SELECT gtin FROM code"), LOOKUPS)
    style_of = dict(
        store.read("SELECT k.gtin, c.style_code FROM code k JOIN comp c ON c.product_id = k.root GROUP BY k.gtin")
    )
    by_gtin, by_style = f"{_TEN} WHERE gtin = ? ORDER BY ended_on", f"{_TEN} WHERE style_code = ? ORDER BY ended_on"
    ways: dict[str, Callable[[int], list[Any]]] = {
        "flat, barcode": lambda gtin: flat.execute(by_gtin, (gtin,)).fetchall(),
        "ours, barcode": lambda gtin: store.read(_OWN_TEN, (gtin, gtin)),
        "flat, style": lambda gtin: flat.execute(by_style, (style_of[gtin],)).fetchall(),
        "ours, style": lambda gtin: rows_of_gtin(store, str(gtin)),
    }
    took: dict[str, list[int]] = {name: [] for name in ways}
    for turn in range(2):  # the first turn warms both caches
        for (gtin,) in picks:
            counts = []
            for name, way in ways.items():
                at = time.thread_time_ns()
                found = way(gtin)
                if turn:
                    took[name].append(time.thread_time_ns() - at)
                counts.append(len(found))
            assert counts[0] == counts[1] > 0
            assert counts[2] == counts[3] > 0
    store.close()
    flat.close()
    us = {name: statistics.median(times) / 1000 for name, times in took.items()}
    return [
        _line(f"lookup by barcode among {MANY:,} comps", us["ours, barcode"] / us["flat, barcode"], 1.0,
              f"{us['ours, barcode']:.0f} us; flat table + index {us['flat, barcode']:.0f} us; both: the rows with "
              "that barcode, ten columns, ordered by day"),
        _line(f"lookup of a whole style among {MANY:,} comps", us["ours, style"] / us["flat, style"], 1.0,
              f"{us['ours, style']:.0f} us from a barcode to every size of its style, 14 columns as a check reads "
              f"them; flat table + index on the style code, ten columns, ordered by day: {us['flat, style']:.0f} us"),
    ]  # fmt: skip


def _line(name: str, ratio: float, bar: float, detail: str) -> dict[str, Any]:
    return {"name": name, "ratio": round(ratio, 2), "bar": bar, "detail": detail}


def run(*, million: bool = True) -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    place = Path(tempfile.mkdtemp(prefix="bench-"))
    try:
        return measure_load(place) + (measure_million(place) if million else [])
    finally:
        shutil.rmtree(place)


if __name__ == "__main__":
    for line in run(million="--small" not in sys.argv):
        print(f"{line['name']}: {line['ratio']} (bar {line['bar']}); {line['detail']}")
