"""A listing counts once, however many rows and files tell of it, in whatever order they were loaded."""

from __future__ import annotations

import csv
import io
import random
from collections import Counter
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sourcing.comps import load_file, lookup, overview, undo_batch
from sourcing.comps.columns import NAMES
from sourcing.comps.report import LoadReport
from sourcing.storage import Store

GTIN = "9521234567899"
NewStore = Callable[[], Store]
Cells = dict[str, str]


@pytest.fixture
def store(new_store: NewStore) -> Store:
    return new_store()


def text_of(rows: list[Cells], columns: tuple[str, ...] = NAMES) -> str:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def load(store: Store, rows: list[Cells], day: str, columns: tuple[str, ...] = NAMES, **options: Any) -> LoadReport:
    data = io.BytesIO(text_of(rows, columns).encode())
    return load_file(store, data, name="rows.csv", as_of=date.fromisoformat(day), **options)


def listed(**cells: str) -> Cells:
    told = {"style_code": "AB-1", "title": "Runner", "size": "9", "condition": "used", "channel": "market A"}
    return told | {"asking_price": "20", "listed_on": "2026-01-05", "status": "open"} | cells


def sold(**cells: str) -> Cells:
    return listed(sold_price="18", ended_on="2026-02-10", status="sold") | cells


def counts(store: Store) -> tuple[int, int, int]:
    """Return how many listings count as sold, open and ended unsold."""
    seen = overview(store)
    return seen.sold, seen.open, seen.ended_unsold


def words(report: LoadReport) -> list[str]:
    return [problem.reason for problem in report.problems]


def test_an_open_listing_that_is_later_sold_counts_once_and_comes_back_with_an_undo(store: Store) -> None:
    load(store, [listed()], "2026-02-01")
    report = load(store, [sold()], "2026-03-01")
    assert (report.read, report.new, report.known) == (1, 1, 0)
    assert words(report) == ["The file ended 1 listing that was open."]
    assert counts(store) == (1, 0, 0)
    assert store.read("SELECT count(*) FROM comp") == [(2,)]  # what was seen stays
    root = lookup.find_root(store, style_key="AB1")
    assert root is not None
    assert [row[0] for row in lookup.rows_of(store, root)] == [1]
    undo_batch(store, 2)
    assert counts(store) == (0, 1, 0)
    assert load(store, [sold()], "2026-03-01").new == 1
    undo_batch(store, 1)
    assert counts(store) == (1, 0, 0)


def test_an_old_file_of_a_listing_known_to_have_ended_tells_nothing_new(store: Store) -> None:
    load(store, [sold()], "2026-03-01")
    report = load(store, [listed()], "2026-02-01")
    assert (report.new, report.known, report.problems) == (0, 1, ())
    assert counts(store) == (1, 0, 0)


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [
        # seen open after the sale: another listing
        ([sold(ended_on="2026-01-20")], [listed()], (1, 1, 0)),
        # three open alike, two sold: one is still open
        ([listed()] * 3, [sold(), sold(ended_on="2026-02-11")], (2, 1, 0)),
        ([listed()] * 2, [sold()] * 3, (3, 0, 0)),
        ([listed()], [listed(status="ended unsold", ended_on="2026-02-10")], (0, 0, 1)),
        # another size, day listed or asking price: another listing
        ([listed(size="10")], [sold()], (1, 1, 0)),
        ([listed(listed_on="2026-01-06")], [sold()], (1, 1, 0)),
        ([listed(asking_price="21")], [sold()], (1, 1, 0)),
        ([listed(channel="market B")], [sold()], (1, 1, 0)),
        # the size is told by one of them only
        ([listed(size="")], [sold()], (1, 0, 0)),
        # a sale without its day: known by the day of its file
        ([listed()], [sold(ended_on="")], (1, 0, 0)),
        # numbers tell, whatever else is said, and tell apart
        ([listed(listing="7")], [sold(listing="7", asking_price="15", listed_on="")], (1, 0, 0)),
        ([listed(listing="7")], [sold(listing="8")], (1, 1, 0)),
        ([listed(listing="7")], [sold()], (1, 0, 0)),
        ([listed(listing="7")], [listed(listing="7", asking_price="15")], (0, 1, 0)),
        ([listed(listing="7")], [sold(listing="7"), sold(listing="7", ended_on="2026-02-11")], (2, 0, 0)),
        ([listed(listing="7", status="ended unsold", ended_on="2026-02-01")], [sold(listing="7")], (1, 0, 0)),
        ([listed(listing="7", channel="market B")], [sold(listing="7")], (1, 1, 0)),
        # the same sale told with fewer columns, and with more
        ([sold()], [sold(size="", condition="", asking_price="")], (1, 0, 0)),
        ([sold(note="scuffed")], [sold()], (1, 0, 0)),
        ([sold(note="scuffed")], [sold(note="boxed")], (2, 0, 0)),
        ([sold(shipping_charged="0")], [sold(shipping_charged="5")], (2, 0, 0)),
        ([sold(title="")], [sold(size="")], (2, 0, 0)),  # neither says as much as the other
        # two real sales alike stay two, and each is matched once
        ([sold(), sold()], [sold(size=""), sold(size=""), sold(size="")], (3, 0, 0)),
        ([sold(), sold(size="10")], [sold(size=""), sold(size="")], (2, 0, 0)),
        ([sold(), sold(size="")], [sold(condition="new")], (3, 0, 0)),  # one file tells its own rows apart
        # a row with a barcode alone, which leads to the style
        ([sold(gtin=GTIN)], [sold(gtin=GTIN, style_code="")], (1, 0, 0)),
        ([sold(gtin=GTIN, style_code="")], [sold(gtin=GTIN)], (1, 0, 0)),
    ],
)  # fmt: skip
def test_what_counts(
    new_store: NewStore, first: list[Cells], second: list[Cells], wanted: tuple[int, int, int]
) -> None:
    one, two = new_store(), new_store()
    load(one, first, "2026-02-10")
    load(one, second, "2026-03-01")
    assert counts(one) == wanted
    load(two, second, "2026-03-01")
    load(two, first, "2026-02-10")
    assert counts(two) == wanted


