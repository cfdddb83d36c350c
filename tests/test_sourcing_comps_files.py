"""Files of every kind become the same rows, and what cannot be read is told of row by row."""

from __future__ import annotations

import io
import tracemalloc
from typing import Any

import fuzz_files
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from table_files import WRITERS, delimited

from sourcing.comps.files.blocks import Fault
from sourcing.comps.layout import FileForm
from sourcing.comps.read import opened
from sourcing.comps.sniff import sniff
from sourcing.errors import BadInput

HEADER = ["alpha", "beta", "gamma"]
_PLAIN = st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufeff\ufffe\uffff_")
SOME = st.sampled_from(list("a1 ,;|\t\n\"'=+-@<&é漢😀"))
SHEET_TEXT = st.text(SOME | _PLAIN, max_size=6)  # XML has no control characters; _x000D_ is its escape for some
ANY_TEXT = st.text(
    SOME | st.characters(exclude_categories=["Cs"], exclude_characters="\ufeff") | st.just("\r"), max_size=6
)


def read(content: bytes, form: FileForm | None = None) -> tuple[list[str], list[list[str]], list[int], list[Any]]:
    """Return header, rows, their numbers, and what was told of single rows."""
    with opened(io.BytesIO(content), form) as records:
        blocks = list(records.blocks())
        rows = [row for block in blocks for row in block.rows]
        numbers = [number for block in blocks for number in block.numbers]
        told = [fault for block in blocks for fault in block.faults]
        told += [(number, cells) for block in blocks for number, cells in block.ragged]
        return records.header, rows, numbers, told


@pytest.mark.parametrize("kind", WRITERS)
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_any_table_comes_back_as_it_was_written(kind: str, data: st.DataObject) -> None:
    writer, form = WRITERS[kind]
    text = SHEET_TEXT if "xlsx" in kind or "ods" in kind else ANY_TEXT
    rows = data.draw(
        st.lists(st.lists(text, min_size=3, max_size=3), min_size=1, max_size=6).filter(
            lambda rows: any(map(any, rows))
        )
    )
    header, found, numbers, told = read(writer([HEADER, *rows]), form)
    assert header == HEADER
    assert told == []
    assert found == [row for row in rows if any(row)]
    at_first = 1 if "json" in kind else 2  # JSON lines have no line for the header
    assert numbers == [at_first + at for at, row in enumerate(rows) if any(row)]


def test_damaged_files_are_read_or_refused() -> None:
    came = fuzz_files.main(300, first=20_000)
    assert came["refused"] > 20
    assert came["read"] + came["read but for some rows"] > 100


def form_of(content: bytes, name: str = "", **picked: str) -> FileForm:
    seen = sniff(io.BytesIO(content), name, **picked)
    assert seen.asks == ""
    return seen.form


