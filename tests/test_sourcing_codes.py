"""Product codes held to published values: GS1 General Specifications, ISO 2108 (ISBN), Unicode UAX 15."""

import pytest

from sourcing.codes import (
    check_digit,
    compress_upce,
    expand_upce,
    gtin_key,
    isbn10_to_13,
    isbn13_to_10,
    parse_code,
    style_key,
)
from sourcing.errors import BadInput


@pytest.mark.parametrize(
    ("body", "digit"),
    [
        ("629104150021", "3"),  # GS1, check digit page, worked example
        ("890400021003", "7"),  # GS1 India, worked example
        ("730001100001", "7"),  # GS1 Sweden, worked example
        ("501234567890", "0"),  # GS1 UK, worked example
        ("03600024145", "7"),  # UPC-A example of encyclopaedic texts
        ("03600029145", "2"),  # this and the next three: python-stdnum, biip
        ("9638507", "4"),
        ("7351353", "7"),
        ("1001234500001", "7"),
        ("8061414112345", "8"),  # GS1 EPC Tag Data Standard example (from memory; computed by python-stdnum)
        ("952123456789", "9"),  # demonstration prefix 952, biip
    ],
)
def test_check_digit(body: str, digit: str) -> None:
    assert check_digit(body) == digit


def test_every_single_digit_error_is_seen() -> None:  # GS1 General Specifications 7.9
    good = "036000291452"
    variants = [good[:i] + d + good[i + 1 :] for i in range(12) for d in "0123456789" if d != good[i]]
    assert len(variants) == 108
    for variant in variants:
        with pytest.raises(BadInput):
            gtin_key(variant)


def test_padding_keeps_one_key() -> None:  # biip; zxing-cpp spells UPC-A with 13 digits
    assert {gtin_key(t) for t in ("036000291452", "0036000291452", "00036000291452")} == {"00036000291452"}


def test_swap_of_digits_five_apart_goes_unseen() -> None:  # a property of the scheme, GS1 7.9
    assert gtin_key("5012345678900") != gtin_key("0512345678900")


@pytest.mark.parametrize(
    ("ten", "thirteen"),  # ISO 2108, python-stdnum
    [
        ("0306406152", "9780306406157"),
        ("0470059028", "9780470059029"),
        ("316148410X", "9783161484100"),
        ("080442957X", "9780804429573"),
    ],
)
def test_isbn(ten: str, thirteen: str) -> None:
    assert isbn10_to_13(ten) == thirteen
    assert isbn13_to_10(thirteen) == ten


def test_isbn_of_prefix_979_has_no_short_form() -> None:  # ISO 2108
    with pytest.raises(BadInput):
        isbn13_to_10("9798886451740")


@pytest.mark.parametrize(
    ("six", "eight", "upca"),
    [  # printer manual, zero expansion table (Printronix)
        ("124560", "01245608", "012000004568"),
        ("275831", "02758314", "027100005834"),
        ("412022", "04120229", "041200002029"),
        ("876543", "08765438", "087600000548"),
        ("753774", "07537743", "075370000073"),
        ("213756", "02137568", "021375000068"),
        ("517019", "05170197", "051701000097"),
        ("123643", "01236432", "012300000642"),  # printer manual (Brother)
        ("593663", "05936631", "059300000661"),  # barcode software manual
        ("121080", "01210806", "012000001086"),  # public conversion recipe
        ("425261", "04252614", "042100005264"),  # biip manual
        ("123455", "01234558", "012345000058"),  # these five: biip, zxing-cpp
        ("123456", "01234565", "012345000065"),
        ("123457", "01234572", "012345000072"),
        ("123458", "01234589", "012345000089"),
        ("123459", "01234596", "012345000096"),
    ],
)
def test_upce(six: str, eight: str, upca: str) -> None:
    assert expand_upce(six) == expand_upce(eight) == upca
    assert compress_upce(upca) == eight
    assert eight[-1] == upca[-1]


def test_upce_edges() -> None:  # GS1 5.2.2.4.2
    with pytest.raises(BadInput):
        compress_upce("036000291452")
    assert compress_upce(expand_upce("123405")) == "01234543"


def test_eight_digits() -> None:  # biip gives both readings
    both = parse_code("01234565")
    assert {both.gtin, *both.alternatives} == {"00000001234565", "00012345000065"}
    assert parse_code("01234565", symbology="EAN8").gtin == "00000001234565"
    assert parse_code("01234565", symbology="UPCE").gtin == "00012345000065"
    assert gtin_key("12345670") == "00000012345670"
    assert gtin_key("04252614") == "00042100005264"
    assert gtin_key("96385074") == "00000096385074"


@pytest.mark.parametrize(
    ("text", "kind"),  # GS1 General Specifications 1.4 and 2.1.11-12; biip prefix table
    [
        *((t, "store tag") for t in ("212345678909", "412345678903", "0201234567899", "0401234567893")),
        *((t, "store tag") for t in ("2001234567893", "2912345678906", "20123451")),
        ("9521234567899", "demo"),
        *((t, "product") for t in ("9780306406157", "9771234567898", "312345678906")),
        ("9801234567892", "refund"),
        *((t, "coupon") for t in ("9811234567891", "9901234567899")),
        ("512345678900", "not a product"),
    ],
)
def test_prefix_classes(text: str, kind: str) -> None:
    assert parse_code(text).kind == kind


@pytest.mark.parametrize(
    ("text", "key"),  # Unicode UAX 15 (NFKC)
    [
        ("１２３４５", "12345"),
        ("ＡＢ－１２３", "AB123"),
        ("①²Ⅷ", "12VIII"),
        ("ﬁ㎏™", "FIKGTM"),
        ("A\u00a0B", "AB"),
        *((f"A{mark}1", "A1") for mark in "\u2010\u2011\u2013\u2212\u200b\u00ad"),
        ("\u0663", "3"),
        ("ｶﾞ", "ガ"),
    ],
)
def test_style_key(text: str, key: str) -> None:
    assert style_key(text) == key == style_key(key)
