"""Files in shapes of their own come to the same rows as our own format, whatever their dialect."""

from __future__ import annotations

import csv
import dataclasses
import io
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from table_files import xlsx
from test_sourcing_comps_load import dump

from sourcing.comps import layouts, load_file, undo_batch
from sourcing.comps.incoming import PRICE, look, say
from sourcing.comps.layout import FileForm, Layout, Money, Use, fitted
from sourcing.comps.mend import mend, rejects
from sourcing.comps.report import LoadReport
from sourcing.errors import BadInput, Refused, Stopped
from sourcing.storage import Store, open_store

AS_OF = date(2026, 6, 30)
NewStore = Callable[[], Store]
HEADER = ["title", "status", "sold_price", "asking_price", "listed_on", "ended_on", "size"]
# How a file may write amounts and days: the layout's word for it, and what writes it.
MONEY: list[tuple[Money, Callable[[Decimal], str]]] = [
    (Money(), lambda amount: f"{amount}"),
    (Money(".", ","), lambda amount: f"{amount:,}"),
    (Money(",", "."), lambda amount: f"{amount:,}".translate({44: ".", 46: ","})),
    (Money(",", " "), lambda amount: f"{amount:,}".translate({44: "\u202f", 46: ","}) + " €"),
    (Money(".", "'"), lambda amount: "CHF " + f"{amount:,}".replace(",", "\u2019")),
]
DAYS: list[tuple[Any, Callable[[date], str]]] = [
    ("ymd", lambda day: day.isoformat()),
    ("dmy", lambda day: f"{day:%d.%m.%Y}"),
    ("mdy", lambda day: f"{day:%m/%d/%y}"),
    ("dmy", lambda day: f"{day.day} {('janv.', 'févr.', 'mars')[day.month - 1]} {day.year}"),
    ("serial 1900", lambda day: str((day - date(1899, 12, 30)).days)),
    ("epoch", lambda day: str((day - date(1970, 1, 1)).days * 86_400 + 3_600)),
]
WORDS = {"sold": "verkauft", "open": "Online!", "ended unsold": "weg"}


@pytest.fixture
def store() -> Store:
    return open_store("sqlite://")


def written(rows: Sequence[Sequence[str]], delimiter: str = ",") -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode()


def load(store: Store, content: bytes, layout: Layout | None = None, **how: Any) -> Any:
    return load_file(store, io.BytesIO(content), name="a.csv", layout=layout, **({"as_of": AS_OF} | how))


LISTINGS = st.lists(
    st.tuples(
        st.sampled_from(("Runner size 9", "Runner size 10 1/2", "Mug")),
        st.sampled_from(("sold", "open", "ended unsold")),
        st.integers(1, 250_000),
        st.dates(date(2026, 1, 1), date(2026, 3, 28)),
    ),
    min_size=1,
    max_size=8,
)


@settings(max_examples=60, deadline=None)
@given(LISTINGS, st.sampled_from(MONEY), st.sampled_from(DAYS), st.permutations(range(7)), st.sampled_from(",;\t|"))
def test_any_dialect_of_a_file_adds_nothing_to_it(
    new_store: NewStore,
    listings: list[tuple[str, str, int, date]],
    money: tuple[Money, Callable[[Decimal], str]],
    days: tuple[Any, Callable[[date], str]],
    order: list[int],
    delimiter: str,
) -> None:
    ours, theirs = [HEADER], []
    for title, status, cents, day in listings:
        amount = Decimal(cents) / 100
        for rows, price, of_day, word in (
            (ours, str(amount), day.isoformat(), status),
            (theirs, money[1](amount), days[1](day), WORDS[status]),
        ):
            sold = price if status == "sold" else ""
            rows.append([title, word, sold, price, of_day, of_day if status != "open" else "", "10.5"])
    store = new_store()
    assert load(store, written(ours)).rejected == 0
    before = dump(store)
    names = [f"column {place}" for place in order] + ["another"]
    shuffled = [[row[place] for place in order] + ["x"] for row in theirs]
    uses = tuple(Use(HEADER[place], at) for at, place in enumerate(order))
    places = {use.field: use.column for use in uses}
    layout = Layout(
        tuple(names), uses, FileForm(delimiter=delimiter),
        money={places["sold_price"]: money[0], places["asking_price"]: money[0]},
        days={places["listed_on"]: days[0], places["ended_on"]: days[0]},
        words={"status": {"verkauft": "sold", "online!": "open", "weg": "ended unsold"}},
    )  # fmt: skip
    report = load(store, written([names, *shuffled], delimiter), layout)
    assert (report.new, report.rejected, report.known) == (0, 0, len(listings)), report.problems
    assert dump(store) == before


