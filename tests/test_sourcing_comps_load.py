"""Loading and undoing: all or nothing, nothing twice, counts that add up, an undo that leaves no trace."""

from __future__ import annotations

import csv
import io
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from told_codes import assert_codes_in_line

from sourcing.comps import batches, lines, load_file, lookup, overview, problems, undo_batch, write
from sourcing.comps.columns import NAMES
from sourcing.comps.comp import comps
from sourcing.comps.mend import mend, rejects
from sourcing.comps.report import LoadReport
from sourcing.comps.table import layout_of
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.settings import default_settings, save_settings
from sourcing.storage import Store, open_store

GTINS = ("9521234567899", "9521234567882", "9521234567875")
STYLES = ("", "AB-12", "ab 12", "CD-34", "EF-56")
AS_OF = date(2026, 6, 30)
NewStore = Callable[[], Store]


@pytest.fixture
def store() -> Store:
    return open_store("sqlite://")


def text_of(rows: list[dict[str, str]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, NAMES, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def load(store: Store, rows: list[dict[str, str]], **options: Any) -> LoadReport:
    return load_file(store, io.BytesIO(text_of(rows)), name="rows.csv", **({"as_of": AS_OF} | options))


def sale(**cells: str) -> dict[str, str]:
    return {"title": "Runner", "sold_price": "9.50", "status": "sold"} | cells


def dump(store: Store) -> dict[str, Any]:
    """Return what the tables say, free of the numbers they happen to have."""
    assert_codes_in_line(store)
    keys = dict(store.read("SELECT id, key FROM product"))
    return {
        "product": sorted(
            (key, keys[root], *rest)
            for key, root, *rest in store.read(
                "SELECT key, root, style_code, brand, category, title FROM product"
            )
        ),
        "code": sorted((gtin, keys[root]) for gtin, root in store.read("SELECT gtin, root FROM code")),
        "code_use": sorted((g, keys[p], n) for g, p, n in store.read("SELECT * FROM code_use")),
        "comp": sorted(
            (keys[row[0]], *row[1:])
            for row in store.read(
                "SELECT product_id, key, status, gtin, ask, sold, ship, listed, ended, seen, size, condition,"
                " channel, style_code, brand, category, title, note, listing, currency, out, aside FROM comp"
            )
        ),
    }  # fmt: skip


ROWS = st.lists(
    st.builds(
        lambda gtin, style, brand, price, status, listed, listing, note: {
            "gtin": gtin,
            "style_code": style,
            "title": f"{brand} shoe",
            "brand": brand,
            "category": "shoes" if brand else "",
            "asking_price": "20",
            "sold_price": price if status == "sold" else "",
            "listed_on": listed,
            "status": status,
            "listing": listing,
            "note": note,
        },
        st.sampled_from(("", *GTINS)),
        st.sampled_from(STYLES),
        st.sampled_from(("", "North", "South")),
        st.sampled_from(("10", "11.00", "12.5")),
        st.sampled_from(("sold", "open", "ended unsold")),
        st.sampled_from(("", "2026-01-05")),
        st.sampled_from(("", "", "L1", "L2")),
        st.sampled_from(("", "", "kept apart")),
    ),
    min_size=1,
    max_size=12,
)
DAYS = st.dates(date(2026, 2, 1), date(2026, 2, 5))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(ROWS, DAYS), min_size=1, max_size=3),
    st.randoms(use_true_random=False),
    st.sampled_from((1, 3, write.AT_ONCE)),
)
def test_order_of_loads_does_not_matter_and_undoing_all_leaves_nothing(
    new_store: NewStore, files: list[tuple[list[dict[str, str]], date]], draw: random.Random, at_once: int
) -> None:
    one, two = new_store(), new_store()
    empty = dump(one)
    with mock.patch.object(write, "AT_ONCE", at_once), mock.patch.object(lines, "PIECE", 100 * at_once):
        for rows, day in files:
            load(one, rows, as_of=day)
    shuffled = draw.sample(files, len(files))
    for rows, day in shuffled:
        load(two, rows, as_of=day)
    assert dump(one) == dump(two)
    live = [batch.id for batch in batches(one)]
    for batch_id in draw.sample(live, len(live)):
        undo_batch(one, batch_id)
    assert dump(one) == empty


