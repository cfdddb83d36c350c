"""Search: codes, misspelt words, filters, orders, pages; and what the index does is what its definition says."""

from __future__ import annotations

import csv
import io
import math
import random
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.search import query_for, titles
from sourcing.comps import load_file
from sourcing.comps import search as searching
from sourcing.comps.columns import NAMES
from sourcing.comps.comp import row_id, sources
from sourcing.comps.edits import rename, set_aside
from sourcing.comps.names import names
from sourcing.comps.search import NONE, SORTS, Filter, find_items, search
from sourcing.comps.title_index import TitleIndex, plain_words
from sourcing.errors import BadInput
from sourcing.storage import Store, open_store

TODAY = datetime.now(UTC).date()


def load(store: Store, rows: list[dict[str, str]], as_of: date | None = None) -> None:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, NAMES, restval="")
    writer.writeheader()
    writer.writerows(rows)
    load_file(store, io.BytesIO(out.getvalue().encode()), name="rows.csv", as_of=as_of or TODAY)


def ago(days: int) -> str:
    return (TODAY - timedelta(days=days)).isoformat()


ROWS = [
    {"style_code": "KT-1042", "gtin": "9521234567899", "brand": "Kestrel & Tarn", "category": "shoes",
     "title": "Trail runner grey", "condition": "new", "sold_price": "60", "ended_on": ago(5)},
    {"style_code": "KT-1042", "brand": "Kestrel & Tarn", "category": "shoes", "title": "Trail runner grey",
     "condition": "Used", "sold_price": "30", "ended_on": ago(50)},
    {"style_code": "KT-1099", "brand": "Kestrel & Tarn", "category": "shoes", "title": "Road racer blue",
     "status": "open", "asking_price": "90", "listed_on": ago(200)},
    {"brand": "Fellwander", "category": "Kitchen", "title": "Walnut pepper mill, small", "condition": "used ",
     "status": "ended unsold", "asking_price": "18", "ended_on": ago(400)},
    {"title": "Crème brûlée set", "sold_price": "12"},
]  # fmt: skip


@pytest.fixture
def store() -> Store:
    store = open_store("sqlite://")
    load(store, ROWS)
    return store


def found(store: Store, **wanted: object) -> list[str]:
    return [row.title for row in search(store, Filter(**wanted)).rows]  # type: ignore[arg-type]


class TestWords:
    def test_recall_is_near_whole_where_words_are_missing_misspelt_and_out_of_order(self) -> None:
        draw = random.Random(11)
        made = titles(4_000, draw)
        index = TitleIndex(made)
        asked = [(place, query_for(made[place], draw)) for place in draw.sample(range(len(made)), 300)]
        met = sum(place in {one for one, _ in index.nearest(query, 20)} for place, query in asked)
        assert met / len(asked) >= 0.98

    @settings(max_examples=60, deadline=None)
    @given(st.lists(st.text("abc éß-", max_size=12), min_size=1, max_size=8), st.text("abc éß-", max_size=12))
    def test_likeness_is_the_cosine_of_weighed_letter_triples(self, texts: list[str], query: str) -> None:
        def triples(text: str) -> Counter[str]:
            words = [f" {word} " for word in plain_words(text).split()]
            return Counter(word[at : at + 3] for word in words for at in range(len(word) - 2))

        held = Counter(triple for text in texts for triple in triples(text))
        rarity = {one: math.log((1 + len(texts)) / (1 + held[one])) + 1 for one in {*held, *triples(query)}}

        def weights(text: str) -> dict[str, float]:
            return {one: times * rarity[one] for one, times in triples(text).items()}

        def length(some: dict[str, float]) -> float:
            return math.sqrt(sum(value**2 for value in some.values()))

        asked = weights(query)
        expected = []
        for text in texts:
            mine = weights(text)
            product = sum(value * mine.get(one, 0) for one, value in asked.items())
            expected.append(product / (length(asked) * length(mine)) if product else 0.0)
        assert TitleIndex(texts).likeness(query) == pytest.approx(expected, abs=1e-6)

    def test_accents_signs_and_case_do_not_matter(self, store: Store) -> None:
        assert found(store, query="creme BRULEE") == ["Crème brûlée set"]
        assert found(store, query="peper wallnut") == ["Walnut pepper mill, small"]
        assert found(store, query="zzzz") == []

    def test_nothing_to_search(self) -> None:
        assert TitleIndex([]).nearest("grey", 5) == []
        assert TitleIndex(["", "!!"]).nearest("grey", 5) == []
        assert TitleIndex(["grey"]).nearest("", 5) == []


class TestCodes:
    @pytest.mark.parametrize("query", ["kt 1042", "9521234567899", "KT-1042"])
    def test_a_whole_code_is_its_item(self, store: Store, query: str) -> None:
        result = search(store, Filter(query=query))
        assert (result.by, result.total) == ("code", 2)

    def test_the_start_of_a_code(self, store: Store) -> None:
        assert search(store, Filter(query="KT10")).total == 3
        assert search(store, Filter(query="952123")).total == 2

    def test_a_misspelt_code_finds_the_likest(self, store: Store) -> None:
        by, items = find_items(store, "KT1O42")
        assert by == "words"
        assert items[0] == search(store, Filter(query="KT1042")).rows[0].root


