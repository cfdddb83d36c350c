"""Columns told by what they mean: invented rows under German names; marks, orders of days and what must be asked."""

from __future__ import annotations

from dataclasses import replace

import pytest
from comps_exports import Export, exports

from sourcing.comps.columns import NAMES
from sourcing.comps.layout import Layout, Money, Use
from sourcing.comps.meaning import recognise as matching
from sourcing.comps.meaning.amounts import marks_of, plain_amount
from sourcing.comps.meaning.codes import with_zeros
from sourcing.comps.meaning.days import orders_of, read_day
from sourcing.comps.meaning.questions import Known, Sample, answered, fill, questions
from sourcing.comps.meaning.recognise import recognise

GERMAN = ["Strichcode", "Artikelnummer", "Marke", "Kategorie", "Titel", "Größe", "Zustand", "Angebotspreis",
          "Verkaufspreis", "Versandkosten", "Eingestellt am", "Endet am", "Status", "Angebotsnummer"]  # fmt: skip
MEANT = ["gtin", "style_code", "brand", "category", "title", "size", "condition", "asking_price", "sold_price",
         "shipping_charged", "listed_on", "ended_on", "status", "listing"]  # fmt: skip
ROWS = [
    ["9521234567899", "KT-1042", "Kestrel & Tarn", "Schuhe", "Laufschuh grau Leder", "9 1/2", "neu", "1.299,50 €",
     "61,50 €", "5,99 €", "02.03.2026", "20.03.2026", "verkauft", "A-1001"],
    ["", "KT-1042", "Kestrel & Tarn", "Schuhe", "Laufschuh rot Leder", "10", "neu", "69,99 €", "", "0,00 €",
     "05.03.2026", "", "offen", "A-1002"],
    ["", "KT-1049", "Kestrel & Tarn", "Hemd", "Hemd blau", "9", "gebraucht", "64,99 €", "", "5,99 €", "02.03.2026",
     "05.03.2026", "abgelaufen", "A-1004"],
]  # fmt: skip


def test_german_names_and_values() -> None:
    found = recognise(GERMAN, ROWS, Known())
    fed = {use.field: GERMAN[use.column] for use in found.layout.uses if not use.extract}
    assert fed == dict(zip(MEANT, GERMAN, strict=True))
    assert found.ready
    assert set(found.layout.money.values()) == {Money(",", ".")}
    assert set(found.layout.days.values()) == {"dmy"}
    assert found.layout.words["currency"] == {"€": "EUR"}


def test_documented_names_are_sure() -> None:
    found = recognise(list(NAMES), [[""] * len(NAMES)], Known())
    assert {use.field for use in found.layout.uses} == set(NAMES)
    assert all(found.confidence(use) == 1 for use in found.layout.uses)


@pytest.mark.parametrize(
    ("cells", "read"),
    [
        (["1,299", "12,99"], ["1.299", "12.99"]),
        (["1 234,56", "5"], ["1234.56", "5"]),
        (["1’234.50"], ["1234.50"]),
        (["1,20,000", "4.50"], ["120000", "4.50"]),
    ],
)
def test_one_way_of_writing_a_column(cells: list[str], read: list[str]) -> None:
    (marks,) = marks_of(cells)
    assert [plain_amount(cell, marks) for cell in cells] == read


@pytest.mark.parametrize("cell", ["1,299", "1.299"])
def test_marks_that_say_nothing_stay_open(cell: str) -> None:
    assert {plain_amount(cell, marks) for marks in marks_of([cell])} == {"1299", "1.299"}


def test_days_that_say_nothing_are_asked_about() -> None:
    layout = Layout(("title", "sold_price", "Datum"), (Use("title", 0), Use("sold_price", 1), Use("ended_on", 2)))
    sample = Sample.of(layout.header, [["lamp", "5.00", "03/04/2026"], ["vase", "6.00", "05/06/2026"]])
    layout = fill(layout, sample, Known())
    (asked,) = questions(layout, sample, Known())
    assert {choice.value: choice.rows[0] for choice in asked.choices} == {
        "dmy": ("03/04/2026", "2026-04-03"),
        "mdy": ("03/04/2026", "2026-03-04"),
    }
    assert questions(answered(layout, {asked.id: "mdy"}), sample, Known()) == ()


def test_a_bare_dollar_is_asked_about() -> None:
    uses = (Use("title", 0), Use("sold_price", 1), Use("currency", 1, extract=True))
    layout = Layout(("title", "sold_price"), uses, money={1: Money()})
    sample = Sample.of(layout.header, [["lamp", "$5.00"]])
    assert [asked.id for asked in questions(fill(layout, sample, Known()), sample, Known())] == ["currency:$"]


def test_orders_of_days() -> None:
    assert orders_of(["31/12/2025", "01/02/2026"]) == ("dmy",)
    assert orders_of(["2026-03-31T23:59:00-05:00"]) == ("ymd",)
    assert read_day("2026-03-31T23:59:00-05:00", "ymd") == "2026-03-31"
    assert read_day("3. März 2026", "dmy") == "2026-03-03"
    assert read_day("46082", "serial 1900") == "2026-03-01"


def test_lost_zeros_come_back_only_by_the_check_digit() -> None:
    assert with_zeros("36000291452") == "036000291452"  # GS1's own example of a UPC-A
    assert with_zeros("36000291453") == ""
    assert with_zeros("7.62E+11") == ""