def test_a_dry_run_says_what_the_run_does_and_leaves_no_trace(store: Store) -> None:
    content = written([HEADER, ["Mug", "sold", "9", "", "", "", ""], ["Pan", "sold", "x", "", "", "", ""]])
    before = dump(store), store.read("SELECT count(*) FROM batch"), store.read("SELECT count(*) FROM problem")
    dry = load(store, content, dry=True, keep_good=True)
    assert (dump(store), store.read("SELECT count(*) FROM batch"), store.read("SELECT count(*) FROM problem")) == before
    assert dry.batch_id is None
    assert dry.shown == ({"status": "sold", "sold": "9.00", "title": "Mug", "row": "2"},)
    real = load(store, content, keep_good=True)
    assert dataclasses.replace(real, batch_id=None) == dataclasses.replace(dry, shown=())
    again = load(store, content, dry=True, keep_good=True)
    assert (again.new, again.known, again.rejected) == (0, 1, 1)


def test_work_that_is_stopped_leaves_nothing(store: Store) -> None:
    rows = [HEADER, *([f"Mug {at}", "sold", "9", "", "", "", ""] for at in range(900))]
    before = dump(store)

    def stop(read: int) -> None:
        if read > 400:
            raise Stopped("Stopped.")

    with pytest.raises(Stopped):
        load(store, written(rows), on_progress=stop)
    assert dump(store) == before
    assert store.read("SELECT count(*) FROM batch") == [(0,)]


def matched(names: str, **parts: Any) -> Layout:
    header = tuple(names.split(","))
    return Layout(header, tuple(Use(name, at) for at, name in enumerate(header) if name in HEADER), **parts)


def test_one_price_column_is_what_was_paid_on_sold_rows_and_what_is_asked_on_others(store: Store) -> None:
    layout = dataclasses.replace(matched("title,status,price"), uses=(
        Use("title", 0), Use("status", 1), Use("sold_price", 2), Use("asking_price", 2)))  # fmt: skip
    content = written([["title", "status", "price"], ["Mug", "sold", "9"], ["Mug", "open", "12"], ["Mug", "", "7"]])
    report = load(store, content, layout, keep_good=True)
    assert (report.new, report.rejected) == (2, 1)  # nothing says whether 7 was paid or asked
    assert store.read("SELECT status, ask, sold FROM comp ORDER BY status") == [(0, 1200, None), (1, None, 900)]
    report = load(store, content, dataclasses.replace(layout, fixed={"status": "ended unsold"}))
    assert store.read("SELECT ask, sold FROM comp WHERE status = 2") == [(700, None)]


def test_a_status_for_all_rows_leaves_those_with_a_sold_price_sold(store: Store) -> None:
    layout = matched("title,sold_price,asking_price", fixed={"status": "open", "category": "mugs"})
    load(store, written([["title", "sold_price", "asking_price"], ["Mug", "9", "10"], ["Mug", "", "10"]]), layout)
    assert store.read("SELECT status, category FROM comp ORDER BY 1") == [(0, "mugs"), (1, "mugs")]


def test_what_a_text_holds_fills_only_what_is_empty(store: Store) -> None:
    layout = matched("title,size,sold_price")
    layout = dataclasses.replace(layout, uses=(*layout.uses, Use("size", 0, extract=True)))
    rows = [["title", "size", "sold_price"], ["Runner size 9", "", "5"], ["Runner size 8", "7", "5"], ["Mug", "", "5"]]
    load(store, written(rows), layout)
    assert sorted(size for (size,) in store.read("SELECT size FROM comp")) == ["", "7", "9"]


def test_status_words_that_cannot_be_told_reject_their_rows_by_the_file_s_own_column(store: Store) -> None:
    layout = dataclasses.replace(
        matched("title,status,sold_price", words={"status": {"done": "sold", "gone": "?"}}),
        header=("title", "How it went", "sold_price"),
    )
    content = written([["title", "How it went", "sold_price"], ["Mug", "done", "5"], ["Mug", "gone", ""]])
    report = load(store, content, layout)
    assert (report.batch_id, report.rejected) == (None, 1)
    assert (report.problems[0].row, report.problems[0].column, report.problems[0].value) == (3, "How it went", "gone")