class TestFilters:
    @pytest.mark.parametrize(
        ("wanted", "count"),
        [
            ({}, 5), ({"category": "SHOES"}, 3), ({"category": NONE}, 1), ({"brand": "kestrel  & tarn"}, 3),
            ({"brand": "nobody"}, 0), ({"condition": "used"}, 2), ({"status": "sold"}, 3), ({"status": "open"}, 1),
            ({"within": 30}, 2), ({"older": 30}, 2), ({"older": 365}, 1), ({"batch_id": 1}, 5), ({"batch_id": 2}, 0),
            ({"counts": "counted"}, 5), ({"counts": "set aside by you"}, 0),
            ({"status": "sold", "category": "shoes"}, 2), ({"query": "runner", "condition": "new"}, 1),
        ],
    )  # fmt: skip
    def test_each(self, store: Store, wanted: dict[str, object], count: int) -> None:
        assert len(found(store, **wanted)) == count

    def test_rows_that_do_not_count(self, store: Store) -> None:
        one = search(store, Filter(status="open")).rows[0]
        set_aside(store, [one.id], "wrong size")
        assert found(store, counts="set aside by you") == ["Road racer blue"]
        assert len(found(store, counts="counted")) == 4

    @pytest.mark.parametrize(
        ("wanted", "field"),
        [
            ({"status": "gone"}, "status"),
            ({"counts": "why"}, "counts"),
            ({"sort": "up"}, "sort"),
            ({"page": 0}, "page"),
        ],
    )
    def test_bad_input(self, store: Store, wanted: dict[str, object], field: str) -> None:
        with pytest.raises(BadInput) as refused:
            found(store, **wanted)
        assert refused.value.field == field


class TestOrder:
    def test_each_order(self, store: Store) -> None:
        assert found(store, sort="newest")[0] == "Road racer blue"  # seen open today
        assert found(store, sort="oldest")[0] == "Walnut pepper mill, small"
        assert found(store, sort="dearest")[:2] == ["Road racer blue", "Trail runner grey"]
        assert found(store, sort="cheapest")[0] == "Crème brûlée set"
        assert found(store, query="road racer", sort="likest")[0] == "Road racer blue"
        for sort in SORTS:
            assert len(found(store, sort=sort)) == 5

    def test_pages_hold_every_row_once(self, store: Store) -> None:
        keys = [
            row.id for page in (1, 2, 3) for row in search(store, Filter(page=page, sort="cheapest"), per_page=2).rows
        ]
        assert len(set(keys)) == len(keys) == 5
        assert search(store, Filter(page=9), per_page=2).page == 3


class TestKeeping:
    def test_the_index_is_made_anew_only_when_a_product_has_changed(
        self, store: Store, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        made: list[int] = []

        class Counting(TitleIndex):
            def __init__(self, texts: list[str]) -> None:
                made.append(len(texts))
                super().__init__(texts)

        monkeypatch.setattr(searching, "TitleIndex", Counting)
        for _ in range(2):
            found(store, query="trail")
        set_aside(store, [search(store, Filter()).rows[0].id], "damaged")
        found(store, query="trail")
        assert made == [4]
        rename(store, "brand", ["Fellwander"], "Northlight")
        assert found(store, query="northlight") == ["Walnut pepper mill, small"]
        assert made == [4, 4]

    def test_what_is_kept_is_of_one_store(self, store: Store) -> None:
        other = open_store("sqlite:///:memory:")
        load(other, ROWS[:1])
        assert len(names(store, "brand")) == 3
        assert len(names(other, "brand")) == 1
        assert search(other, Filter(query="pepper mill")).total == 0

    def test_names_are_counted_however_they_are_spelt(self, store: Store) -> None:
        shown = {one.shown: (one.spellings, one.rows) for one in names(store, "condition")}
        assert shown == {"": (("",), 2), "Used": (("Used", "used"), 2), "new": (("new",), 1)}
        rename(store, "category", ["kitchen"], "Kitchenware")
        (kitchen,) = [one for one in names(store, "category") if one.shown == "Kitchenware"]
        assert kitchen.read_as == ("kitchen",)


def test_where_a_row_came_from(store: Store) -> None:
    row = search(store, Filter(query="KT1099")).rows[0]
    load(store, [ROWS[0], ROWS[2]])
    first, second = sources(store, row_id(str(row.id)))
    assert (first.batch_id, first.file_name, first.row) == (1, "rows.csv", 4)
    assert (second.batch_id, second.row) == (2, 3)
    assert len(first.sha256) == 64
    assert row.asking_price == Decimal("90")
    with pytest.raises(BadInput):
        row_id("12")
