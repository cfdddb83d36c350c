"""What exported files do to amounts, days, codes and texts: decided for a column, asked where open, never guessed."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from table_files import WRITERS

from sourcing.codes import check_digit
from sourcing.comps import load_file
from sourcing.comps.incoming import Look, look, say
from sourcing.comps.layout import Money
from sourcing.storage import Store, open_store


@pytest.fixture
def store() -> Store:
    return open_store("sqlite://")


def put(path: Path, rows: Sequence[Sequence[str]], delimiter: str = ",") -> Path:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter).writerows(rows)
    path.write_bytes(out.getvalue().encode())
    return path


def prices(store: Store, path: Path, cells: Sequence[str]) -> Look:
    rows = [[f"Mug {at}", cell, "sold", "2026-03-01"] for at, cell in enumerate(cells)]
    return look(store, put(path, [["title", "price paid", "status", "sold on"], *rows]))


@pytest.mark.parametrize(
    ("cells", "amounts", "open_to"),
    [
        (["1,299", "850"], None, {".", ","}),  # thousands or three decimals: nobody can tell
        (["1.299", "850"], None, {".", ","}),
        (["1,299", "850.50"], [129_900, 85_050], None),  # a neighbour tells
        (["12,99", "850,00"], [1_299, 85_000], None),
        (["1 234,56", "1\u202f000,00"], [123_456, 100_000], None),
        (["1’234.50", "2'000.00"], [123_450, 200_000], None),
        (["1,20,000", "1,300.50"], [12_000_000, 130_050], None),  # grouped by two, as in India
        (["1.234,50", "12,00 €", "€ 7,25"], [123_450, 1_200, 725], None),
    ],
)
def test_marks_of_amounts(
    store: Store, tmp_path: Path, cells: list[str], amounts: list[int] | None, open_to: set[str] | None
) -> None:
    seen = prices(store, tmp_path / "a.csv", cells)
    if open_to is not None:
        (asked,) = [one for one in seen.questions if one.id.startswith("decimal:")]
        assert {choice.value[0] for choice in asked.choices} == open_to  # what parts the decimals off
        assert all(cells[0] in {cell for cell, _ in choice.rows} for choice in asked.choices)
        return
    assert seen.questions == ()
    report = load_file(store, tmp_path / "a.csv", layout=seen.layout)
    assert (report.rejected, [row[0] for row in store.read('SELECT sold FROM comp ORDER BY "row"')]) == (0, amounts)


def test_a_sign_that_several_currencies_share_is_asked_about_and_none_are_summed(store: Store, tmp_path: Path) -> None:
    seen = prices(store, tmp_path / "a.csv", ["$9.50", "12.00 EUR", "£7.00", "$8.00"])
    (asked,) = [one for one in seen.questions if one.id == "currency:$"]
    assert {"USD", "CAD", "AUD"} <= {choice.value for choice in asked.choices}
    layout = say(seen, answers={"currency:$": "CAD"})
    load_file(store, tmp_path / "a.csv", layout=layout)
    kept = store.read("SELECT currency, sum(sold), max(out) FROM comp GROUP BY 1 ORDER BY 1")
    assert [row[:2] for row in kept] == [("CAD", 1750), ("EUR", 1200), ("GBP", 700)]
    assert all(out for _, _, out in kept)  # none is the home currency: none counts


@pytest.mark.parametrize(
    "cell",
    [
        "-12.00",
        "(12.00)",
        "0",
        "free",
        "NaN",
        "Infinity",
        "1e308",
        "12-15",
        "0." + "1" * 30,
        "١٢٫٥٠",
        "９．５０",
        "12.5.0",
    ],
)
def test_what_is_no_price_rejects_its_row_with_a_reason(store: Store, tmp_path: Path, cell: str) -> None:
    good = [f"{at}.50" for at in range(1, 21)]
    seen = prices(store, tmp_path / "a.csv", [*good, cell])
    assert seen.layout is not None
    report = load_file(store, tmp_path / "a.csv", layout=seen.layout, keep_good=True)
    assert (report.new, report.rejected) == (20, 1)
    (wrong,) = [one for one in report.problems if one.rejected]
    assert (wrong.row, wrong.value) == (22, cell)
    assert wrong.column
    assert wrong.reason
    assert wrong.fix


def days(store: Store, path: Path, cells: Sequence[str]) -> Look:
    rows = [[f"Mug {at}", "9.50", cell] for at, cell in enumerate(cells)]
    return look(store, put(path, [["title", "sold_price", "sold on"], *rows]))


@pytest.mark.parametrize(
    ("cells", "ended", "open_to"),
    [
        (["2026-03-04", "2026/03/05"], ["2026-03-04", "2026-03-05"], None),
        (["04.03.2026", "23.03.2026"], ["2026-03-04", "2026-03-23"], None),
        (["3/4/26", "3/23/26"], ["2026-03-04", "2026-03-23"], None),
        (["4 March 2026", "23. März 2026"], ["2026-03-04", "2026-03-23"], None),
        (["03/04/2026", "05/06/2026"], None, {"dmy", "mdy"}),  # every day is 12 or less
        (["46085", "46104"], ["2026-03-04", "2026-03-23"], None),  # ECMA-376 part 1, 18.17.4.1
        (["1772582400", "1774224000"], ["2026-03-04", "2026-03-23"], None),
        (["1772582400000", "1774224000000"], ["2026-03-04", "2026-03-23"], None),
        (["2026-03-04T23:59:59-08:00", "2026-03-23T00:30:00+02:00"], ["2026-03-04", "2026-03-23"], None),  # as shown
    ],
)
def test_one_way_of_writing_days_a_column(
    store: Store, tmp_path: Path, cells: list[str], ended: list[str] | None, open_to: set[str] | None
) -> None:
    seen = days(store, tmp_path / "a.csv", cells)
    asked = [one for one in seen.questions if one.id.startswith("days:")]
    if open_to is not None:
        assert open_to <= {choice.value for choice in asked[0].choices}
        return
    if asked:  # spreadsheets count from 1900 or from 1904, and only the user knows
        assert {choice.value for choice in asked[0].choices} == {"serial 1900", "serial 1904"}
        seen = look(store, tmp_path / "a.csv", layout=say(seen, answers={asked[0].id: "serial 1900"}))
    report = load_file(store, tmp_path / "a.csv", layout=seen.layout)
    assert report.rejected == 0
    found = store.read("SELECT date(ended * 86400, 'unixepoch') FROM comp ORDER BY \"row\"")
    assert [day for (day,) in found] == ended


def test_days_that_do_not_exist_are_rejected_and_those_to_come_left_out(store: Store, tmp_path: Path) -> None:
    cells = [*(f"{day}.03.2026" for day in range(10, 28)), "31.02.2026", "01.01.1900", "24.12.2126"]
    seen = days(store, tmp_path / "a.csv", cells)
    report = load_file(store, tmp_path / "a.csv", layout=seen.layout, keep_good=True)
    assert [(one.row, one.rejected) for one in report.problems if one.value] == [(20, True), (21, True), (22, False)]
    assert store.read("SELECT count(*), count(ended) FROM comp") == [(19, 18)]


def test_a_zone_near_midnight_moves_no_day(store: Store, tmp_path: Path) -> None:
    seen = days(store, tmp_path / "a.csv", ["2026-03-04 23:30:00Z", "2026-03-05 00:10:00Z"])
    load_file(store, tmp_path / "a.csv", layout=seen.layout)
    found = store.read("SELECT date(ended * 86400, 'unixepoch') FROM comp ORDER BY \"row\"")
    assert found == [("2026-03-04",), ("2026-03-05",)]


HEADER = ["title", "sold_price", "ended_on", "note"]
ROWS = [[f"Mug {at % 3}", f"{9 + at}.50", f"2026-03-{at + 1:02}", ""] for at in range(9)]


@pytest.mark.parametrize("kind", WRITERS)
def test_the_same_rows_in_a_file_of_any_other_kind_add_nothing(store: Store, tmp_path: Path, kind: str) -> None:
    """Again, in another order, in other bytes, with a further column, and with more rows."""
    first = load_file(store, put(tmp_path / "a.csv", [HEADER, *ROWS]))
    assert first.new == len(ROWS)
    again = [[*row, str(at)] for at, row in enumerate(reversed(ROWS))]
    path = tmp_path / "again"
    path.write_bytes(WRITERS[kind][0]([[*HEADER, "warehouse place"], *again]))
    seen = look(store, path)
    report = load_file(store, path, layout=seen.layout)
    assert (report.new, report.known, report.rejected) == (0, len(ROWS), 0)
    path.write_bytes(WRITERS[kind][0]([[*HEADER, "warehouse place"], *again, ["Jug", "5.00", "2026-03-09", "", "x"]]))
    report = load_file(store, path, layout=look(store, path).layout)
    assert (report.new, report.known) == (1, len(ROWS))


def test_rows_alike_in_one_file_are_kept_and_said(store: Store, tmp_path: Path) -> None:
    report = load_file(store, put(tmp_path / "a.csv", [HEADER, ROWS[0], ROWS[0]]))
    assert report.new == 2
    assert any("identical" in one.reason for one in report.problems)


STRANGE = [
    "x" * 10_000, "🦊🦊🦊", "<script>alert(1)</script>", "{{7*7}}", "Robert'); DROP TABLE comp;--", "two\r\nlines",
    "=HYPERLINK(\"http://127.0.0.1\")", "@SUM(A1)", "-1+1", "\tled by a tab", "\u202egnp.exe\u202c", "a\u200bb",
    "é" + "\u0301" * 20, "\x00nul", "مرحبا mug",
]  # fmt: skip


def test_texts_are_kept_literally(store: Store, tmp_path: Path) -> None:
    """Only outer spaces go, and control characters become spaces, which is noted."""
    rows = [[text, "5.00", "2026-03-01", text[:100]] for text in STRANGE]
    report = load_file(store, put(tmp_path / "<b>a.csv", [HEADER, *rows]))
    assert (report.new, report.rejected) == (len(STRANGE), 0)
    kept = [row[0] for row in store.read('SELECT title FROM comp ORDER BY "row"')]
    for text, found in zip(STRANGE, kept, strict=True):
        plain = "".join(" " if letter < " " else letter for letter in text).strip()
        assert found.split() == plain.split(), text
    noted = {one.row for one in report.problems if "control characters" in one.reason}
    assert noted == {2 + STRANGE.index("two\r\nlines"), 2 + STRANGE.index("\x00nul")}


def test_an_empty_title_needs_another_name_of_the_item(store: Store, tmp_path: Path) -> None:
    report = load_file(store, put(tmp_path / "a.csv", [HEADER, ["", "5.00", "", ""]]), keep_good=True)
    assert report.rejected == 1
    assert "title" in report.problems[0].reason


def code(body: str) -> str:
    return body + str(check_digit(body))


@pytest.mark.parametrize(
    ("as_kept", "was"),
    [
        (code("00952101234").lstrip("0"), code("00952101234")),
        (code("95210123456") + ".0", code("95210123456")),
        (f"{float(code('95210123456')):.11E}", code("95210123456")),
    ],
)
def test_barcodes_taken_for_numbers_are_offered_for_repair(
    store: Store, tmp_path: Path, as_kept: str, was: str
) -> None:
    """GS1 General Specifications, 7.9: the check digit says whether the number is whole again."""
    rows = [
        ["barcode", "title", "sold_price", "sold on"],
        *([as_kept, f"Mug {at}", "5.00", "2026-03-01"] for at in range(4)),
    ]
    seen = look(store, put(tmp_path / "a.csv", rows))
    (asked,) = [one for one in seen.questions if one.id.startswith("zeros:")]
    assert {choice.value for choice in asked.choices} == {"mend", "leave"}
    assert (as_kept, was) in asked.choices[0].rows
    left = None if was.startswith("0") or "E" in as_kept else int(was)  # a number with ".0" lost nothing
    for answer, kept in (("leave", left), ("mend", int(was))):
        fresh = open_store("sqlite://")
        load_file(fresh, tmp_path / "a.csv", layout=say(seen, answers={asked.id: answer}))
        assert {gtin for (gtin,) in fresh.read("SELECT gtin FROM comp")} == {kept}


def test_lost_digits_are_not_invented(store: Store, tmp_path: Path) -> None:
    rows = [["gtin", "title", "sold_price"], ["7.62E+11", "Mug", "5.00"], ["9.5E+12", "Pan", "5.00"]]
    report = load_file(store, put(tmp_path / "a.csv", rows))
    assert (report.new, store.read("SELECT count(gtin) FROM comp")) == (2, [(0,)])
    assert [one.value for one in report.problems] == ["7.62E+11", "9.5E+12"]


def test_digits_of_other_scripts_are_read_by_their_check_digit(store: Store, tmp_path: Path) -> None:
    wide = code("952123456789").translate({ord("0") + at: 0xFF10 + at for at in range(10)})
    rows = [["gtin", "title", "sold_price"], [wide, "Mug", "5.00"]]
    load_file(store, put(tmp_path / "a.csv", rows))
    assert store.read("SELECT gtin FROM comp") == [(int(code("952123456789")),)]


def test_money_of_a_layout_needs_no_guess_a_row(store: Store, tmp_path: Path) -> None:
    """The way of writing is the column's: a cell of another way is rejected, not read the other way."""
    seen = prices(store, tmp_path / "a.csv", ["1.234,50", "12,00", "9,00", "7.25"])
    assert seen.layout is not None
    assert list(seen.layout.money.values()) == [Money(",", ".")]
    report = load_file(store, tmp_path / "a.csv", layout=seen.layout, keep_good=True)
    wrong: list[Any] = [(one.row, one.value) for one in report.problems if one.rejected]
    assert wrong == [(5, "7.25")]