def test_barcodes_are_mended_only_where_the_user_agreed(store: Store, new_store: NewStore) -> None:
    """GS1 prefix 952 is for demonstrations; 00952... lost its zeros on the way through a spreadsheet."""
    header = ("code", "title", "sold_price")
    uses = (Use("gtin", 0), Use("title", 1), Use("sold_price", 2))
    content = written([header, ["9521012345", "Mug", "5"]])  # UPC-A 009521012345 without its zeros
    assert load(store, content, Layout(header, uses)).problems[0].rejected is False
    assert store.read("SELECT gtin FROM comp") == [(None,)]
    other = new_store()
    from sourcing.codes import check_digit

    code = "00952101234"
    lost = (code + str(check_digit(code))).lstrip("0")
    load(other, written([header, [lost, "Mug", "5"]]), Layout(header, uses, zeros=(0,)))
    assert other.read("SELECT gtin FROM comp") == [(int(lost),)]


def test_a_layout_is_remembered_by_names_in_any_order_and_beside_new_columns(store: Store) -> None:
    layout = Layout(("Was", "Preis", "Tag"), (Use("title", 0), Use("sold_price", 1), Use("ended_on", 2)),
                    money={1: Money(",", ".")}, days={2: "dmy"})  # fmt: skip
    layouts.remember(store, "a.csv", layout)
    found = layouts.recall(store, ["Tag", "neu", "WAS ", "preis"], FileForm())
    assert layouts.recall(store, ["Tag", "neu", "WAS ", "preis"], FileForm(), exactly=True) is None
    assert layouts.recall(store, ["Tag", "WAS ", "preis"], FileForm(), exactly=True) is not None
    assert found is not None
    assert {use.field: use.column for use in found.uses} == {"title": 2, "sold_price": 3, "ended_on": 0}
    assert (found.money, found.days) == ({3: Money(",", ".")}, {0: "dmy"})
    assert layouts.recall(store, ["Tag", "Was"], FileForm()) is None
    with pytest.raises(BadInput, match="no column 'Preis'"):
        fitted(layout, ["Tag", "Was"])
    gone = layouts.forget(store, layouts.remembered(store)[0].fingerprint)
    assert layouts.remembered(store) == []
    layouts.bring_back(store, gone.name, gone.layout.to_json())
    assert layouts.remembered(store)[0].layout == layout
    with pytest.raises(BadInput):
        layouts.bring_back(store, "x", "[]")


def test_rejected_rows_are_kept_as_they_were_mended_in_place_and_undone(store: Store) -> None:
    layout = Layout(("Was", "Preis"), (Use("title", 0), Use("sold_price", 1)), money={1: Money(",", ".")})
    content = written([["Was", "Preis"], ["Mug", "9,50"], ["Pan", "neun"], ["Jug", "1O,00"], ["Cup", "0"]])
    first = load(store, content, layout, keep_good=True)
    waiting = rejects(store, first.batch_id)
    assert [(one.row, one.cells, one.wrong) for one in waiting.rows] == [
        (3, ("Pan", "neun"), ("Preis",)), (4, ("Jug", "1O,00"), ("Preis",)), (5, ("Cup", "0"), ("Preis",)),
    ]  # fmt: skip
    assert waiting.place("Preis") == 1
    before = dump(store)
    report = mend(store, first.batch_id, {4: {1: "10,00"}, 3: {1: "noch neun"}})
    assert (report.read, report.new, report.rejected) == (2, 1, 1)
    assert [one.row for one in rejects(store, first.batch_id).rows] == [3, 5]
    assert store.read('SELECT sold, "row" FROM comp WHERE batch_id = ?', (report.batch_id,)) == [(1000, 4)]
    with pytest.raises(BadInput, match="Row 4"):
        mend(store, first.batch_id, {4: {1: "11"}})
    undo_batch(store, report.batch_id)
    assert dump(store) == before
    assert [one.row for one in rejects(store, first.batch_id).rows] == [3, 4, 5]
    # One that says what is there already is no longer to be mended, and adds nothing; that is undone like any load.
    known = mend(store, first.batch_id, {3: {0: "Mug", 1: "9,50"}})
    assert (known.new, known.known) == (0, 1)
    assert [one.row for one in rejects(store, first.batch_id).rows] == [4, 5]
    undo_batch(store, known.batch_id)
    assert dump(store) == before
    assert [one.row for one in rejects(store, first.batch_id).rows] == [3, 4, 5]
    undo_batch(store, first.batch_id)
    with pytest.raises(Refused):
        mend(store, first.batch_id, {4: {1: "10,00"}})


