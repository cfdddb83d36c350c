"""What to do today with 100,000 listed pieces, beside its bare queries and beside one item at a time. Times are CPU.

Pieces are invented by a fixed seed on top of the sample comps: styles of the samples, listed 0 to 200 days ago at 15 to
90, a third of them cut once.
"""

from __future__ import annotations

import json
import random
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from sourcing.answer import Query
from sourcing.listed import sells_from_here
from sourcing.samples import load_samples
from sourcing.settings import load_settings
from sourcing.stock.item import day_number
from sourcing.stock.shelf import some
from sourcing.storage import Store, open_store
from sourcing.today.ahead import from_today
from sourcing.today.board import PER_PAGE, board
from sourcing.today.day import day

PIECES, VECTOR, ROUNDS = 100_000, 2_000, 5
TODAY = date.today()
_BARE = """SELECT l.id, i.id, i.category, i.landed, json_extract(l.asked, '$[0][0]'), json_extract(l.asked, '$[0][1]'),
    json_extract(l.asked, '$[#-1][1]') FROM stock_item i CROSS JOIN stock_listing l ON l.item_id = i.id
    AND l.ended_on IS NULL WHERE i.state = 'listed'"""


def fill(store: Store) -> None:
    """List the invented pieces, straight into the tables."""
    draw = random.Random(7)
    load_samples(store)
    styles = store.read("SELECT style_code, brand, category, title FROM product WHERE style_code <> '' ORDER BY id")
    items, listings = [], []
    for number in range(1, PIECES + 1):
        code, brand, category, title = draw.choice(styles)
        start, price = day_number(TODAY) - draw.randint(0, 200), draw.randint(1500, 9000)
        asked = [[start, price]]
        if draw.random() < 1 / 3 and start + 30 <= day_number(TODAY):
            asked.append([start + 30, price * 9 // 10])
        items.append((number, title, code, code, brand, category, title, start - draw.randint(1, 20), 699))
        listings.append((number, "main", json.dumps(asked)))
    with store.write_rows() as raw:
        raw.executemany(
            "INSERT INTO stock_item (id, what, code, gtin, style_code, brand, category, title, size, condition, flags, "
            "store, bought_on, shelf, landed, forecast, state, bin, note) "
            "VALUES (?, ?, ?, '', ?, ?, ?, ?, '', '', '[]', '', ?, NULL, ?, '{}', 'listed', '', '')",
            items,
        )
        raw.executemany("INSERT INTO stock_listing (item_id, channel, asked) VALUES (?, ?, ?)", listings)


def cpu(call: Callable[[], object]) -> float:
    """Return the CPU seconds of one call."""
    start = time.process_time()
    call()
    return time.process_time() - start


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(str(Path(folder) / "today.db"))
        fill(store)
        settings = load_settings(store)
        chosen = board(store, settings, TODAY)
        page = chosen.item[chosen.chosen()[:PER_PAGE]].tolist()
        many = some(store, chosen.item[:VECTOR].tolist())

        def bare() -> None:
            store.read(_BARE)
            some(store, page)

        day(store, settings, TODAY)  # what is loaded once is loaded
        parts = [(cpu(lambda: day(store, settings, TODAY)), cpu(bare)) for _ in range(ROUNDS)]
        whole, queries = (statistics.median(part) for part in zip(*parts, strict=True))
        at_once = statistics.median(cpu(lambda: from_today(store, many, settings, TODAY)) for _ in range(3))
        asked = [
            (Query(code=one.style_code), [(0, one.listing.asking_price)], (TODAY - one.listing.listed_on).days)
            for one in many[:200]
            if one.listing
        ]
        one_by_one = cpu(lambda: [sells_from_here(store, *one) for one in asked]) / len(asked) * VECTOR
        store.close()
    return [
        {
            "name": f"a page of what to do today, {PIECES:,} pieces listed",
            "ratio": whole / queries,
            "bar": 2.0,
            "detail": f"{whole * 1000:.0f} CPU ms, every piece held to its plan and put in order, {PER_PAGE} forecast, "
            f"against {queries * 1000:.0f} of its bare queries",
        },
        {
            "name": f"chances and prices to move to of {VECTOR:,} pieces at once",
            "ratio": at_once / one_by_one,
            "bar": 1.0,
            "detail": f"{at_once * 1e3:.0f} CPU ms ({at_once / VECTOR * 1e6:.0f} us a piece, the price to move to and "
            f"its gain included) against {one_by_one * 1e3:.0f} for their chances alone one by one",
        },
    ]


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']}: {line['ratio']:.3g} (bar {line['bar']}); {line['detail']}")