TABLE = [["title", "price", "status"], ["Mug, small", "12,50", "sold"], ["Pan", "9,00", "sold"], ["Jug", "", "open"]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_the_delimiter_is_the_one_that_gives_even_rows(delimiter: str, end: str) -> None:
    content = delimited(TABLE, delimiter, end=end)
    assert form_of(content) == FileForm(delimiter=delimiter)
    assert read(content)[:2] == (TABLE[0], TABLE[1:])


@pytest.mark.parametrize(
    ("text", "delimiter", "header"),
    [
        ("title\nlong walnut mill\nlittle ladle\n", ",", ["title"]),
        ("title\nMug, small\nPan\nBowl, big, blue\n", ";", ["title"]),  # commas inside the one column
        ("title;price\nA;1,5\nB;2,5\nC;3,5\n", ";", ["title", "price"]),  # decimal commas are as even as semicolons
        ("title;price;size\nA, b;1;\nB;2,5;9\nC;3;4\n", ";", ["title", "price", "size"]),
        ("sep=|\ntitle|price\nA|1\n", "|", ["title", "price"]),
        ("title,price\n", ",", ["title", "price"]),
        ('"title, short",price\n"A | b",1\n', ",", ["title, short", "price"]),
    ],
)
def test_delimiters_that_are_easily_mistaken(text: str, delimiter: str, header: list[str]) -> None:
    seen = sniff(io.BytesIO(text.encode()))
    assert (seen.form.delimiter, list(seen.header)) == (delimiter, header)


def test_lines_above_the_header_and_totals_below_it_are_left_out_and_said() -> None:
    text = "Sales report\nMade on,2026-03-01\n\ntitle,sold_price,status\nMug,9,sold\nJug,8,sold\n\nTotal,17,\n"
    seen = sniff(io.BytesIO(text.encode()))
    assert seen.form.header_row == 4
    assert any("header was found in row 4" in note for note in seen.notes)
    header, rows, numbers, told = read(text.encode())
    assert header == ["title", "sold_price", "status"]
    assert (rows, numbers) == ([["Mug", "9", "sold"], ["Jug", "8", "sold"]], [5, 6])
    assert [(fault.row, fault.value, fault.rejected) for fault in told] == [(8, "Total", False)]
    # The user knows better: an earlier row is the header.
    assert read(text.encode(), FileForm(header_row=2))[0] == ["Made on", "2026-03-01", "column 3"]
    # Neither a listing whose title begins so nor one that fills what the others fill is taken for totals.
    for last in ("Total eclipse poster,17,", "Total,17,sold,x"):
        text = f"title,sold_price,status,size\nMug,9,sold,s\nJug,8,sold,m\n{last}\n"
        assert [row for row in read(text.encode())[1] if row[0].startswith("Total")] or read(text.encode())[3]
        assert all(not isinstance(fault, Fault) for fault in read(text.encode())[3])


def test_no_header_is_invented_where_the_first_row_is_the_fullest() -> None:
    for text in ("title,note,size\nMug,,\nJug,,\nPan,,9\n", "title,price\nMug\nJug,1\n"):
        assert sniff(io.BytesIO(text.encode())).form.header_row == 1
    assert any("numbers or dates" in note for note in sniff(io.BytesIO(b"Mug,9\nJug,8\n")).notes)
    assert read(b"Mug,9\nJug,8\n", FileForm(header_row=0))[:3] == (
        ["column 1", "column 2"],
        [["Mug", "9"], ["Jug", "8"]],
        [1, 2],
    )


def test_names_given_twice_or_not_at_all_are_told_apart() -> None:
    header, rows, _, told = read(b"title,price,,PRICE,price (2),\nMug,1,x,2,3,y\nJug,1,x,2,3,y\n")
    assert header == ["title", "price", "column 3", "PRICE (3)", "price (2)", "column 6"]
    assert rows == [["Mug", "1", "x", "2", "3", "y"], ["Jug", "1", "x", "2", "3", "y"]]
    assert told == []
    assert (
        sum("no name" in note or "this name" in note for note in sniff(io.BytesIO(b"a,a,\n1,2,3\n1,2,3\n")).notes) == 2
    )


@pytest.mark.parametrize(
    ("text", "rows", "told"),
    [
        # RFC 4180, section 2, rules 1 to 7.
        ("a,b\r\naaa,bbb\r\nzzz,yyy\r\n", [["aaa", "bbb"], ["zzz", "yyy"]], []),
        ("a,b\r\naaa,bbb\r\nzzz,yyy", [["aaa", "bbb"], ["zzz", "yyy"]], []),
        ('a,b\r\n"aaa","b\r\nbb"\r\nzzz,yyy\r\n', [["aaa", "b\r\nbb"], ["zzz", "yyy"]], []),
        ('a,b\r\n"a""aa","b,bb"\r\n', [['a"aa', "b,bb"]], []),
        ("a,b\r\n aaa , bbb\r\n", [[" aaa ", " bbb"]], []),
        # Line ends mixed in one file; a bare CR ends a line too.
        ("a,b\nc,d\r\ne,f\rg,h\n", [["c", "d"], ["e", "f"], ["g", "h"]], []),
        # Rows that do not fit; cells beyond the header that are empty do no harm.
        ("a,b\nc\nd,e,f\ng,h,,\n", [["g", "h"]], [(2, 1), (3, 3)]),
        ("a,b\n\nc,d\n,\n", [["c", "d"]], []),
    ],
)
def test_rows_as_the_standard_writes_them_and_others(text: str, rows: list[list[str]], told: list[Any]) -> None:
    assert read(text.encode())[1::2] == (rows, told)


@pytest.mark.parametrize("behind", ["", '"last","9"\n', 'x,""\n', '"two\nlines",1\n'])
def test_a_quote_never_closed_costs_its_own_row_only(behind: str) -> None:
    before = "".join(f"row {at},1\n" for at in range(2, 400))
    text = f'title,price\n{before}"open,2\n' + "".join(f"row {at},1\n" for at in range(401, 9_000)) + behind
    _, rows, numbers, told = read(text.encode())
    assert [fault.row for fault in told] == [400]
    assert "never closed" in told[0].reason
    assert [row[0] for row in rows][: 9_000 - 3] == [f"row {at}" for at in range(2, 9_000) if at != 400]
    assert numbers[398] == 401


def test_cells_and_rows_above_the_limit() -> None:
    text = "title,price\nfine,1\n" + "x" * 65_537 + ",2\n" + '"' + "y\n" * 40_000 + '",3\nlast,4\n'
    _, rows, _, told = read(text.encode())
    assert rows[0] == ["fine", "1"]
    assert rows[-1] == ["last", "4"]
    assert told[0] == Fault(3, "x" * 60, "A cell is longer than 65,536 characters.", told[0].fix)
    assert "longer than" in told[1].reason
    assert read(b"title,price\n" + b"x" * 65_536 + b",2\n")[1][0][0] == "x" * 65_536
    with pytest.raises(BadInput, match=r"Row 2 goes on for more than|without a line break"):
        read(b"title,price\n" + b'"a\n",' * 1_000_000 + b"\n")
    with pytest.raises(BadInput, match="without a line break"):
        read(b"x" * 6_000_000)


def test_a_million_columns_are_refused_at_the_cap() -> None:
    with pytest.raises(BadInput, match=r"1,000,000 columns.*Up to 500"):
        read(b",".join([b"c"] * 1_000_000) + b"\n1\n")


def test_nul_and_control_characters_are_handed_on_for_the_check_of_cells() -> None:
    assert read(b"title,price\na\0b,1\nc\x07d,2\n")[1] == [["a\0b", "1"], ["c\x07d", "2"]]


@pytest.mark.parametrize(
    ("encoding", "text"),
    [
        ("cp1252", "title,price\nCafé – crème,1\nÄpfel,2\nsale €5,3\n"),
        ("cp1250", "title,price\nžluťoučký kůň,1\nŁódź,2\n"),
        ("iso8859-2", "title,price\nžluťoučký kůň,1\nŁódź,2\n"),
        ("cp1251", "title,price\nКрасные туфли,1\nсиние,2\n"),
        ("cp932", "title,price\n赤いランニング靴,1\nコップ,2\n"),
        ("cp949", "title,price\n빨간 운동화,1\n"),
        ("gb18030", "title,price\n红色的跑鞋,1\n大杯子,2\n"),
        ("utf-16-le", "title,price\nCafé,1\n"),
        ("utf-16-be", "title,price\nCafé,1\n"),
    ],
)
def test_an_encoding_that_the_bytes_do_not_say_is_asked_for(encoding: str, text: str) -> None:
    content = text.encode(encoding)
    seen = sniff(io.BytesIO(content))
    assert seen.asks == "encoding"
    shown = {one.encoding: one.rows for one in seen.candidates}
    lines = text.splitlines()
    assert shown[encoding] == tuple(
        lines[:3] if "utf" in encoding else [line for line in lines if not line.isascii()][:3]
    )
    assert len(set(shown.values())) == len(shown)  # no two say the same
    with pytest.raises(BadInput, match=r"UTF-8|UTF-16"):
        read(content)
    form = form_of(content, encoding=encoding)
    assert read(content, form)[1] == [line.split(",") for line in lines[1:]]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
def test_marks_and_utf8_need_no_question(encoding: str) -> None:
    content = "title,price\nCafé 漢,1\n".encode(encoding)
    assert read(content)[:2] == (["title", "price"], [["Café 漢", "1"]])
    assert form_of(content).encoding == encoding.removesuffix("-sig")
    if encoding.startswith("utf-16"):
        assert read("\ufefftitle,price\nCafé,1\n".encode("utf-16-be"))[1] == [["Café", "1"]]


def test_two_encodings_in_one_file_cost_the_rows_of_the_other() -> None:
    good = [f"naïve café {at},1".encode() for at in range(30)]
    content = b"\n".join([b"title,price", *good, "café,2".encode("cp1252"), b"last,3", b""])
    seen = sniff(io.BytesIO(content))
    assert seen.asks == "encoding"
    assert seen.candidates[0].encoding == "utf-8"
    _, rows, _, told = read(content, form_of(content, encoding="utf-8"))
    assert len(rows) == 31
    assert [(fault.row, fault.value, fault.reason) for fault in told] == [
        (32, "caf?", "It holds bytes that are no UTF-8.")
    ]
    # Far behind the start of the file too.
    content = b"title,price\n" + b"plain,1\n" * 60_000 + "Gruß,2\n".encode("cp1252")
    seen = sniff(io.BytesIO(content))
    assert {"cp1252": ("Gruß,2",)}.items() <= {one.encoding: one.rows for one in seen.candidates}.items()


@pytest.mark.parametrize("encoding", ["zip", "unicode_escape", "rot13", "nothing"])
def test_only_encodings_of_the_list_are_used(encoding: str) -> None:
    with pytest.raises(BadInput, match="none that is read"):
        read(b"title,price\nMug,1\n", FileForm(encoding=encoding))


def test_delimiters_of_the_list_only() -> None:
    with pytest.raises(BadInput, match="divides no cells"):
        read(b"title,price\nMug,1\n", FileForm(delimiter="\n"))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"%PDF-1.7 ...", "It is a PDF"),
        (b"\x1f\x8b\x08 ...", "gzip"),
        (b"<!doctype html><table><tr><td>title</td></tr></table>", "web page"),
        (b'[{"title": "Mug"}]', "one JSON list"),
        (b'{\n "title": "Mug",\n "price": 1\n}\n', "over several lines"),
        (b"PAR1 and nothing more", "cannot be read as a table"),
        (bytes(range(128, 256)) * 9, "not UTF-8"),
    ],
)
def test_files_of_other_kinds_are_refused_in_words(content: bytes, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        read(content)


def test_memory_does_not_grow_with_the_file() -> None:
    def peak(rows: int) -> int:
        content = io.BytesIO(b"title,price\n" + b'"a title, quoted",12.50\n' * rows)
        tracemalloc.start()
        with opened(content) as records:
            assert sum(len(block.numbers) for block in records.blocks()) == rows
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    assert peak(60_000) < 1.5 * peak(20_000)


def test_noise_of_computed_numbers_is_rounded_away() -> None:
    """IEEE 754, binary64: 15 significant digits survive, what lies beyond is no digit of the user's."""
    lines = b"""{"a": 34.379999999999995, "b": 12.50}
{"a": 1e2, "b": 952123456789012345}
{"a": 0.1234567890123, "b": 1}
"""
    assert read(lines)[1] == [["34.38", "12.50"], ["100", "952123456789012345"], ["0.1234567890123", "1"]]
