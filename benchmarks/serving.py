"""The verdict route beside an empty JSON route, a list beside singles, the start beside importing Flask.

The route is measured as a whole server: waitress in a child process, one client on a kept connection, the child's
own CPU a request. The empty route is added to the very same application.
"""

from __future__ import annotations

import http.client
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

if TYPE_CHECKING:
    from sourcing.storage import Store

LIST = 10_000
COMPS = 100_000  # about 11,000 styles
SERVER = """
import resource, sys
from flask import jsonify
from waitress import create_server
from web.app import create_app
app = create_app(sys.argv[1])
app.add_url_rule("/bench/empty", "bench_empty", lambda: jsonify({}))
def forget():
    from sourcing import check
    check.forget()
    return jsonify({})
app.add_url_rule("/bench/forget", "bench_forget", forget)
def ahead():
    from sourcing import check
    from web.ahead import begin
    made = app.extensions.get("bench_ahead")
    if made is None:  # nothing is forecast ahead before it is asked for
        made = app.extensions["bench_ahead"] = begin(app, look=0.05, quiet=0.05)
    store = app.extensions["sourcing"].store
    done = made.made_for == check.stands_on(store, check.load_settings(store))
    return jsonify([done, len(check.kept), made.spent])
app.add_url_rule("/bench/ahead", "bench_ahead", ahead)
def anew():
    from sourcing import check
    app.extensions["bench_ahead"].made_for = None
    check.forget()
    return jsonify({})
app.add_url_rule("/bench/anew", "bench_anew", anew)
app.add_url_rule("/bench/cpu", "bench_cpu", lambda: jsonify(sum(resource.getrusage(resource.RUSAGE_SELF)[:2])))
server = create_server(app, host="127.0.0.1", port=0, threads=4)
print(server.effective_port, flush=True)
server.run()
"""
START = "import web.app; web.app.create_app(sys.argv[1]); import waitress"


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    with tempfile.TemporaryDirectory(prefix="bench-") as folder:
        data = str(Path(folder) / "data.sqlite3")
        codes = _samples(data)
        return [*_route(data, codes), *_list(folder), _start(data)]


def _samples(data: str) -> list[str]:
    from sourcing.comps.lookup import known_codes
    from sourcing.samples import load_samples
    from sourcing.storage import open_store

    store = open_store(data)
    load_samples(store)
    codes = [code for code in known_codes(store) if not code.isdigit()]
    store.close()
    return codes


