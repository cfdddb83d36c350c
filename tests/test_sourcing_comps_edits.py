"""Edits of the table: each does what it says and can be taken back without a trace; files loaded later heed them."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from told_codes import assert_codes_in_line

from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file, undo_batch
from sourcing.comps.columns import NAMES
from sourcing.comps.comp import CompRow, RowId, comp, comps
from sourcing.comps.edits import bring_back, edit_row, merge, rename, set_aside, split
from sourcing.comps.lookup import find_root
from sourcing.comps.take_back import edits, undo_edit
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.fitting import keep_up, refit
from sourcing.storage import Store, open_store

AS_OF = date(2026, 6, 30)
GTINS = ("9521234567899", "9521234567882")


@pytest.fixture
def store() -> Store:
    return open_store("sqlite://")


def load(store: Store, rows: list[dict[str, str]], name: str = "rows.csv") -> int | None:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, NAMES, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return load_file(store, io.BytesIO(out.getvalue().encode()), name=name, as_of=AS_OF).batch_id


def sale(**cells: str) -> dict[str, str]:
    return {"style_code": "KT-1042", "title": "Ridge runner", "sold_price": "9.50", "status": "sold"} | cells


def every(store: Store, where: str = "1") -> list[CompRow]:
    return comps(store, where, (), "ORDER BY c.key")


def codes(store: Store) -> dict[str, int]:
    """Return how many rows count for each product."""
    return dict(store.read("SELECT p.key, count(*) FROM comp c JOIN product p ON p.id = c.product_id GROUP BY p.key"))


def dump(store: Store) -> dict[str, Any]:
    """Return all the tables say, free of the numbers products happen to have."""
    assert_codes_in_line(store)
    keys = dict(store.read("SELECT id, key FROM product"))
    rows = store.read(
        "SELECT product_id, key, batch_id, status, gtin, ask, sold, ship, listed, ended, seen, size, condition,"
        ' channel, style_code, brand, category, title, note, listing, currency, "row", out, aside FROM comp'
    )
    products = store.read("SELECT key, root, style_code, brand, category, title FROM product")
    return {
        "product": sorted((key, keys[root], *rest) for key, root, *rest in products),
        "code": sorted((gtin, keys[root]) for gtin, root in store.read("SELECT gtin, root FROM code")),
        "code_use": sorted((gtin, keys[one], rows) for gtin, one, rows in store.read("SELECT * FROM code_use")),
        "comp": sorted((keys[row[0]], *row[1:]) for row in rows),
        "also_in": sorted(
            (keys[row[0]], *row[1:]) for row in store.read('SELECT product_id, key, batch_id, "row" FROM also_in')
        ),
        "alias": sorted(store.read("SELECT kind, theirs, ours FROM alias")),
        "moved": sorted(
            (came, key, keys.get(to)) for came, key, to in store.read("SELECT product_key, key, product_id FROM moved")
        ),
    }


class TestRow:
    def test_fields_are_changed_and_put_back(self, store: Store) -> None:
        load(store, [sale(), sale(sold_price="11")])
        before, (one, _) = dump(store), every(store)
        edit = edit_row(store, one.id, {"sold_price": "12.25", "size": "9", "ended_on": "2026-06-01"})
        now = comp(store, one.id)
        assert (now.sold_price, now.size, now.ended_on) == (Decimal("12.25"), "9", date(2026, 6, 1))
        assert edit.words == "Changed size, sold price and ended on of Ridge runner"
        assert undo_edit(store, edit.id).rows == 1
        assert dump(store) == before

    @pytest.mark.parametrize(
        ("said", "field"),
        [
            ({"sold_price": "12,5o"}, "sold_price"),
            ({"sold_price": ""}, "sold_price"),
            ({"status": "open"}, "sold_price"),
            ({"status": "gone"}, "status"),
            ({"gtin": "9521234567890"}, "gtin"),
            ({"ended_on": "2026-02-30"}, "ended_on"),
            ({"ended_on": "2999-01-01"}, "ended_on"),
            ({"currency": "euro"}, "currency"),
            ({"size": "x" * 201}, "size"),
        ],
    )
    def test_what_a_file_may_not_say_an_edit_may_not_either(
        self, store: Store, said: dict[str, str], field: str
    ) -> None:
        load(store, [sale()])
        before = dump(store)
        with pytest.raises(BadInput) as refused:
            edit_row(store, every(store)[0].id, said)
        assert refused.value.field == field
        assert dump(store) == before
        assert edits(store) == []

    def test_nothing_changed_is_no_edit(self, store: Store) -> None:
        load(store, [sale()])
        with pytest.raises(BadInput, match="Nothing would change"):
            edit_row(store, every(store)[0].id, {"sold_price": "9.5", "title": " Ridge runner "})
        assert edits(store) == []

    def test_another_style_code_is_another_item_and_the_file_still_finds_the_row(self, store: Store) -> None:
        rows = [sale(), sale(sold_price="11")]
        load(store, rows)
        one = every(store)[0]
        edit_row(store, one.id, {"style_code": "kt 2000"})
        assert codes(store) == {"s:KT1042": 1, "s:KT2000": 1}
        load(store, [*rows, sale(sold_price="30")])
        assert codes(store) == {"s:KT1042": 2, "s:KT2000": 1}
        assert comp(store, one.id).style_code == "kt 2000"  # found by its key where it is now

    def test_a_barcode_alone_is_corrected(self, store: Store) -> None:
        load(store, [sale(style_code="", gtin=GTINS[0]), sale(gtin=GTINS[1])])
        (one,) = every(store, "p.key LIKE 'g:%'")
        edit = edit_row(store, one.id, {"gtin": GTINS[1]})
        assert find_root(store, gtin=GTINS[0]) is None
        assert find_root(store, gtin=GTINS[1]) == find_root(store, style_key="KT1042")
        undo_edit(store, edit.id)
        assert codes(store) == {f"g:0{GTINS[0]}": 1, "s:KT1042": 1}

    def test_an_open_listing_that_sold(self, store: Store) -> None:
        load(store, [sale(status="open", sold_price="", asking_price="20")])
        before, (one,) = dump(store), every(store)
        edit = edit_row(store, one.id, {"status": "sold", "sold_price": "18", "ended_on": "2026-07-02"})
        assert comp(store, one.id).seen_on is None
        undo_edit(store, edit.id)
        assert dump(store) == before
        assert comp(store, one.id).seen_on == AS_OF


class TestAside:
    def test_a_row_set_aside_does_not_count_until_it_is_brought_back(self, store: Store) -> None:
        load(store, [sale(), sale(sold_price="11")])
        before, (one, two) = dump(store), every(store)
        edit = set_aside(store, [one.id], "lot of three")
        assert edit.words == "Set aside 1 row: lot of three"
        assert (comp(store, one.id).out, comp(store, two.id).out) == ("set aside by you", "")
        back = bring_back(store, [one.id])
        assert dump(store) == before
        undo_edit(store, back.id)
        assert comp(store, one.id).aside == "lot of three"
        undo_edit(store, edit.id)
        assert dump(store) == before

    def test_it_stays_aside_when_the_file_comes_again(self, store: Store) -> None:
        load(store, [sale()])
        set_aside(store, [every(store)[0].id], "damaged")
        load(store, [sale(), sale(sold_price="30")])
        assert [row.aside for row in every(store, "c.sold = 950")] == ["damaged"]

    @pytest.mark.parametrize("reason", ["", "  ", "x" * 201])
    def test_a_reason_is_asked_for(self, store: Store, reason: str) -> None:
        load(store, [sale()])
        with pytest.raises(BadInput) as refused:
            set_aside(store, [every(store)[0].id], reason)
        assert refused.value.field == "reason"

    def test_rows_that_are_not_there(self, store: Store) -> None:
        with pytest.raises(BadInput, match="No row was chosen"):
            bring_back(store, [])
        with pytest.raises(NotFound):
            set_aside(store, [RowId(1, 2)], "damaged")
        with pytest.raises(NotFound):
            comp(store, RowId(1, 2))


class TestMerge:
    def test_two_codes_become_one_in_later_files_too(self, store: Store) -> None:
        load(store, [sale(gtin=GTINS[0]), sale(style_code="KT1042B", gtin=GTINS[1])])
        before = dump(store)
        gone, stays = find_root(store, style_key="KT1042B"), find_root(store, style_key="KT1042")
        assert gone is not None
        assert stays is not None
        edit = merge(store, gone, stays)
        assert edit.words == "Merged KT1042B into KT1042: 1 row"
        assert codes(store) == {"s:KT1042": 2}
        assert find_root(store, gtin=GTINS[1]) == stays
        later = load(store, [sale(style_code="kt-1042b", sold_price="20")])
        assert codes(store) == {"s:KT1042": 3}
        undo_edit(store, edit.id)
        assert codes(store) == {"s:KT1042": 1, "s:KT1042B": 2}  # what came since goes where its file says
        assert later is not None
        undo_batch(store, later)
        assert dump(store) == before

    def test_a_merge_of_a_merge_reads_the_first_code_as_the_last(self, store: Store) -> None:
        load(store, [sale(style_code=code) for code in ("AA1", "BB2", "CC3")])
        number = dict(store.read("SELECT key, id FROM product"))
        first = merge(store, number["s:AA1"], number["s:BB2"])
        second = merge(store, number["s:BB2"], number["s:CC3"])
        load(store, [sale(style_code="AA1", sold_price="44")])
        assert codes(store) == {"s:CC3": 4}
        with pytest.raises(Refused, match=f"change {second.id}"):
            undo_edit(store, first.id)
        undo_edit(store, second.id)
        assert codes(store) == {"s:BB2": 3, "s:CC3": 1}
        undo_edit(store, first.id)
        assert codes(store) == {"s:AA1": 2, "s:BB2": 1, "s:CC3": 1}

    def test_a_row_moved_before_a_merge_is_still_found(self, store: Store) -> None:
        rows = [sale(style_code="AA1"), sale(style_code="AA1", sold_price="5"), sale(style_code="BB2")]
        first = load(store, rows)
        one = every(store, "p.key = 's:AA1' AND c.sold = 500")[0]
        split(store, [one.id], "CC3")
        number = dict(store.read("SELECT key, id FROM product"))
        merge(store, number["s:AA1"], number["s:BB2"])
        load(store, [*rows, sale(style_code="ZZ9")])
        assert codes(store) == {"s:BB2": 2, "s:CC3": 1, "s:ZZ9": 1}
        assert first is not None
        undo_batch(store, first)  # its rows are the later load's now
        assert codes(store) == {"s:BB2": 2, "s:CC3": 1, "s:ZZ9": 1}

    def test_a_title_joins_a_style(self, store: Store) -> None:
        load(store, [sale(style_code=""), sale()])
        before = dump(store)
        gone, stays = find_root(store, title="ridge RUNNER"), find_root(store, style_key="KT1042")
        assert gone is not None
        assert stays is not None
        edit = merge(store, gone, stays)
        assert codes(store) == {"s:KT1042": 2}
        load(store, [sale(style_code=""), sale(style_code="ZZ9")])
        assert codes(store) == {"s:KT1042": 2, "s:ZZ9": 1}
        undo_batch(store, 2)
        undo_edit(store, edit.id)
        assert dump(store) == before

    def test_an_item_cannot_join_itself(self, store: Store) -> None:
        load(store, [sale()])
        with pytest.raises(BadInput, match="one item already"):
            merge(store, 1, 1)
        with pytest.raises(NotFound):
            merge(store, 1, 2)


class TestSplit:
    def test_chosen_rows_get_a_code_of_their_own(self, store: Store) -> None:
        rows = [sale(), sale(sold_price="11"), sale(sold_price="90")]
        load(store, rows)
        before = dump(store)
        edit = split(store, [row.id for row in every(store, "c.sold = 9000")], "KT-1042 W")
        assert edit.words == "Moved 1 row to KT1042W"
        assert codes(store) == {"s:KT1042": 2, "s:KT1042W": 1}
        load(store, [*rows, sale(style_code="ZZ9")])
        assert codes(store) == {"s:KT1042": 2, "s:KT1042W": 1, "s:ZZ9": 1}
        undo_batch(store, 2)
        undo_edit(store, edit.id)
        assert dump(store) == before

    def test_a_code_that_was_merged_stands_for_the_one_it_was_merged_into(self, store: Store) -> None:
        load(store, [sale(style_code="AA1"), sale(style_code="BB2"), sale(style_code="CC3")])
        number = dict(store.read("SELECT key, id FROM product"))
        merged = merge(store, number["s:BB2"], number["s:AA1"])
        (first,) = every(store, "c.style_code = 'AA1'")
        (third,) = every(store, "c.style_code = 'CC3'")
        with pytest.raises(BadInput, match="Nothing would change"):
            split(store, [first.id], "BB-2")
        edit_row(store, third.id, {"style_code": "bb2"})
        assert comp(store, third.id).style_code == "AA1"
        undo_edit(store, merged.id)
        assert codes(store) == {"s:AA1": 2, "s:BB2": 1}

    def test_back_again_leaves_no_note(self, store: Store) -> None:
        load(store, [sale(), sale(sold_price="11")])
        before, one = dump(store), every(store)[0]
        split(store, [one.id], "NEW1")
        split(store, [comp(store, one.id).id], "KT-1042")
        assert dump(store) == before

    @pytest.mark.parametrize("code", ["", "!!", "x" * 201])
    def test_a_code_is_asked_for(self, store: Store, code: str) -> None:
        load(store, [sale()])
        with pytest.raises(BadInput) as refused:
            split(store, [every(store)[0].id], code)
        assert refused.value.field == "style_code"


class TestRename:
    @pytest.mark.parametrize("kind", ["brand", "category"])
    def test_in_all_rows_and_in_later_files(self, store: Store, kind: str) -> None:
        load(store, [sale(**{kind: "North"}), sale(**{kind: "NORTH "}, sold_price="5"), sale(**{kind: "South"})])
        before = dump(store)
        edit = rename(store, kind, ["north"], "Northern")
        assert edit.words == f"Renamed the {kind} NORTH and North to Northern in 2 rows"
        load(store, [sale(**{kind: "north"}, sold_price="70")])
        assert sorted(getattr(row, kind) for row in every(store)) == ["Northern", "Northern", "Northern", "South"]
        undo_batch(store, 2)
        undo_edit(store, edit.id)
        assert dump(store) == before

    def test_what_came_since_gets_the_name_of_its_file_back(self, store: Store) -> None:
        load(store, [sale(brand="North", category="shoes"), sale(brand="South", category="boots")])
        first = rename(store, "brand", ["North"], "South")
        second = rename(store, "category", ["boots"], "shoes")
        third = rename(store, "brand", ["South"], "East")
        new = [
            sale(brand="North", category="boots", sold_price="70"),
            sale(brand="South", category="shoes", sold_price="71"),
            sale(brand="East", category="boots", sold_price="72"),
        ]
        load(store, [*new, new[0]])  # the last of them twice, as a listing of its own
        assert {(row.brand, row.category) for row in every(store)} == {("East", "shoes")}
        undo_edit(store, third.id)
        assert sorted(row.brand for row in every(store, "c.sold >= 7000")) == ["East", "South", "South", "South"]
        undo_edit(store, first.id)
        assert sorted(row.brand for row in every(store, "c.sold >= 7000")) == ["East", "North", "North", "South"]
        undo_edit(store, second.id)
        assert sorted((row.brand, row.category) for row in every(store, "c.sold >= 7000")) == [
            ("East", "boots"), ("North", "boots"), ("North", "boots"), ("South", "shoes"),
        ]  # fmt: skip

    def test_a_name_renamed_twice(self, store: Store) -> None:
        load(store, [sale(brand="North")])
        rename(store, "brand", ["North"], "South")
        rename(store, "brand", ["South"], "East")
        load(store, [sale(brand="North", sold_price="70")])
        assert {row.brand for row in every(store)} == {"East"}

    def test_rows_without_a_brand_get_one_and_later_ones_stay(self, store: Store) -> None:
        load(store, [sale()])
        rename(store, "brand", [""], "North")
        load(store, [sale(sold_price="70")])
        assert [row.brand for row in every(store, "c.sold = 950")] == ["North"]
        assert [row.brand for row in every(store, "c.sold = 7000")] == [""]

    @pytest.mark.parametrize(
        ("kind", "theirs", "ours", "field"),
        [("size", ["a"], "b", "kind"), ("brand", [], "b", "name"), ("brand", ["a"], "b", "name"),
         ("brand", ["North"], " ", "to")],
    )  # fmt: skip
    def test_bad_input(self, store: Store, kind: str, theirs: list[str], ours: str, field: str) -> None:
        load(store, [sale(brand="North")])
        with pytest.raises(BadInput) as refused:
            rename(store, kind, theirs, ours)
        assert refused.value.field == field


class TestTakingBack:
    def test_what_a_later_edit_touched_waits_for_it(self, store: Store) -> None:
        load(store, [sale()])
        (one,) = every(store)
        first = edit_row(store, one.id, {"sold_price": "12"})
        second = edit_row(store, one.id, {"sold_price": "13"})
        with pytest.raises(Refused, match=f"Undo change {second.id} first"):
            undo_edit(store, first.id)
        undo_edit(store, second.id)
        undo_edit(store, first.id)
        assert comp(store, one.id).sold_price == Decimal("9.50")
        with pytest.raises(Refused, match="undone already"):
            undo_edit(store, first.id)
        with pytest.raises(NotFound):
            undo_edit(store, 99)

    def test_edits_of_other_columns_do_not_wait(self, store: Store) -> None:
        load(store, [sale(style_code="AA1", brand="North"), sale(style_code="BB2")])
        before = dump(store)
        (one,) = every(store, "p.key = 's:AA1'")
        number = dict(store.read("SELECT key, id FROM product"))
        made = [
            merge(store, number["s:AA1"], number["s:BB2"]),
            edit_row(store, comp(store, one.id).id, {"sold_price": "12"}),
            set_aside(store, [comp(store, one.id).id], "damaged"),
            rename(store, "brand", ["North"], "South"),
        ]
        for edit in made:
            undo_edit(store, edit.id)
        assert dump(store) == before

    def test_rows_whose_load_was_undone(self, store: Store) -> None:
        batch = load(store, [sale()])
        edit = set_aside(store, [every(store)[0].id], "damaged")
        assert batch is not None
        undo_batch(store, batch)
        assert every(store) == []
        done = undo_edit(store, edit.id)
        assert (done.rows, done.gone) == (0, 1)
        assert "rows are gone" in done.words

    def test_a_row_that_came_anew_says_what_its_file_says(self, store: Store) -> None:
        batch = load(store, [sale()])
        edit = edit_row(store, every(store)[0].id, {"sold_price": "12"})
        assert batch is not None
        undo_batch(store, batch)
        load(store, [sale()])
        assert undo_edit(store, edit.id).rows == 0
        assert every(store)[0].sold_price == Decimal("9.50")


FILE = [
    sale(style_code=code, gtin=gtin, brand=brand, category="shoes", sold_price=price, ended_on=ended)
    for code, gtin, brand, price, ended in [
        ("AA1", GTINS[0], "North", "10", "2026-01-05"), ("AA1", GTINS[0], "north", "11", ""),
        ("aa-1", "", "North", "12", "2026-02-05"), ("BB2", GTINS[1], "South", "13", ""),
        ("BB2", GTINS[0], "South", "14", ""), ("", GTINS[1], "", "15", ""), ("", GTINS[0], "South", "16", ""),
        ("", "", "", "17", ""), ("CC3", "", "East", "18", "2026-03-05"),
    ]
] + [sale(style_code="CC3", status="open", sold_price="", asking_price="25", listed_on="2026-03-01")]  # fmt: skip


def some_edit(store: Store, draw: random.Random) -> Callable[[], Any]:
    """Return an invented edit of the table as it is."""
    rows = every(store)
    one, few = draw.choice(rows), [row.id for row in draw.sample(rows, draw.randint(1, 3))]
    products = [number for (number,) in store.read("SELECT id FROM product ORDER BY key")]
    code, name = draw.choice(["AA1", "BB2", "DD4", "EE5"]), draw.choice(["North", "South", "East", "West"])
    kind = draw.choice(["brand", "category"])
    said = draw.choice([
        {"sold_price": draw.choice(["20", "21"])}, {"style_code": draw.choice([code, ""])}, {"brand": name},
        {"gtin": draw.choice([*GTINS, ""])}, {"title": draw.choice(["Other", "Ridge Runner"])},
        {"status": "open", "sold_price": "", "ended_on": ""}, {"status": "sold", "sold_price": "30"},
    ])  # fmt: skip
    return draw.choice([
        lambda: edit_row(store, one.id, said),
        lambda: set_aside(store, few, draw.choice(["lot", "damaged"])),
        lambda: bring_back(store, few),
        lambda: merge(store, draw.choice(products), draw.choice(products)),
        lambda: split(store, few, code),
        lambda: rename(store, kind, [getattr(one, kind)], name),
    ])  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(1, 10))
def test_any_edits_and_then_undoing_them_all_is_as_if_nothing_had_been(draw: random.Random, count: int) -> None:
    store = open_store("sqlite://")
    load(store, FILE)
    load(store, [*FILE[3:], sale(style_code="AA1", sold_price="40")], "more.csv")
    before, made = dump(store), 0
    for _ in range(count):
        with suppress(BadInput):
            some_edit(store, draw)()
            made += 1
    live = [edit.id for edit in edits(store)]
    assert len(live) == made
    while live:  # in any order: what cannot be undone yet names what is to be undone first
        chosen = draw.choice(live)
        try:
            undo_edit(store, chosen)
        except Refused:
            assert chosen != max(live)
            continue
        live.remove(chosen)
    assert dump(store) == before


@settings(max_examples=100, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(1, 9))
def test_loads_in_between_do_not_matter(draw: random.Random, count: int) -> None:
    store = open_store("sqlite://")
    load(store, FILE[:6])
    before = dump(store)
    undos: list[Callable[[], Any]] = []
    for turn in range(count):
        if draw.random() < 0.4:
            price = str(draw.randint(50, 60))
            more = sale(
                style_code=draw.choice(["AA1", "BB2", "DD4"]), sold_price=price, brand=draw.choice(["North", ""])
            )
            batch = load(store, [*draw.sample(FILE, draw.randint(1, len(FILE))), more], f"{turn}.csv")
            if batch is not None:
                undos.append(partial(undo_batch, store, batch))
            continue
        with suppress(BadInput):
            undos.append(partial(undo_edit, store, some_edit(store, draw)().id))
    while undos:
        undo = draw.choice(undos)
        with suppress(Refused):  # a later edit is to be undone first
            undo()
            undos.remove(undo)
    assert dump(store) == before


@settings(max_examples=100, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(1, 6))
def test_the_same_rows_in_other_bytes_add_nothing_after_any_edits(draw: random.Random, count: int) -> None:
    store = open_store("sqlite://")
    rows = [*FILE, FILE[0], FILE[0]]  # three alike are three listings
    load(store, rows)
    for _ in range(count):
        with suppress(BadInput):
            some_edit(store, draw)()
    before = [row.id.key for row in every(store)]
    load(store, draw.sample(rows, len(rows)), "again.csv")
    assert [row.id.key for row in every(store)] == before


class TestAfterwards:
    @pytest.fixture
    def fitted(self, store: Store) -> Store:
        days = [date(2026, 1, 1).toordinal() + place for place in range(120)]
        load(
            store,
            [
                sale(style_code=f"AA{place % 12}", brand="North", category="shoes", sold_price=f"{50 + place % 7}",
                     ended_on=date.fromordinal(day).isoformat())
                for place, day in enumerate(days)
            ],
        )  # fmt: skip
        refit(store)
        return store

    def test_an_answer_kept_in_memory_is_dropped(self, fitted: Store) -> None:
        query = Query(code="AA3", shelf_price=Decimal("10"))
        assert check(fitted, query).comps_sold == 10
        edit = set_aside(fitted, [row.id for row in every(fitted, "p.key = 's:AA3'")[:4]], "another item")
        assert check(fitted, query).comps_sold == 6
        undo_edit(fitted, edit.id)
        assert check(fitted, query).comps_sold == 10

    def test_the_fit_is_made_anew_after_many_edited_rows_only(self, fitted: Store) -> None:
        def fit() -> Any:
            keep_up(fitted)
            return fitted.read("SELECT id, made_at FROM fit")

        first = fit()
        few = edit_row(fitted, every(fitted)[0].id, {"sold_price": "51.11"})
        assert fit() == first
        undo_edit(fitted, few.id)
        assert fit() == first
        rename(fitted, "brand", ["North"], "South")
        second = fit()
        assert second != first
        assert fit() == second