def test_a_mended_row_keeps_a_day_later_than_those_of_the_good_ones(store: Store) -> None:
    rows = [["title", "asking_price", "listed_on", "status"], ["Mug", "9", "2026-04-01", "open"],
            ["Pan", "neun", "2026-04-15", "open"], ["Jug", "zehn", "2026-03-01", "open"]]  # fmt: skip
    first = load(store, written(rows), as_of=None, keep_good=True)
    mended = mend(store, first.batch_id, {3: {1: "9"}})
    assert (str(mended.as_of), mended.problems) == ("2026-04-15", ())
    assert str(mend(store, first.batch_id, {4: {1: "10"}}).as_of) == "2026-04-01"  # seen when the file was made
    in_one = open_store("sqlite://")
    load(in_one, written(rows).replace(b"neun", b"9").replace(b"zehn", b"10"), as_of=None)
    keys = "SELECT key, listed FROM comp ORDER BY key"
    assert store.read(keys) == in_one.read(keys)


def test_a_mended_row_stays_when_another_file_that_holds_it_is_undone(store: Store) -> None:
    header = ["title", "sold_price"]
    other = load(store, written([header, ["Pan", "9"], ["Mug", "8"]]))
    content = written([header, ["Mug", "8"], ["Pan", "neun"]])
    first = load(store, content, keep_good=True)
    assert mend(store, first.batch_id, {3: {1: "9"}}).known == 1
    # The mended row speaks for no other row of its file: loaded again, the file has its own back.
    undo_batch(store, first.batch_id)
    assert load(store, content, keep_good=True).batch_id is not None
    undo_batch(store, other.batch_id)
    assert store.read("SELECT title FROM comp ORDER BY title") == [("Mug",), ("Pan",)]


def test_no_row_that_is_still_wrong_is_lost_however_many_there_are(store: Store) -> None:
    rows = [["Pan", "neun"]] * 1_200
    first = load(store, written([["title", "sold_price"], ["Mug", "8"], *rows]), keep_good=True)
    report = mend(store, first.batch_id, {row: {1: "zehn" if row > 3 else "9"} for row in range(3, 1_203)})
    assert (report.new, report.rejected) == (1, 1_199)
    assert rejects(store, first.batch_id).total == 1_199


