"""Lines cut into columns at once say what the csv module says of them."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sourcing.comps import lines as cut
from sourcing.comps import read
from sourcing.comps.lines import Lines
from sourcing.errors import BadInput

CELL = st.text(st.sampled_from('a1 ,"\n\r\x1f\x85\u2028é'), max_size=5)
LINE = st.lists(CELL, min_size=1, max_size=4)
END = st.sampled_from(("\n", "\r\n", "\r"))


def by_blocks(text: str) -> tuple[list[int], list[list[str]], list[tuple[int, int]]]:
    """Return the numbers, the rows and the ragged ones as the records of a file hand them out."""
    records = read.TextRecords(io.StringIO(text, newline=""), "")
    numbers: list[int] = []
    rows: list[list[str]] = []
    ragged: list[tuple[int, int]] = []
    for block in records.blocks():
        numbers += block.numbers
        rows += block.rows
        ragged += block.ragged
    return numbers, rows, ragged


def faulty(text: str) -> bool:
    """Tell whether the records of a file say of some row, or of the header, that it cannot be read."""
    try:
        records = read.TextRecords(io.StringIO(text, newline=""), "")
    except BadInput:
        return True
    return any(block.faults for block in records.blocks())


def by_rows(text: str, width: int) -> tuple[list[int], list[list[str]], list[tuple[int, int]]]:
    """Do the same with the csv module, a row at a time."""
    numbers: list[int] = []
    rows: list[list[str]] = []
    ragged: list[tuple[int, int]] = []
    for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), strict=True), 1):
        if number == 1 or not any(row):
            continue
        if len(row) < width or any(row[width:]):
            ragged.append((number, len(row)))
        else:
            numbers.append(number)
            rows.append(row[:width])
    return numbers, rows, ragged


@settings(max_examples=400, deadline=None)
@given(
    st.lists(LINE, max_size=12), END, st.integers(1, 4), st.booleans(), st.booleans(), st.sampled_from((1, 7, 40, 999))
)
def test_whatever_the_csv_module_wrote_is_read_the_same(
    lines: list[list[str]], end: str, width: int, even: bool, raw: bool, piece: int
) -> None:
    header = [f"column {place}" for place in range(width)]
    if even:
        lines = [(line * width)[:width] for line in lines]
    if raw:  # as it comes, quotes and all
        text = end.join(",".join(line) for line in [header, *lines])
    else:
        out = io.StringIO(newline="")
        csv.writer(out, lineterminator=end).writerows([header, *lines])
        text = out.getvalue()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(read, "BLOCK", 3)
        patch.setattr(cut, "PIECE", piece)
        try:
            wanted = by_rows(text, width)
        except csv.Error:
            assert faulty(text)
        else:
            assert by_blocks(text) == wanted


def test_plain_lines_are_cut_and_odd_ones_are_left_where_they_were() -> None:
    lines = Lines(["aa,bb\r\n", '"c,c",d""d\r\n', "ee,ff\r\n", '"over\r\n', 'two",h\r\n', "gg,hh"])
    assert lines.columns(2, 2, longest=20) == [["aa", "c,c"], ["bb", 'd""d']]
    assert lines.columns(2, 2, longest=20) is None  # a cell runs over two lines
    assert next(lines) == "ee,ff\r\n"
    assert lines.columns(2, 2, longest=20) is None
    assert [next(lines), next(lines)] == ['"over\r\n', 'two",h\r\n']
    assert lines.columns(2, 2, longest=20) == [["gg"], ["hh"]]
    assert list(lines) == []
    assert Lines(["a,b,c\n", "a,b\n"]).columns(2, 3, longest=9) is None
    assert Lines(["long,line\n"]).columns(1, 2, longest=5) is None
    assert Lines(['"a,a",bb\n', "cc,dd"]).columns(5, 2, longest=9) == [["a,a", "cc"], ["bb", "dd"]]


def test_a_stream_is_cut_piece_by_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cut, "PIECE", 8)
    lines = Lines(io.StringIO('aa,bb\r\ncc,dd\r\nee,"f"\r\ngg\r\n,\r\nhh,ii', newline=""))
    assert lines.columns(9, 2, longest=20) == [["aa", "cc"], ["bb", "dd"]]
    assert lines.columns(9, 2, longest=20) is None
    assert [next(lines), next(lines)] == ['ee,"f"\r\n', "gg\r\n"]
    assert lines.columns(9, 2, longest=20) is None  # a blank row
    assert next(lines) == ",\r\n"
    assert lines.columns(9, 2, longest=20) == [["hh"], ["ii"]]
    assert list(lines) == []