def _route(data: str, codes: list[str]) -> list[dict[str, Any]]:
    child = subprocess.Popen([sys.executable, "-c", SERVER, data], stdout=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        line = http.client.HTTPConnection("127.0.0.1", int(child.stdout.readline()))

        def get(path: str) -> Any:
            line.request("GET", path)
            answer = line.getresponse()
            body = answer.read()
            assert answer.status == 200, body[:200]
            return json.loads(body)

        def spent(paths: list[str]) -> float:
            before = get("/bench/cpu")
            for path in paths:
                get(path)
            return (get("/bench/cpu") - before) / len(paths)

        def cold(paths: list[str]) -> float:
            get("/bench/forget")
            return spent(paths)

        def asked(price: str) -> list[str]:
            return [f"/check.json?code={quote(code)}&price={price}" for code in codes[:250]]

        empty = ["/bench/empty"] * 250
        spent(asked("12.99")), spent(empty)  # views load and caches fill at their first request
        prices = ("11.49", "7.99", "24.50", "3.00", "16.20")  # each look at a price of its own: it is judged anew
        rounds = [(spent(empty), spent(asked(price)), cold(asked(price))) for price in prices]
        get("/bench/forget")
        items, work = _made_ahead(get)
        ahead_rounds = []
        for price in prices:
            get("/bench/anew")
            _made_ahead(get)
            ahead_rounds.append((spent(empty), spent(asked(price))))
    finally:
        child.kill()
    nothing, again, first = (min(side) for side in zip(*rounds, strict=True))
    nothing_then, ready = (min(side) for side in zip(*ahead_rounds, strict=True))
    each = f"; {items} items forecast ahead, {work / items * 1e3:.2f} ms of CPU an item in the background"
    return [
        {
            "name": f"verdict route, server CPU, {name}",
            "ratio": ours / least,
            "bar": bar,
            "detail": f"{ours * 1e3:.2f} ms against {least * 1e3:.2f} ms of an empty JSON route; 250 items{more}",
        }
        for name, ours, least, bar, more in (
            ("item asked before since the last fit, another price", again, nothing, 2.0, ""),
            ("item asked for the first time, its forecast included", first, nothing, 2.0, "; nothing made ahead"),
            ("item never asked, forecast ahead by the server after the fit", ready, nothing_then, 2.0, each),
        )
    ]


def _made_ahead(get: Callable[[str], Any]) -> tuple[int, float]:
    """Wait until the server has forecast ahead all it will; return how many items, at how many seconds of CPU."""
    while not (found := get("/bench/ahead"))[0]:
        time.sleep(0.3)  # it waits while requests come
    return found[1], found[2]


def _list(folder: str) -> list[dict[str, Any]]:
    """Judge 10,000 different items in one pass, and 400 of them one by one, each for the first time."""
    from benchmarks.load import write_comps
    from sourcing.answer import Query
    from sourcing.check import check, check_list, forget
    from sourcing.comps import load_file
    from sourcing.comps.lookup import find_root, rows_of
    from sourcing.fitting import refit
    from sourcing.storage import open_store

    store = open_store(str(Path(folder) / "many.sqlite3"))
    write_comps(Path(folder) / "many.csv", COMPS)
    load_file(store, Path(folder) / "many.csv")
    refit(store)
    codes = [row[0] for row in store.read("SELECT style_code FROM product ORDER BY id LIMIT ?", (LIST,))]
    queries = [Query(code=code, shelf_price=Decimal("12.99")) for code in codes]
    ours, loop, lookup = [], [], []
    for _ in range(3):
        start = time.process_time()
        for query in queries[:: LIST // 400]:
            rows_of(store, find_root(store, style_key=query.code) or 0)
        lookup.append((time.process_time() - start) / len(queries[:: LIST // 400]))
        forget()
        start = time.process_time()
        for query in queries[:: LIST // 400]:
            check(store, query)
        loop.append((time.process_time() - start) / len(queries[:: LIST // 400]))
        start = time.process_time()
        check_list(store, queries, detail=False)
        ours.append((time.process_time() - start) / len(queries))
    differ = _differing(store, codes[:: LIST // 1_000])
    store.close()
    same = {
        "name": "items forecast ahead whose answer at any of three prices is another than a check's alone",
        "ratio": float(differ),
        "bar": 0.0,
        "detail": f"{differ} of {len(codes[:: LIST // 1_000]):,} items, every figure and word compared",
    }
    single = {
        "name": "one forecast from nothing kept, over the bare lookup of its comps",
        "ratio": min(loop) / min(lookup),
        "bar": 4.0,
        "detail": f"{min(loop) * 1e3:.2f} ms with verdict, further copies and words; {min(lookup) * 1e3:.3f} ms",
    }
    many = {
        "name": f"list of {len(queries):,} items, CPU an item",
        "ratio": min(ours) / min(loop),
        "bar": 0.15,
        "detail": f"{min(ours) * 1e3:.2f} ms against {min(loop) * 1e3:.2f} ms of a single check of another item",
    }
    return [single, many, same]


def _differing(store: Store, codes: list[str]) -> int:
    """Count the items whose answer differs by whether they were forecast in passes of a few, or one by one."""
    from sourcing.answer import Query
    from sourcing.check import each_alone, judge
    from sourcing.forecast_ahead import AT_ONCE
    from sourcing.prospect import prospects
    from sourcing.settings import load_settings

    settings, found = load_settings(store), 0
    for at in range(0, len(codes), AT_ONCE):
        some = [Query(code) for code in codes[at : at + AT_ONCE]]
        for query, ahead in zip(some, each_alone(prospects(store, some, settings, True)), strict=True):
            alone = each_alone(prospects(store, [query], settings, True))[0]
            asked = [replace(query, shelf_price=price) for price in (None, Decimal("7.99"), Decimal("24.50"))]
            found += any(judge(ahead, one).as_dict() != judge(alone, one).as_dict() for one in asked)
    return found


def _start(data: str) -> dict[str, Any]:
    rounds = [(_cpu("import flask", data), _cpu(START, data)) for _ in range(7)]
    flask, ours = (statistics.median(side) for side in zip(*rounds, strict=True))
    return {
        "name": "start of the serving process, CPU",
        "ratio": ours / flask,
        "bar": 1.6,
        "detail": f"{ours * 1e3:.0f} ms against {flask * 1e3:.0f} ms of `import flask`; views load at a first request",
    }


def _cpu(code: str, data: str) -> float:
    before = os.times()
    subprocess.run([sys.executable, "-c", f"import sys; {code}", data], check=True)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system