def test_a_row_is_mended_once_however_often_it_is_sent(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    first = load(store, written([["title", "sold_price"], ["Mug", "8"], ["Pan", "neun"]]), keep_good=True)
    sent = {3: {1: "9"}}
    done: list[LoadReport] = []

    def write_rows() -> AbstractContextManager[Any]:  # another comes first, once this one is under way
        monkeypatch.undo()
        done.append(mend(store, first.batch_id, sent))
        return store.write_rows()

    monkeypatch.setattr(store, "write_rows", write_rows)
    with pytest.raises(BadInput, match="does not wait"):
        mend(store, first.batch_id, sent)
    undo_batch(store, done[0].batch_id or 0)
    assert [one.row for one in rejects(store, first.batch_id).rows] == [3]


EXPORT = """Artikel;Preis;Verkauft;Eingestellt
Runner Gr. 42;1.250,00 €;ja;03.04.2026
Runner Gr. 43;80,00 €;nein;04.05.2026
Becher blau;12,50 €;ja;23.04.2026
"""


def test_from_a_file_to_a_load_and_one_tap_for_the_next(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "export.csv"
    path.write_text(EXPORT, encoding="utf-8")
    seen = look(store, path)
    assert (seen.origin, seen.ready) == ("guessed", False)
    assert [column.field for column in seen.columns] == ["title", PRICE, "status", "listed_on"]
    assert all(column.guess is not None and column.guess.reason for column in seen.columns)
    assert [question.id for question in seen.questions] == ["status:nein"]
    layout = say(seen, answers={"status:nein": "open"}, extracts=seen.offers, fixed={"category": "shoes"})
    seen = look(store, path, layout=layout)
    assert seen.ready
    report = load_file(store, path, layout=seen.layout)
    assert (report.new, report.rejected) == (3, 0)
    assert sorted(store.read("SELECT ask, sold, size, currency, category FROM comp"), key=str) == [
        (8000, None, "43", "EUR", "shoes"),
        (None, 1250, "", "EUR", "shoes"),
        (None, 125000, "42", "EUR", "shoes"),
    ]
    layouts.remember(store, path.name, layout)
    path.write_text("Preis;Artikel;Verkauft;Eingestellt;Lager\n99,00 €;Runner Gr. 42;ja;13.05.2026;7\n")
    seen = look(store, path)
    assert (seen.origin, seen.one_tap) == ("remembered", True)
    assert load_file(store, path, layout=seen.layout).new == 1
    # A word nobody has explained yet is asked about, also in a file of a known kind.
    path.write_text("Preis;Artikel;Verkauft;Eingestellt\n99,00 €;Runner Gr. 42;reserviert;13.05.2026\n")
    assert [question.id for question in look(store, path).questions] == ["status:reserviert"]


def test_marks_and_days_are_decided_by_all_rows_of_the_file_not_by_the_first(store: Store, tmp_path: Path) -> None:
    rows = [["title", "paid", "status", "ended"], *(["Mug", "1.500", "sold", "03/04/2026"] for _ in range(1_500))]
    path = tmp_path / "a.csv"
    path.write_bytes(written(rows))
    asked = {question.id.split(":")[0] for question in look(store, path).questions}
    assert {"decimal", "days"} <= asked
    path.write_bytes(written([*rows, ["Mug", "1.500,25", "sold", "13/04/2026"]]))
    seen = look(store, path)
    assert seen.layout is not None
    assert (list(seen.layout.money.values()), list(seen.layout.days.values())) == ([Money(",", ".")], ["dmy"])


def test_our_own_format_is_not_asked_about_and_strange_columns_are(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(written([HEADER, ["Mug", "sold", "9", "", "", "2026-03-01", ""]]))
    assert look(store, path).origin == "ours"
    assert load_file(store, path, strict=True, dry=True).new == 1
    path.write_bytes(written([["title", "status", "price"], ["Mug", "sold", "9.50"]]))
    with pytest.raises(BadInput, match="'price'"):
        load_file(store, path, strict=True)
    assert {column.field for column in look(store, path).columns} == {"title", "status", PRICE}


def test_our_own_format_is_read_whole_although_a_file_with_some_of_its_columns_is_known(
    store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "a.csv"
    some = Layout(("title", "sold_price", "Regal"), (Use("title", 0), Use("sold_price", 1)), fixed={"status": "sold"})
    layouts.remember(store, "some.csv", some)
    path.write_bytes(written([["title", "sold_price", "brand"], ["Mug", "9", "Own"]]))
    assert look(store, path).origin == "ours"
    layouts.remember(store, "all.csv", dataclasses.replace(some, header=("title", "sold_price", "brand")))
    assert look(store, path).origin == "remembered"


def test_what_was_said_of_a_total_holds_wherever_its_column_stands(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = [["Item", "Total sold price", "Shipping charged"], ["Mug", "9.50", "3.00"], ["Pan", "8.50", "2.00"]]
    path.write_bytes(written(rows))
    layout = say(look(store, path), columns=dict(enumerate(("title", "sold_price", "shipping_charged"))))
    seen = look(store, path, layout=layout)
    assert [question.id for question in seen.questions] == ["total:1"]
    layouts.remember(store, "a.csv", say(seen, answers={"total:1": "without"}))
    path.write_bytes(written([[item, shipping, total] for item, total, shipping in rows]))
    assert look(store, path).one_tap


def test_a_cover_sheet_is_passed_over_for_one_that_lists_something(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    sales = [["What", "Sold price"], ["Mug", 9.5], ["Pan", 12.25]]
    path.write_bytes(xlsx([["Made by hand"], ["in March"]], empty=[], sales=sales))
    seen = look(store, path)
    assert (seen.sniffed.form.sheet, [column.field for column in seen.columns]) == ("sales", ["title", "sold_price"])
    assert look(store, path, layout=say(seen, columns={0: "title"})).sniffed.form.sheet == "sales"
    assert load_file(store, path, layout=seen.layout).new == 2
    assert look(store, path, sheet="first").sniffed.form.sheet == "first"  # what the user picks is taken


def test_what_is_asked_of_rows_that_name_no_sold_price(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(written([["name", "paid", "asked"], ["Mug red", "9.50", "12.00"], ["Mug blue", "", "11.00"]]))
    seen = look(store, path)
    assert [column.field for column in seen.columns] == ["title", "sold_price", "asking_price"]
    assert [question.id for question in seen.questions] == ["status"]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"columns": {0: "title", 3: "title"}}, "Two columns are both the title: 'Artikel' and 'Eingestellt'"),
        ({"columns": {9: "title"}}, "no column number 10"),
        ({"columns": {0: "colour"}}, "'colour' is nothing a column can be"),
        ({"columns": {2: ""}, "fixed": {"status": "gone"}}, "no known status"),
        ({"fixed": {"title": "Mug"}}, "'Artikel' holds it too"),
        ({"fixed": {"hue": "red"}}, "'hue' is no field"),
        ({"answers": {"status:nein": "perhaps"}}, "no answer"),
        ({"answers": {"moon": "full"}}, "Nothing was asked"),
    ],
)
def test_what_cannot_be_meant_is_refused(store: Store, tmp_path: Path, said: dict[str, Any], words: str) -> None:
    path = tmp_path / "export.csv"
    path.write_text(EXPORT, encoding="utf-8")
    with pytest.raises(BadInput, match=words):
        say(look(store, path), **said)


def test_rows_in_another_currency_are_kept_said_and_count_once_it_is_the_home_one(store: Store) -> None:
    from sourcing.settings import load_settings, save_settings, undo_settings

    header = ("title", "sold_price", "currency")
    report = load(store, written([header, ["Mug", "9", "EUR"], ["Mug", "8", ""]]))
    assert any("They are in EUR" in problem.reason for problem in report.problems)
    assert store.read("SELECT count(*) FROM comp WHERE out = 0") == [(1,)]
    assert save_settings(store, dataclasses.replace(load_settings(store), currency="EUR"), "sells there") is True
    assert store.read("SELECT count(*) FROM comp WHERE out = 0") == [(2,)]
    assert undo_settings(store) is True
    assert store.read("SELECT count(*) FROM comp WHERE out = 0") == [(1,)]
    assert save_settings(store, dataclasses.replace(load_settings(store), locale="de_DE"), "reads it") is False


def test_keys_of_json_lines_that_look_alike_or_like_nothing_are_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_text('{"title": "Mug", "sold price": "9.50", "sold  price": "8", "": "x"}\n')
    assert look(open_store("sqlite://"), path).sniffed.header == ("title", "sold price", "sold price (2)", "column 4")


def test_a_currency_beside_a_price_goes_and_comes_with_its_column(store: Store, tmp_path: Path) -> None:
    def currency(layout: Layout | None) -> list[int]:
        assert layout is not None
        return [use.column for use in layout.uses if use.field == "currency"]

    path = tmp_path / "x.csv"
    rows = [[f"Mug {n}", f"{n + 20}.50 \u20ac", f"{n + 10}.50 \u20ac", "neu"] for n in range(12)]
    path.write_bytes(written([["Titel", "Angebotspreis", "Verkaufspreis", "Zustand"], *rows]))
    seen = look(store, path)
    (place,) = currency(seen.layout)
    other = 3 - place
    one = say(seen, columns={place: ""})
    assert currency(one) == []
    assert currency(look(store, path, layout=one).layout) == [other]  # the other price names it too
    none = say(look(store, path, layout=one), columns={place: "", other: ""})
    seen = look(store, path, layout=none)
    assert (currency(seen.layout), seen.layout.words.get("currency") if seen.layout else 0) == ([], None)
    back = say(seen, columns={2: "sold_price"})
    seen = look(store, path, layout=back)
    assert currency(seen.layout) == [2]
    assert seen.layout is not None
    assert seen.layout.words["currency"] == {"\u20ac": "EUR"}
    fixed = look(store, path, layout=say(look(store, path, layout=none), columns={2: "sold_price"},
                                         fixed={"currency": "USD"}))  # fmt: skip
    assert currency(fixed.layout) == []  # the user has said it
