"""Whole files: encodings, quoting, limits, headers, workbooks, and the words they are refused with."""

from __future__ import annotations

import io
import os
import zipfile
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from sourcing.comps import load_file, overview, read
from sourcing.comps.files import limits, process
from sourcing.errors import BadInput, NotFound
from sourcing.storage import Store, open_store

GOOD = "title,sold_price,status\nRunner,9.50,sold\n"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(str(tmp_path / "data.db"))


def load(store: Store, content: str | bytes, **options: object) -> object:
    data = content.encode() if isinstance(content, str) else content
    return load_file(store, io.BytesIO(data), name="file.csv", **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\n\n\n", "no header"),
        ("title,sold_price\n", "no rows"),
        ("name,price\nx,1\n", "no column that says what the item is"),
        ("titel,sold_price\nx,1\n", "titel looks like title"),
        ("title,asking_price\nx,1\n", "neither a status nor a sold_price"),
        ("title,sold_price\nCafé,1\n".encode("latin-1"), "not UTF-8: the byte 0xe9"),
        (",".join(["title", "status"] + ["c"] * 600) + "\nx\n", "602 columns"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old or encrypted"),
        (b"PK\x03\x04 and then nothing", "cut short or damaged"),
    ],
)
def test_files_refused_as_a_whole(store: Store, content: str | bytes, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        load(store, content)
    assert overview(store).comps == 0
    assert store.read("SELECT count(*) FROM batch") == [(0,)]


@pytest.mark.parametrize(
    ("content", "row", "words"),
    [
        ('title,sold_price\nfine,1\n"open quote,1\nnext,2\n', 3, "A quote is opened in it and never closed."),
        ('title,sold_price\nfine,1\n"open quote,1\n"next",2\n', 3, "A quote is opened in it and never closed."),
        ('title,sold_price\nfine,1\n"a"b,1\nnext,2\n', 3, "Text follows a closing quote."),
        (f"title,sold_price\nfine,1\n{'x' * 70_000},1\nnext,2\n", 3, "A cell is longer than 65,536 characters."),
    ],
)
def test_a_row_that_cannot_be_read_leaves_the_others(store: Store, content: str, row: int, words: str) -> None:
    report = load(store, content)
    assert report.batch_id is None  # one rejected row stores nothing, unless told otherwise
    report = load(store, content, keep_good=True)
    assert [(p.row, p.reason, p.rejected) for p in report.problems] == [(row, words, True)]
    assert (report.read, report.new, report.rejected) == (3, 2, 1)
    assert store.read("SELECT title FROM comp ORDER BY title") == [("fine",), ("next",)]


def test_missing_file(store: Store, tmp_path: Path) -> None:
    with pytest.raises(NotFound, match=r"nowhere\.csv"):
        load_file(store, tmp_path / "nowhere.csv")
    with pytest.raises(BadInput, match="directory"):
        load_file(store, tmp_path)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_byte_order_mark_and_header_spelling(store: Store, end: str, mark: str) -> None:
    report = load(store, mark + end.join([" TITLE ,Sold Price,status", '"Run, ""low""",9.50,sold', ""]))
    assert (report.read, report.new) == (1, 1)
    assert store.read("SELECT title, sold FROM comp") == [('Run, "low"', 950)]


def test_row_numbers_count_blank_rows_and_the_header(store: Store) -> None:
    report = load(store, "title,sold_price\nA,1\n\n,\nB,zero\nC\nD,1,,\nE,1,,surplus\n", keep_good=True)
    assert [(p.row, p.column, p.value) for p in report.problems] == [
        (5, "sold_price", "zero"),
        (6, "", "1 cells"),
        (8, "", "4 cells"),
    ]
    assert (report.read, report.new, report.rejected) == (5, 2, 3)


def test_unknown_columns_are_noted_and_a_mapping_names_them(store: Store) -> None:
    report = load(store, "Item Name,Titel,sold_price\nRunner,x,9\n", mapping={"item name": "title"})
    assert [(p.column, p.rejected) for p in report.problems] == [("Titel", False)]
    assert "title" in report.problems[0].fix
    assert store.read("SELECT title FROM comp") == [("Runner",)]


def test_html_and_long_titles_are_kept_literally(store: Store) -> None:
    hostile = "<script>alert(1)</script>{{7*7}}' OR 1=1"
    load(store, f'title,sold_price\n"{hostile}",1\n{"long " * 1999}tail,1\n')
    titles = [row[0] for row in store.read("SELECT title FROM comp")]
    assert hostile in titles
    assert max(map(len, titles)) == 9999
    assert load(store, f"title,sold_price\n{'x' * 10_001},1\n").rejected == 1


def test_row_limit(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(read, "MOST_ROWS", 3)
    assert load(store, "title,sold_price\n" + "A,1\n" * 3).new == 3
    with pytest.raises(BadInput, match="more than 3 rows"):
        load(store, "title,sold_price\n" + "A,1\n" * 4)


def test_size_limit(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "LARGEST_CSV", 50)
    with pytest.raises(BadInput, match="larger than"):
        load(store, GOOD * 2)


def test_a_stream_that_cannot_seek(store: Store) -> None:
    ends = os.pipe()
    with os.fdopen(ends[1], "wb") as write:
        write.write(GOOD.encode())
    with os.fdopen(ends[0], "rb") as stream:
        assert load_file(store, stream, name="piped.csv").new == 1


@settings(deadline=None)  # it asks for words, not for speed, which a busy machine decides
@given(st.binary(max_size=400), st.integers(0, len(GOOD)))
def test_random_bytes_give_words_not_a_crash(noise: bytes, at: int) -> None:
    store = open_store("sqlite://")
    data = GOOD.encode()
    for content in (noise, data[:at] + noise + data[at:]):
        try:
            report = load(store, content, keep_good=True)
        except (BadInput, NotFound):
            continue
        assert report.read == report.new + report.known + report.rejected
    store.close()


def book(*rows: list[object]) -> bytes:
    made = Workbook()
    for row in rows:
        made.active.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def test_workbook_reads_like_the_same_csv(store: Store) -> None:
    head = ["gtin", "title", "asking_price", "sold_price", "listed_on", "ended_on", "status"]
    report = load(store, book(
        head,
        [9521234567899, "Runner", 12.5, 9, date(2026, 1, 2), datetime(2026, 1, 9, 13, 5), "sold"],
        ["9521234567899", "Runner", 12.5, 19.99 + 1e-13, "2026-01-03", None, "sold"],
        [None, "Runner", -1, None, None, None, "open"],
    ), keep_good=True)  # fmt: skip
    assert [(p.row, p.column, p.value) for p in report.problems] == [(4, "asking_price", "-1")]
    assert store.read("SELECT gtin, ask, sold, listed, ended FROM comp ORDER BY sold") == [
        (9521234567899, 1250, 900, 20455, 20462),
        (9521234567899, 1250, 1999, 20456, None),
    ]
    text = (
        "gtin,title,asking_price,sold_price,listed_on,ended_on,status\n"
        "9521234567899,Runner,12.50,9.00,2026-01-02,2026-01-09,sold\n"
    )
    again = load(store, text)
    assert (again.new, again.known) == (0, 1)


def archive(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in parts.items():
            made.writestr(name, content)
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (archive(a=bytes(5_000_000)), "packed more than 200 times"),
        (archive(**{f"p{n}": b"" for n in range(501)}), "501 parts"),
        (archive(**{"[Content_Types].xml": b"<x/>", "xl/workbook.xml": b"<x/>"}), "cannot be read as a spreadsheet"),
        (archive(**{"[Content_Types].xml": b"<x/>", "word/document.xml": b"<x/>"}), "no spreadsheet"),
        (book(["title", "sold_price"], ["A", 1])[:-300], "cut short or damaged"),
    ],
)
def test_workbooks_refused(store: Store, content: bytes, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        load(store, content)


def test_a_far_cell_kills_the_child_only(store: Store) -> None:
    made = Workbook()
    made.active["A1"] = "title"
    made.active["XFD1048576"] = "far"
    out = io.BytesIO()
    made.save(out)
    with pytest.raises(BadInput, match=r"too complex|cannot be read|columns|longer than"):
        load(store, out.getvalue())
    assert load(store, GOOD).new == 1


def test_a_slow_child_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "book.xlsx"
    path.write_bytes(book(["title"], ["A"]))
    monkeypatch.setattr(limits, "WALL_SECONDS", 0.001)
    with pytest.raises(BadInput, match="longer than"):
        process.to_csv(path, tmp_path / "sheet.csv")