def test_one_sale_told_three_ways_counts_once(store: Store) -> None:
    load(store, [sold(size="", condition="")], "2026-03-01")
    load(store, [sold()], "2026-03-02")
    report = load(store, [sold(size="")], "2026-03-03")
    assert (report.new, report.known) == (0, 1)
    assert counts(store) == (1, 0, 0)
    assert store.read("SELECT size, condition FROM comp WHERE out = 0") == [("9", "used")]
    undo_batch(store, 2)
    assert store.read("SELECT size, condition FROM comp WHERE out = 0") == [("", "used")]


def test_the_same_file_written_otherwise_tells_nothing_new(store: Store) -> None:
    rows = [sold(), sold(), sold(sold_price="7.5"), listed(), listed(size="10")]
    plain = tuple(name for name in NAMES if name not in ("note", "listing", "currency", "shipping_charged"))
    assert load(store, rows, "2026-03-01", plain).new == 5
    turned = load(store, rows[::-1], "2026-03-01", plain[::-1])
    coded = load_file(store, io.BytesIO(b"\xef\xbb\xbf" + text_of(rows, plain).encode()), as_of=date(2026, 3, 1))
    numbered = [row | {"listing": str(number), "currency": "USD"} for number, row in enumerate(rows)]
    wider = load(store, [row | {"note": "n", "shipping_charged": "0"} for row in numbered], "2026-03-01")
    assert [(report.new, report.known) for report in (turned, coded, wider)] == [(0, 5)] * 3
    assert counts(store) == (3, 2, 0)
    undo_batch(store, 1)
    assert counts(store) == (3, 2, 0)


def test_rows_in_another_currency_do_not_count(store: Store) -> None:
    report = load(store, [sold(currency="eur"), sold(currency="USD"), sold(size="10")], "2026-03-01")
    assert (report.new, report.rejected) == (3, 0)
    assert counts(store) == (2, 0, 0)
    assert store.read("SELECT currency, out FROM comp ORDER BY out DESC LIMIT 1") == [("EUR", 3)]
    refused = load(store, [sold(currency="euros")], "2026-03-01")
    assert [(problem.column, problem.value) for problem in refused.problems] == [("currency", "euros")]


def test_a_row_set_aside_does_not_count_and_still_speaks_for_its_listing(store: Store) -> None:
    load(store, [sold()], "2026-03-01")
    with store.write_rows() as raw:
        raw.execute("UPDATE comp SET aside = 'a lot of three'")
    assert load(store, [sold(size="")], "2026-03-02").new == 0
    assert counts(store) == (0, 0, 0)
    assert store.read("SELECT out FROM comp ORDER BY out") == [(1,), (2,)]


def test_rows_follow_what_was_renamed_and_moved(store: Store) -> None:
    load(store, [sold(), sold(size="10")], "2026-03-01")
    load(store, [sold(style_code="CD-2", brand="North", category="shoes")], "2026-03-01")
    ids = dict(store.read("SELECT key, id FROM product"))
    with store.write_rows() as raw:
        raw.execute("INSERT INTO edit (id, at, kind, words, before) VALUES (1, '', '', '', '')")
        kinds = [("style", "EF3", "CD2"), ("brand", "nord", "North"), ("category", "footwear", "shoes")]
        raw.executemany("INSERT INTO alias VALUES (?, ?, ?, 1)", kinds)
        key = raw.execute("SELECT key FROM comp WHERE size = '10'").fetchone()[0]
        raw.execute("UPDATE comp SET product_id = ? WHERE key = ?", (ids["s:CD2"], key))
        raw.execute("INSERT INTO moved VALUES ('s:AB1', ?, ?, 1)", (key, ids["s:CD2"]))
    again = load(store, [sold(size="10"), sold(), sold()], "2026-03-02")
    assert (again.new, again.known) == (1, 2)
    renamed = load(store, [sold(style_code="ef 3", brand="NORD", category="Footwear", size="11")], "2026-03-01")
    assert renamed.new == 1
    assert store.read("SELECT style_code, brand, category FROM comp WHERE size = '11'") == [("ef 3", "North", "shoes")]
    assert sorted(store.read("SELECT key FROM product")) == [("s:AB1",), ("s:CD2",)]