@settings(max_examples=60, deadline=None)
@given(ROWS, ROWS, ROWS, DAYS, DAYS)
def test_undo_is_as_if_the_file_had_never_been_loaded(
    new_store: NewStore,
    first: list[dict[str, str]],
    gone: list[dict[str, str]],
    last: list[dict[str, str]],
    day: date,
    other: date,
) -> None:
    # The very same file sent twice is one load, so undoing that one takes its rows away.
    assume(text_of(gone) not in (text_of(first), text_of(last)))
    without, undone = new_store(), new_store()
    load(without, first, as_of=day)
    load(without, last, as_of=day)
    load(undone, first, as_of=day)
    report = load(undone, gone, as_of=other)
    load(undone, last, as_of=day)
    assert report.batch_id is not None
    undo_batch(undone, report.batch_id)
    assert dump(undone) == dump(without)


@settings(max_examples=60, deadline=None)
@given(ROWS, ROWS)
def test_counts_add_up_and_content_merges_by_the_larger_count(
    new_store: NewStore, first: list[dict[str, str]], second: list[dict[str, str]]
) -> None:
    store = new_store()
    # Every row says as much as any other, so that only rows alike can be the same sale; some name nothing.
    filled = {"gtin": GTINS[0], "status": "sold", "listed_on": "2026-01-05", "listing": "", "note": ""}
    wanted: Counter[tuple[str, ...]] = Counter()
    for rows in (first, second):
        whole = [
            row | filled | {"sold_price": row["sold_price"] or "10", "style_code": row["style_code"] or "AB-12"}
            if row["brand"]
            else row | {"title": "", "gtin": "", "style_code": ""}
            for row in rows
        ]
        report = load(store, whole, keep_good=True)
        assert report.read == report.new + report.known + report.rejected == len(rows)
        kept = Counter(_content(row) for row in whole if row["gtin"])
        assert report.new == sum((wanted | kept).values()) - sum(wanted.values())
        wanted |= kept
    assert overview(store).comps == sum(wanted.values())


def _content(row: dict[str, str]) -> tuple[str, ...]:
    style = row["style_code"].replace("-", "").replace(" ", "").upper()
    return tuple({**row, "sold_price": f"{float(row['sold_price']):.2f}", "style_code": style}.values())


@settings(max_examples=40, deadline=None)
@given(ROWS)
def test_roots_are_what_counting_says(new_store: NewStore, rows: list[dict[str, str]]) -> None:
    store = new_store()
    load(store, rows)
    for gtin in {row["gtin"] for row in rows if row["gtin"]}:
        mine = [row["style_code"].replace(" ", "").replace("-", "").upper() for row in rows if row["gtin"] == gtin]
        styles = Counter(style for style in mine if style)
        root = lookup.find_root(store, "0" + gtin)
        assert root is not None
        key = lookup.product_of(store, root).key  # type: ignore[union-attr]
        best = min(styles, key=lambda style: (-styles[style], style)) if styles else None
        assert key == (f"s:{best}" if best else f"g:0{gtin}")


def test_same_file_twice_adds_nothing_and_stores_no_batch(store: Store) -> None:
    rows = [sale(), sale(), sale(sold_price="8")]
    first = load(store, rows)
    assert (first.new, first.known, first.batch_id) == (3, 0, 1)
    again = load(store, rows)
    assert (again.read, again.new, again.known, again.batch_id) == (3, 0, 3, None)
    assert again.problems == first.problems
    assert undo_batch(store, 1) == 3
    assert load(store, rows).new == 3


def test_overlapping_export_adds_only_what_is_new_and_hands_rows_over(store: Store) -> None:
    load(store, [sale(), sale(), sale(sold_price="8")])
    second = load(store, [sale(), sale(), sale(), sale(sold_price="7")])
    assert (second.new, second.known) == (2, 2)
    assert undo_batch(store, 1) == 1  # only the sale at 8 was the first file's alone
    assert sorted(row[0] for row in store.read("SELECT sold FROM comp")) == [700, 950, 950, 950]
    assert undo_batch(store, 2) == 4


def test_one_bad_row_stores_nothing_unless_good_rows_are_to_be_kept(store: Store) -> None:
    rows = [sale(), sale(sold_price="12,5o"), sale(status="open", sold_price="")]
    refused = load(store, rows)
    assert (refused.batch_id, refused.read, refused.rejected) == (None, 3, 1)
    problem = refused.problems[0]
    assert (problem.row, problem.column, problem.value, problem.rejected) == (3, "sold_price", "12,5o", True)
    assert problem.reason
    assert problem.fix
    assert dump(store) == dump(open_store("sqlite://"))
    assert batches(store) == []
    kept = load(store, rows, keep_good=True)
    assert (kept.batch_id, kept.new, kept.rejected) == (1, 2, 1)
    assert problems(store, 1) == kept.problems


