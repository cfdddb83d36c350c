"""Codes against GS1's own worked examples and printers' manuals (the source stands beside each table)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing.codes import (
    check_digit,
    classify,
    closest,
    compress_upce,
    expand_upce,
    gtin_key,
    isbn10_to_13,
    isbn13_to_10,
    parse_code,
    style_key,
)  # fmt: skip
from sourcing.errors import BadInput


# GS1 General Specifications sec. 7.9; worked examples of GS1, GS1 India, Sweden and UK; EAN-8 and GTIN-14 examples.
@pytest.mark.parametrize(("body", "digit"), [
    ("629104150021", "3"), ("890400021003", "7"), ("730001100001", "7"), ("501234567890", "0"), ("03600024145", "7"),
    ("03600029145", "2"), ("9638507", "4"), ("7351353", "7"), ("8061414112345", "8"), ("1001234500001", "7"),
    ("952123456789", "9"),
])  # fmt: skip
def test_check_digit_of_published_examples(body: str, digit: str) -> None:
    assert check_digit(body) == digit


def test_every_single_digit_error_is_refused() -> None:
    good = "036000291452"
    for at in range(12):
        for digit in "0123456789":
            if digit != good[at]:
                with pytest.raises(BadInput):
                    parse_code(good[:at] + digit + good[at + 1 :])


def test_neighbours_that_differ_by_five_can_be_swapped_unseen() -> None:
    assert parse_code("5012345678900").gtin
    assert parse_code("0512345678900").gtin  # the scheme cannot see it (GS1 General Specifications sec. 7.9)


@pytest.mark.parametrize("spelling", ["036000291452", "0036000291452", "00036000291452", "036000 291452"])
def test_one_key_for_every_length(spelling: str) -> None:
    assert gtin_key(spelling) == "00036000291452"


# ISO 2108 by way of python-stdnum 2.2.
@pytest.mark.parametrize(("ten", "thirteen"), [
    ("0306406152", "9780306406157"), ("0470059028", "9780470059029"), ("316148410X", "9783161484100"),
    ("080442957X", "9780804429573"),
])  # fmt: skip
def test_isbn_both_ways(ten: str, thirteen: str) -> None:
    assert isbn10_to_13(ten) == thirteen
    assert isbn13_to_10(thirteen) == ten


def test_isbn_979_has_no_ten_digit_form() -> None:
    with pytest.raises(BadInput):
        isbn13_to_10("9798886451740")


# UPC-E zero expansion: printer manuals (Printronix, Brother) and the biip manual, as quoted.
UPCE = [
    ("01245608", "012000004568"), ("02758314", "027100005834"), ("04120229", "041200002029"),
    ("08765438", "087600000548"), ("07537743", "075370000073"), ("02137568", "021375000068"),
    ("05170197", "051701000097"), ("01236432", "012300000642"), ("05936631", "059300000661"),
    ("01210806", "012000001086"), ("04252614", "042100005264"), ("01234558", "012345000058"),
    ("01234565", "012345000065"), ("01234572", "012345000072"), ("01234589", "012345000089"),
    ("01234596", "012345000096"),
]  # fmt: skip


@pytest.mark.parametrize(("short", "full"), UPCE)
def test_upce_expands_and_compresses(short: str, full: str) -> None:
    assert expand_upce(short) == expand_upce(short[1:7]) == full
    assert compress_upce(full) == short
    assert short[-1] == full[-1]


def test_upce_edges() -> None:
    with pytest.raises(BadInput):
        compress_upce("036000291452")
    assert expand_upce("123405") == "012340000053"
    assert compress_upce("012340000053") == "01234543"  # not canonical: never a second key


@pytest.mark.parametrize(("text", "gtin", "others"), [
    ("01234565", "00012345000065", ("00000001234565",)), ("12345670", "00000012345670", ()),
    ("04252614", "00042100005264", ()), ("96385074", "00000096385074", ()),
])  # fmt: skip
def test_eight_digits_may_be_two_numbers(text: str, gtin: str, others: tuple[str, ...]) -> None:
    code = parse_code(text)
    assert (code.gtin, code.alternatives) == (gtin, others)


def test_the_symbology_settles_eight_digits() -> None:
    assert parse_code("01234565", symbology="EAN8").gtin == "00000001234565"
    assert parse_code("01234565", symbology="UPCE").gtin == "00012345000065"


# GS1 General Specifications sec. 1.4 and 2.1.11-2.1.12.
@pytest.mark.parametrize(("text", "kind"), [
    ("212345678909", "store tag"), ("412345678903", "store tag"), ("0201234567899", "store tag"),
    ("0401234567893", "store tag"), ("2001234567893", "store tag"), ("2912345678906", "store tag"),
    ("20123451", "store tag"), ("9521234567899", "demo"), ("9780306406157", "product"), ("9771234567898", "product"),
    ("9801234567892", "refund"), ("9811234567891", "coupon"), ("9901234567899", "coupon"),
    ("512345678900", "not a product"), ("312345678906", "product"),
])  # fmt: skip
def test_prefix_classes(text: str, kind: str) -> None:
    code = parse_code(text)
    assert code.kind == kind
    assert bool(code.note) == (kind != "product")


def test_company_internal_and_unassigned() -> None:
    assert classify("00000000123457") == "store tag"
    for prefix in ("140", "199", "953", "970", "984", "989"):
        assert classify(f"0{prefix}0000000000"[:14]) == "unknown"


# Unicode UAX 15 and the marks that NFKC leaves in place.
@pytest.mark.parametrize(("text", "key"), [
    ("\uff11\uff12\uff13\uff14\uff15", "12345"), ("\uff21\uff22\uff0d\uff11\uff12\uff13", "AB123"), ("①", "1"), ("²", "2"),  # noqa: E501
    ("Ⅷ", "VIII"), ("ﬁ", "FI"), ("ab\u00a012", "AB12"), ("AB\u201112", "AB12"), ("AB\u201312", "AB12"),
    ("AB\u221212", "AB12"), ("AB\u200b1\u00ad2", "AB12"), ("AB\u0663", "AB3"), ("ｶﾞ", "ガ"), ("ab-12 / c", "AB12C"),
])  # fmt: skip
def test_style_codes_have_one_spelling(text: str, key: str) -> None:
    assert style_key(text) == key
    assert parse_code(f"  {text} ").typed == text


@given(st.text(max_size=40))
def test_style_key_is_idempotent(text: str) -> None:
    assert style_key(style_key(text)) == style_key(text)


@given(st.from_regex(r"\A[1-9][0-9]{11}\Z"))
def test_padding_keeps_the_check_digit(body: str) -> None:
    full = body + check_digit(body)
    assert gtin_key(full) == full.zfill(14) == gtin_key("0" + full)


@pytest.mark.parametrize("text", ["", "  ", "---", "x" * 10_000, "036000291453"])
def test_bad_codes_say_what_to_do(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_code(text)
    assert caught.value.wrong


def test_a_miss_suggests_the_closest() -> None:
    assert closest("AB124", ["AB123", "ZZ999"]) == ["AB123"]
    assert closest("QQQQQ", ["AB123"]) == []