def test_layout_survives_json() -> None:
    layout = recognise(GERMAN, ROWS, Known()).layout
    assert Layout.from_json(layout.to_json()) == replace(layout)


@pytest.mark.parametrize("export", exports(), ids=lambda one: one.name)
@pytest.mark.parametrize("rows", [20, 60])
def test_exports_in_six_languages(export: Export, rows: int) -> None:
    """At most one column has to be put right by hand, and no more than three things are asked."""
    found = recognise(export.header, export.rows[:rows], Known())
    wrong = []
    for place, (name, means) in enumerate(zip(export.header, export.means, strict=True)):
        fields = {use.field for use in found.layout.uses if use.column == place and not use.extract}
        right = {one.rstrip("?") for one in means.split("|")} - {""}
        if not fields <= right or (right and "?" not in means and not fields):
            wrong.append((name, fields))
    assert len(wrong) <= 1, wrong
    assert len(found.questions) <= 3
    if found.certain:  # nobody need look at it
        assert not any(fields for _, fields in wrong)


def test_a_total_that_may_hold_the_shipping_is_asked_about() -> None:
    header = ["title", "Total price", "Postage"]
    rows = [["lamp brass", "15.50", "5.50"], ["vase blue", "20.00", "4.00"], ["pot green", "9.00", "3.00"]]
    found = recognise(header, rows, Known())
    (asked,) = (one for one in found.questions if one.id.startswith("total:"))
    assert [choice.value for choice in asked.choices] == ["with", "without"]
    kept = {value: answered(found.layout, {asked.id: value}) for value in ("with", "without")}
    assert {use.field for use in kept["with"].uses} == {"title", "sold_price"}
    assert {use.field for use in kept["without"].uses} == {"title", "sold_price", "shipping_charged"}
    for layout in kept.values():
        assert not any(one.id == asked.id for one in questions(layout, Sample.of(header, rows), Known()))


def test_a_sum_with_a_quantity_is_no_price() -> None:
    header = ["Title", "Qty", "Price", "Postage", "Sale amount"]
    rows = []
    for at in range(3, 23):
        count = 1 + at % 2
        rows.append([f"lamp {at} of brass", str(count), f"{at}.50", "4.25", f"{count * (at + 0.5) + 4.25:.2f}"])
    fed = {use.field: header[use.column] for use in recognise(header, rows, Known()).layout.uses}
    assert fed["sold_price"] == "Price"
    assert "Sale amount" not in fed.values()
    rows = [[*row[:4], f"{float(row[2]) + 1:.2f}"] for row in rows]
    fed = {use.field: header[use.column] for use in recognise(header, rows, Known()).layout.uses}
    assert fed["sold_price"] == "Sale amount"


@pytest.mark.parametrize(
    ("cells", "asks"),
    [
        (("1,5", "2,25"), False),  # another column writes decimals with a comma: the points are thousands
        (("9.5", "10.5"), True),  # a size keeps its point in any file
        (("9", "10"), True),
    ],
)
def test_marks_of_thousands_by_the_rest_of_the_file(cells: tuple[str, str], asks: bool) -> None:
    layout = Layout(("title", "sold_price", "Lot size"), (Use("title", 0), Use("sold_price", 1)))
    sample = Sample.of(layout.header, [["house", "1.299", cells[0]], ["barn", "2.450", cells[1]]])
    filled = fill(layout, sample, Known())
    assert any(one.id == "decimal:1" for one in questions(filled, sample, Known())) == asks
    assert asks or filled.money[1] == Money(",", ".")


@pytest.mark.parametrize(("last", "asks"), [("2026-03-09", False), ("", True)])
def test_days_of_sale_in_every_row_say_that_all_is_sold(last: str, asks: bool) -> None:
    rows = [["lamp of brass", "12.50", "2026-03-02"], ["vase of glass", "9.00", last]]
    found = recognise(["Title", "Price", "Sold on"], rows, Known())
    assert any(one.id == "status" for one in found.questions) == asks


def test_amounts_with_cents_are_the_price_where_no_name_says_so() -> None:
    rows = [["lamp of brass", "12.50", "3.1415", "1990"], ["vase of glass", "9.95", "2.7183", "2001"]]
    found = recognise(["Title", "In the shop", "Slope", "Made"], rows, Known())
    assert [use.column for use in found.layout.uses if use.field in ("sold_price", "asking_price")] == [1]
    assert not found.certain


@pytest.mark.parametrize("name", ["Lot size", "Own stock no.", "Year built", "Fee", "Profit", "Quantity", "Rank"])
def test_numbers_that_are_none_of_the_fields(name: str) -> None:
    rows = [[f"house {at} in the lane", str(20_000 + 37 * at), str(1960 + at)] for at in range(30)]
    found = recognise(["Title", "Sale price", name], rows, Known())
    assert {use.column: use.field for use in found.layout.uses} == {0: "title", 1: "sold_price"}


def test_columns_that_do_not_compete_are_matched_as_the_solver_matches_them(monkeypatch: pytest.MonkeyPatch) -> None:
    solved, alike, competing = matching._solved, 0, 0
    for export in exports():
        with monkeypatch.context() as patch:
            patch.setattr(matching, "_solved", lambda scores: ())
            quick = matching.recognise(export.header, export.rows, Known()).layout.uses
            patch.setattr(matching, "_uncontested", solved)
            whole = matching.recognise(export.header, export.rows, Known()).layout.uses
        if quick:
            assert quick == whole, export.name
            alike += 1
        else:
            competing += 1
    assert alike
    assert competing