@pytest.mark.parametrize(
    ("cells", "column", "words"),
    [
        ({"title": ""}, "title", "all empty"),
        ({"title": "", "gtin": "9521234567890"}, "gtin", "9521234567890"),
        ({"sold_price": ""}, "sold_price", "needs its price"),
        ({"sold_price": "", "status": ""}, "status", "empty"),
        ({"status": "open"}, "sold_price", "yet has a sold price"),
        ({"status": "ended unsold"}, "sold_price", "yet has a sold price"),
        ({"status": "gone"}, "status", "no known status"),
        ({"listed_on": "2026-03-02", "ended_on": "2026-03-01"}, "ended_on", "before it was listed"),
    ],
)
def test_rows_rejected(store: Store, cells: dict[str, str], column: str, words: str) -> None:
    report = load(store, [sale(**cells)])
    assert report.rejected == 1
    assert [(p.column, p.rejected) for p in report.problems] == [(column, True)]
    assert words in report.problems[0].reason


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ({"gtin": "9521234567890"}, "gtin"),
        ({"ended_on": "2026-07-01"}, "ended_on"),
        ({"status": "open", "sold_price": "", "ended_on": "2026-03-01"}, "ended_on"),
        ({"note": "a\x00b"}, "note"),
    ],
)
def test_rows_kept_with_a_note(store: Store, cells: dict[str, str], column: str) -> None:
    report = load(store, [sale(**cells)])
    assert (report.new, report.rejected) == (1, 0)
    assert [(p.column, p.rejected) for p in report.problems] == [(column, False)]
    assert store.read("SELECT gtin, ended FROM comp") == [(None, None)]


def test_an_empty_status_with_a_price_is_a_sale(store: Store) -> None:
    load(store, [sale(status="")])
    assert overview(store).sold == 1


def test_problems_are_kept_to_a_thousand_and_all_counted(store: Store) -> None:
    report = load(store, [sale(sold_price="x")] * 1500)
    assert (len(report.problems), report.problems_total, report.rejected) == (1000, 1500, 1500)


def test_an_open_listing_is_seen_on_the_latest_day_of_its_live_files(store: Store) -> None:
    row = {"title": "Runner", "status": "open", "listed_on": "2026-01-01"}
    load(store, [row], as_of=date(2026, 2, 1))
    load(store, [row], as_of=date(2026, 3, 1))
    seen = "SELECT seen - listed FROM comp"
    assert store.read(seen) == [(59,)]
    undo_batch(store, 2)
    assert store.read(seen) == [(31,)]
    undated = load(store, [row | {"title": "Other"}, sale(ended_on="2026-04-05")], as_of=None)
    assert undated.as_of == date(2026, 4, 5)


def test_undo_twice_and_of_nothing(store: Store) -> None:
    load(store, [sale()])
    undo_batch(store, 1)
    with pytest.raises(Refused, match="undone already"):
        undo_batch(store, 1)
    with pytest.raises(NotFound, match="no load number 7"):
        undo_batch(store, 7)
    with pytest.raises(NotFound):
        problems(store, 7)
    assert batches(store)[0].undone_at is not None


def test_every_way_to_ask_for_a_load_that_is_not_there_says_the_same(store: Store) -> None:
    for ask in (undo_batch, problems, layout_of, rejects, lambda store, number: mend(store, number, {2: {0: "Mug"}})):
        with pytest.raises(NotFound, match="no load number 7"):
            ask(store, 7)


def test_an_error_in_the_middle_of_the_file_leaves_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sourcing.comps.read.BLOCK", 2)
    monkeypatch.setattr("sourcing.comps.read.MOST_ROWS", 5)
    content = text_of([sale()] * 6)
    told: list[int] = []
    with pytest.raises(BadInput, match="more than 5 rows"):
        load_file(store, io.BytesIO(content), name="x.csv", on_progress=told.append)
    assert told == [2]
    assert dump(store) == dump(open_store("sqlite://"))


