"""Columns read at once say what reading them cell by cell says."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sourcing.codes import check_digit
from sourcing.comps import cells, read, translate, values
from sourcing.comps.layout import Layout, Money, Use
from sourcing.comps.whole import amounts, codes, some_codes, some_styles

PLAIN = st.integers(1, 99_999_999).map(lambda cents: f"{cents / 100:.2f}")
ODD = st.text(st.sampled_from("0123456789.,-+e' \n\r\x00٣²€"), max_size=9)
ANY_AMOUNT = st.one_of(PLAIN, st.just(""), PLAIN.map(lambda text: "0" + text), ODD, st.text(max_size=6))
MOSTLY_PLAIN = st.lists(st.one_of(PLAIN, st.just("")), min_size=1, max_size=40)
SOME_ODD = st.lists(ANY_AMOUNT, min_size=1, max_size=8)
GTIN = st.text("0123456789", min_size=12, max_size=12).map(lambda digits: digits + check_digit(digits))
USUAL = GTIN.map(lambda text: "5" + text[1:12]).map(lambda digits: digits + check_digit(digits))
ANY_CODE = st.one_of(USUAL, GTIN, st.just(""), st.text("0123456789٣ -", max_size=14), st.text(max_size=13))


def one_by_one(read_one: Any, column: list[str]) -> list[Any] | None:
    """Read cell by cell; None where there is something to say about a cell."""
    told = [read_one(cell) for cell in column]
    return None if any(finding for _, finding in told) else [value for value, _ in told]


@settings(deadline=None)
@given(st.one_of(MOSTLY_PLAIN, SOME_ODD))
@example(["1.00\n2.00", ""])
@example(["0.00"])
@example(["1000000.00"])
@example(["999999.99"])
def test_amounts_read_as_one_by_one(column: list[str]) -> None:
    found = amounts(column)
    if found is not None:
        assert found == one_by_one(values.money, column)


@settings(deadline=None)
@given(st.one_of(MOSTLY_PLAIN, SOME_ODD), st.sampled_from([Money(","), Money(",", "."), Money(".", ","), Money()]))
def test_amounts_of_other_marks_read_as_their_layout_reads_them(column: list[str], marks: Money) -> None:
    if marks.decimal == ",":
        column = [cell.translate(str.maketrans(",.", ".,")) for cell in column]
    source = translate.sources(Layout(("price",), (Use("sold_price", 0),), money={0: marks}))["sold_price"]
    found = amounts(column, mark=source.decimal)
    if found is not None:
        assert found == one_by_one(source.reader(values.money), column)


STYLE = st.text("abZ09-", max_size=8)


@settings(deadline=None)
@given(st.lists(st.one_of(STYLE, STYLE, st.text(max_size=6)), max_size=8))
@example(["AB-1", "a\nb"])
@example(["AB-1", "-", ""])
@example(["AB-1", "x" * 201])
@example(["AB-1", "cd½"])
def test_styles_read_as_one_by_one(column: list[str]) -> None:
    found = some_styles(column)
    assert found in ({}, {cell: values.style(cell)[0] for cell in column})
    assert not found or not any(values.style(cell)[1] for cell in column)


def test_plain_styles_are_read_together() -> None:
    assert some_styles(["ab-12", "CD7", ""]) == {"ab-12": ("ab-12", "AB12"), "CD7": ("CD7", "CD7"), "": ("", "")}


@settings(deadline=None)
@given(st.one_of(st.lists(USUAL, min_size=1, max_size=20), st.lists(ANY_CODE, min_size=1, max_size=8)))
def test_codes_read_as_one_by_one(column: list[str]) -> None:
    found = codes(column)
    if found is not None:
        assert found == one_by_one(values.gtin, column)
    some = some_codes(column)
    assert all(values.gtin(cell) == (code, None) for cell, code in some.items())
    assert (found is None) is (set(column) != some.keys())


@given(MOSTLY_PLAIN)
def test_plain_amounts_are_read_at_once(column: list[str]) -> None:
    assert amounts(column) is not None
    assert amounts([cell.replace(".", ",") for cell in column], mark=",") == amounts(column)
    assert amounts(column, digits=0) is None
    assert amounts([*column, "9"]) is None


@settings(deadline=None)
@given(st.lists(st.tuples(ANY_AMOUNT, st.one_of(PLAIN, st.just("")), ANY_CODE), min_size=1, max_size=8))
def test_a_block_reads_the_same_whichever_way_its_columns_are_read(rows: list[tuple[str, str, str]]) -> None:
    block = read.Block(range(2, 2 + len(rows)), list(zip(*rows, strict=True)))
    names = ("asking_price", "sold_price", "gtin")
    found = []
    for at_once in (True, False):
        both = cells.Cells({name: translate.Source(name, place) for place, name in enumerate(names)}, date(2026, 1, 1))
        with pytest.MonkeyPatch.context() as patch:
            if not at_once:
                patch.setattr(both, "_whole", {})
                patch.setattr(cells, "some_codes", lambda cells: {})
            found.append(both.read(block))
    assert found[0] == found[1]