def test_a_place_that_rows_were_moved_to_is_not_given_to_others(store: Store) -> None:
    load(store, [sold()], "2026-03-01")
    load(store, [sold(style_code="CD-2")], "2026-03-01")
    with store.write_rows() as raw:
        raw.execute("INSERT INTO edit (id, at, kind, words, before) VALUES (1, '', '', '', '')")
        key = raw.execute("SELECT key FROM comp WHERE style_code = 'AB-1'").fetchone()[0]
        raw.execute("INSERT INTO moved SELECT 's:AB1', ?, id, 1 FROM product WHERE key = 's:CD2'", (key,))
    undo_batch(store, 2)
    undo_batch(store, 1)
    load(store, [sold(style_code="EF-3"), sold()], "2026-03-01")
    found = store.read("SELECT p.key, c.style_code FROM comp c JOIN product p ON p.id = c.product_id ORDER BY 1")
    assert found == [("s:AB1", "AB-1"), ("s:EF3", "EF-3")]


def test_the_row_numbers_are_those_of_the_file_that_holds_the_row(store: Store) -> None:
    load(store, [sold(), sold(size="10")], "2026-03-01")
    load(store, [sold(size="11"), sold(size="10")], "2026-03-01")
    number = 'SELECT size, "row" FROM comp ORDER BY size'
    assert store.read(number) == [("10", 3), ("11", 2), ("9", 2)]
    undo_batch(store, 1)
    assert store.read(number) == [("10", 3), ("11", 2)]


FIRST = date(2026, 1, 1)
HISTORY = st.lists(
    st.tuples(
        st.sampled_from(("AB-1", "CD-2")),
        st.sampled_from(("9", "10")),
        st.integers(0, 20),  # day listed
        st.integers(1, 30),  # days until it ended
        st.sampled_from(("sold", "sold", "ended unsold")),
    ),
    min_size=1,
    max_size=8,
)
EXPORTS = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60), st.sampled_from("abc")), min_size=1, max_size=4)


def export(history: list[tuple[str, str, int, int, str]], made: int, back: int, kind: str) -> list[Cells]:
    """Return what a file made on a day says of the listings that were open or had ended at most so many days before."""
    rows = []
    for number, (style, size, on, days, how) in enumerate(history):
        if on > made or on + days < made - back:
            continue
        row = listed(style_code=style, size=size, listed_on=(FIRST + timedelta(on)).isoformat())
        row |= {"asking_price": str(20 + number), "listing": f"L{number}" if kind == "c" else ""}
        if kind == "b":  # fewer columns
            row |= {"condition": "", "channel": ""}
        if on + days <= made:
            price = str(10 + number) if how == "sold" else ""
            row |= {"status": how, "sold_price": price, "ended_on": (FIRST + timedelta(on + days)).isoformat()}
        rows.append(row)
    return rows


@settings(max_examples=60, deadline=None)
@given(HISTORY, EXPORTS, st.randoms(use_true_random=False))
def test_any_order_and_overlap_of_exports_counts_what_was_seen_once(
    new_store: NewStore,
    history: list[tuple[str, str, int, int, str]],
    exports: list[tuple[int, int, str]],
    draw: random.Random,
) -> None:
    files = [(export(history, *one), (FIRST + timedelta(one[0])).isoformat()) for one in exports]
    files = [one for one in files if one[0]]
    # Of each listing, what the file that knows most of it says.
    said: dict[int, str] = {}
    for made, back, _ in exports:
        for number, (_, _, on, days, how) in enumerate(history):
            if on <= made <= on + days + back:
                is_over = on + days <= made
                said[number] = how if is_over or said.get(number) == how else "open"
    wanted = Counter(said.values())
    tables = []
    for order in (files, draw.sample(files, len(files))):
        store = new_store()
        reports = [load(store, rows, day) for rows, day in order]
        assert counts(store) == (wanted["sold"], wanted["open"], wanted["ended unsold"])
        assert all(report.read == report.new + report.known for report in reports)
        tables.append(store.read("SELECT key, status, ask, seen FROM comp WHERE out = 0 ORDER BY key"))
        store.close()
    assert tables[0] == tables[1]