def test_overview_counts(store: Store) -> None:
    load(store, [
        sale(category="shoes", ended_on="2026-03-01"),
        {"gtin": GTINS[0], "style_code": "A1", "category": "shoes", "status": "open"}
        | {"listed_on": "2026-04-01"},
        {"gtin": GTINS[0], "status": "ended unsold"},
    ])  # fmt: skip
    seen = overview(store)
    assert (seen.comps, seen.sold, seen.open, seen.ended_unsold) == (3, 1, 1, 1)
    assert (seen.products, seen.codes, seen.undated) == (2, 1, 1)
    assert (seen.oldest, seen.newest) == (date(2026, 3, 1), date(2026, 4, 1))
    assert [(row.category, row.sold, row.open, row.ended_unsold) for row in seen.by_category] == [
        ("shoes", 1, 1, 0),
        ("", 0, 0, 1),
    ]


def test_lookup_reads_every_row_of_the_style_whichever_code_is_scanned(store: Store) -> None:
    load(store, [
        sale(gtin=GTINS[0], style_code="AB-1", sold_price="10", ended_on="2026-03-01", size="9", note="n"),
        sale(gtin=GTINS[1], style_code="ab1", sold_price="11"),
        sale(gtin=GTINS[1], title="other words", sold_price="12"),
        sale(title="Kin", sold_price="13"),
    ])  # fmt: skip
    root = lookup.find_root(store, "0" + GTINS[1])
    assert root is not None
    assert root == lookup.find_root(store, style_key="AB1") == lookup.find_root(store, "0" + GTINS[0], "zz", "zz")
    rows = [dict(zip(lookup.COLUMNS_READ, row, strict=True)) for row in lookup.rows_of(store, root)]
    assert sorted(row["sold"] for row in rows) == [1000, 1100, 1200]
    assert lookup.rows_of_gtin(store, "0" + GTINS[0]) == lookup.rows_of_gtin(store, "0" + GTINS[1])
    assert sorted(lookup.rows_of_gtin(store, "0" + GTINS[0])) == sorted(lookup.rows_of(store, root))
    assert lookup.rows_of_gtin(store, "0" + GTINS[2]) == []
    first = next(row for row in rows if row["sold"] == 1000)
    assert (first["status"], first["gtin"], first["size"], first["note"]) == (1, int(GTINS[0]), "9", "n")
    kin = lookup.find_root(store, title="  KIN ")
    assert kin is not None
    many = lookup.rows_of_many(store, [root, kin])
    assert sorted(many) == sorted(
        [(root, *row) for row in lookup.rows_of(store, root)] + [(kin, *row) for row in lookup.rows_of(store, kin)]
    )
    asked = [("0" + GTINS[1], "", ""), ("", "AB1", ""), ("", "", "kin"), ("", "nothing", "nothing")]
    assert (
        lookup.find_roots(store, asked) == [lookup.find_root(store, *item) for item in asked] == [root, root, kin, None]
    )
    product = lookup.product_of(store, root)
    assert product is not None
    assert product.gtins == tuple(sorted("0" + gtin for gtin in GTINS[:2]))
    assert lookup.product_of(store, 999) is None
    assert lookup.known_codes(store) == ["AB1", *product.gtins]


def test_many_roots_take_several_statements(store: Store) -> None:
    load(store, [sale(style_code=f"S{n}") for n in range(1203)])
    roots = [row[0] for row in store.read("SELECT id FROM product")]
    assert {row[0] for row in lookup.rows_of_many(store, roots)} == set(roots)
    assert len(lookup.products_of_many(store, roots)) == 1203


def test_amounts_read_back_as_loaded_in_a_currency_without_decimals(store: Store) -> None:
    save_settings(store, replace(default_settings(), currency="JPY"), "test")
    report = load(store, [sale(sold_price="1299")], dry=True)
    assert [Decimal(row["sold"]) for row in report.shown] == [1299]
    load(store, [sale(sold_price="1299")])
    assert [row.sold_price for row in comps(store, "1", ())] == [1299]


def test_a_store_of_before_keeps_the_uses_of_shared_codes_alone(tmp_path: Path) -> None:
    path = str(tmp_path / "data.db")
    store = open_store(path)
    alone, shared = GTINS[:2]
    load(store, [sale(style_code="AB-12", gtin=alone), sale(style_code="AB-12", gtin=shared), sale(gtin=shared)])
    assert store.read("SELECT count(*) FROM code_use") == [(2,)]
    with store.write() as connection:  # as it was before
        use = "INSERT INTO code_use SELECT gtin, root, 1 FROM code WHERE gtin = ?"
        connection.exec_driver_sql(use, (int(alone),))
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0012'")
    store.close()
    store = open_store(path)
    assert_codes_in_line(store)
    load(store, [sale(gtin=alone, sold_price="12")])
    assert_codes_in_line(store)
    assert store.read("SELECT count(*) FROM code_use") == [(4,)]
