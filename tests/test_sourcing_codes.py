"""Codes against GS1's own worked examples and printers' manuals (the source stands beside each table)."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing.codes import (
    check_digit,
    closest,
    compress_upce,
    expand_upce,
    gtin_key,
    isbn10_to_13,
    isbn13_to_10,
    parse_code,
    style_key,
)
from sourcing.errors import BadInput


def with_check(body: str) -> str:
    """Put the check digit by the plain rule (3, 1, 3 ... from the right), not by the code under test."""
    weighted = sum(int(digit) * (3, 1)[at % 2] for at, digit in enumerate(reversed(body)))
    return body + str(-weighted % 10)


@pytest.mark.published
class TestCheckDigit:
    """GS1 General Specifications sec. 7.9."""

    @pytest.mark.parametrize(("body", "digit"), [
        ("629104150021", "3"),  # GS1's worked example on its check digit page
        ("890400021003", "7"),  # GS1 India, worked example
        ("730001100001", "7"),  # GS1 Sweden, worked example
        ("501234567890", "0"),  # GS1 UK, worked example: the sum is a multiple of ten
        ("03600024145", "7"),  # UPC-A example of encyclopaedic texts
        ("03600029145", "2"),  # UPC-A 036000291452: python-stdnum 2.2, biip 5.2.0, zxing-cpp 3.1.1
        ("9638507", "4"),  # EAN-8 96385074: python-stdnum 2.2
        ("7351353", "7"),  # EAN-8 73513537: python-stdnum 2.2, zxing-cpp 3.1.1
        ("8061414112345", "8"),  # GTIN-14 of the GS1 EPC Tag Data Standard's example (from memory), python-stdnum
        ("1001234500001", "7"),  # GTIN-14 with indicator 1: python-stdnum 2.2
        ("952123456789", "9"),  # demonstration prefix 952: python-stdnum 2.2
    ])  # fmt: skip
    def test_of_published_examples(self, body: str, digit: str) -> None:
        assert check_digit(body) == digit
        assert gtin_key(body + digit) == (body + digit).zfill(14)

    @pytest.mark.parametrize("body", ["", "12a", "²", "٣", "1.5", "-1"])
    def test_of_anything_but_digits_is_refused(self, body: str) -> None:
        with pytest.raises(BadInput, match="digits 0-9"):
            check_digit(body)

    def test_every_single_digit_error_is_refused(self) -> None:
        good, refused = "036000291452", 0
        for at in range(12):
            for digit in set("0123456789") - {good[at]}:
                with pytest.raises(BadInput, match="wrong check digit"):
                    parse_code(good[:at] + digit + good[at + 1 :])
                refused += 1
        assert refused == 108

    def test_neighbours_that_differ_by_five_can_be_swapped_unseen(self) -> None:
        assert parse_code("5012345678900").gtin == "05012345678900"
        assert parse_code("0512345678900").gtin == "00512345678900"

    @pytest.mark.parametrize("spelling", ["036000291452", "0036000291452", "00036000291452"])
    def test_padding_keeps_it(self, spelling: str) -> None:
        """biip 5.2.0; thirteen digits is how zxing-cpp 3.1.1 spells a UPC-A."""
        assert gtin_key(spelling) == "00036000291452"


@pytest.mark.published
class TestIsbn:
    """ISO 2108, by way of python-stdnum 2.2."""

    @pytest.mark.parametrize(("ten", "thirteen"), [
        ("0306406152", "9780306406157"), ("0470059028", "9780470059029"), ("316148410X", "9783161484100"),
        ("080442957X", "9780804429573"),
    ])  # fmt: skip
    def test_both_ways(self, ten: str, thirteen: str) -> None:
        assert isbn10_to_13(ten) == thirteen
        assert isbn13_to_10(thirteen) == ten
        assert gtin_key(ten) == parse_code(f"ISBN {ten}").gtin == "0" + thirteen

    def test_979_has_no_ten_digit_form(self) -> None:
        assert parse_code("9798886451740").kind == "product"
        with pytest.raises(BadInput, match="no ISBN-10"):
            isbn13_to_10("9798886451740")

    def test_ten_digits_alone_may_be_a_style_code(self) -> None:
        code = parse_code("0306406152")
        assert (code.kind, code.style_key, code.alternatives) == ("style code", "0306406152", ("09780306406157",))
        assert "ISBN" in code.note
        assert parse_code("0-306-40615-2").gtin == "09780306406157"

    def test_a_wrong_check_character(self) -> None:
        with pytest.raises(BadInput, match="no ISBN"):
            isbn10_to_13("0306406153")


# Zero expansion, GS1 General Specifications sec. 5.2.2.4.2, as quoted by:
UPCE = [
    ("01245608", "012000004568"), ("02758314", "027100005834"), ("04120229", "041200002029"),  # Printronix manual
    ("08765438", "087600000548"), ("07537743", "075370000073"), ("02137568", "021375000068"),  # same
    ("05170197", "051701000097"),  # same
    ("01236432", "012300000642"),  # Brother printer manual
    ("05936631", "059300000661"),  # a barcode software's manual
    ("01210806", "012000001086"),  # public conversion recipe
    ("04252614", "042100005264"),  # biip 5.2.0 manual
    ("01234558", "012345000058"), ("01234565", "012345000065"), ("01234572", "012345000072"),  # every 5..9 case:
    ("01234589", "012345000089"), ("01234596", "012345000096"),  # biip 5.2.0, zxing-cpp 3.1.1
]  # fmt: skip


@pytest.mark.published
class TestUpcE:
    @pytest.mark.parametrize(("short", "full"), UPCE)
    def test_expands_and_compresses(self, short: str, full: str) -> None:
        assert expand_upce(short) == expand_upce(short[1:7]) == full
        assert compress_upce(full) == compress_upce(full.zfill(14)) == short
        assert short[-1] == full[-1]  # one check digit for both forms (GS1)
        assert parse_code(short, symbology="UPCE").gtin == gtin_key(full)

    def test_some_numbers_have_no_short_form(self) -> None:
        """biip 5.2.0."""
        with pytest.raises(BadInput, match="no UPC-E form"):
            compress_upce("036000291452")

    def test_what_is_not_canonical_is_never_a_second_key(self) -> None:
        """biip 5.2.0 expands it, zxing-cpp refuses it."""
        assert expand_upce("123405") == "012340000053"
        assert compress_upce("012340000053") == "01234543"
        assert gtin_key("01234053") == gtin_key("01234543") == gtin_key("012340000053") == "00012340000053"

    @pytest.mark.parametrize("digits", ["12345670", "1234567", "", "abcdef", "０12345"])
    def test_number_system_1_and_other_lengths_are_refused(self, digits: str) -> None:
        """GS1 defines number system 0 only; some readers accept 1 as well."""
        with pytest.raises(BadInput, match="no UPC-E"):
            expand_upce(digits)

    @pytest.mark.parametrize("digits", ["036000291453", "96385074", "9521234567899", "x", ""])
    def test_only_a_upc_a_is_compressed(self, digits: str) -> None:
        with pytest.raises(BadInput, match="no UPC-A"):
            compress_upce(digits)

    @given(st.from_regex(r"\A[0-9]{6}\Z"))
    def test_no_two_canonical_forms(self, core: str) -> None:
        full = expand_upce(core)
        assert expand_upce(compress_upce(full)) == full


@pytest.mark.published
class TestEightDigits:
    """biip 5.2.0 returns both readings; python-stdnum 2.2."""

    @pytest.mark.parametrize(("text", "gtin", "others"), [
        ("01234565", "00012345000065", ("00000001234565",)),
        ("12345670", "00000012345670", ()),  # a UPC-E only by number system 1
        ("04252614", "00042100005264", ()),  # no EAN-8
        ("96385074", "00000096385074", ()),  # a UPC-E cannot begin with 9
    ])  # fmt: skip
    def test_may_be_two_numbers(self, text: str, gtin: str, others: tuple[str, ...]) -> None:
        code = parse_code(text)
        assert (code.gtin, code.alternatives) == (gtin, others)
        assert ("two numbers" in code.note) == bool(others)

    @pytest.mark.parametrize(("symbology", "gtin"), [
        ("EAN8", "00000001234565"), ("EAN-8", "00000001234565"),
        ("UPCE", "00012345000065"), ("upc-e", "00012345000065"),
    ])  # fmt: skip
    def test_the_symbology_settles_it(self, symbology: str, gtin: str) -> None:
        for code in (parse_code("01234565", symbology=symbology), parse_code(f"{symbology} 01234565")):
            assert (code.gtin, code.alternatives) == (gtin, ())


# GS1 General Specifications sec. 1.4 and 2.1.11-2.1.12; biip 5.2.0's prefix table for every row, two public copies of
# the GS1 list for 02, 04, 20-29, 977-982 and 99.
CLASSES = [
    ("212345678909", "store tag"), ("412345678903", "store tag"), ("0201234567899", "store tag"),
    ("0401234567893", "store tag"), ("2001234567893", "store tag"), ("2912345678906", "store tag"),
    ("20123451", "store tag"), ("9521234567899", "demo"), ("9780306406157", "product"),
    (with_check("979888645174"), "product"), (with_check("979012345678"), "product"), ("9771234567898", "product"),
    ("9801234567892", "refund"), ("9811234567891", "coupon"), (with_check("982123456789"), "coupon"),
    (with_check("983123456789"), "coupon"), ("9901234567899", "coupon"), (with_check("999123456789"), "coupon"),
    ("512345678900", "not a product"), ("312345678906", "product"), (with_check("000000012345"), "store tag"),
    *[(with_check(f"{prefix}123456789"), "unknown") for prefix in (140, 199, 953, 970, 984, 989)],
]  # fmt: skip


@pytest.mark.published
class TestClasses:
    @pytest.mark.parametrize(("text", "kind"), CLASSES)
    def test_by_prefix(self, text: str, kind: str) -> None:
        code = parse_code(text)
        assert code.kind == kind
        assert bool(code.note) == (kind != "product")
        assert code.gtin == text.zfill(14)

    def test_an_ean_8_beginning_with_0_is_a_companys_own(self) -> None:
        """The same digits are a UPC-E too, so that only the symbology makes a tag of them."""
        assert parse_code("00123457", symbology="EAN8").kind == "store tag"
        assert parse_code("00123457").alternatives == ("00000000123457",)

    @pytest.mark.parametrize("prefix", [*range(20, 30), *range(40, 50), *range(200, 300)])
    def test_the_whole_of_the_stores_ranges(self, prefix: int) -> None:
        code = parse_code(with_check(f"{prefix:03}123456789"))
        assert code.kind == "store tag"
        assert "nothing outside that store" in code.note
        assert "style code" in code.note

    @pytest.mark.parametrize("prefix", range(50, 60))
    def test_05_is_no_product(self, prefix: int) -> None:
        """Older lists have coupons there, the current one a reserve: no product either way."""
        assert parse_code(with_check(f"{prefix:03}123456789")).kind == "not a product"

    @pytest.mark.parametrize("prefix", [0, 1, 19, 30, 39, 60, 139, 300, 951, 954, 969, 971, 977, 979])
    def test_the_neighbours_of_those_ranges_are_products(self, prefix: int) -> None:
        assert parse_code(with_check(f"{prefix:03}923456789")).kind == "product"

    def test_a_carton_says_so_and_keeps_its_own_key(self) -> None:
        code = parse_code(with_check("1501234567890"))
        assert code.kind == "product"
        assert "carton" in code.note
        assert code.gtin.startswith("1")


@pytest.mark.published
class TestStyleCodes:
    """Unicode UAX 15, by Python 3.11's unicodedata; what NFKC leaves in place is named."""

    @pytest.mark.parametrize(("text", "normal", "key"), [
        ("\uff11\uff12\uff13\uff14\uff15", "12345", "12345"),  # fullwidth digits
        ("\uff21\uff22\uff0d\uff11\uff12\uff13", "AB-123", "AB123"),  # fullwidth letters and hyphen-minus
        ("\u2460", "1", "1"), ("\u00b2", "2", "2"), ("\u2167", "VIII", "VIII"),  # accepted: plain ones
        ("\ufb01", "fi", "FI"), ("\u338f", "kg", "KG"), ("\u2122", "TM", "TM"),
        ("AB\u00a012", "AB 12", "AB12"),  # no-break space: dropped
        ("AB\u201112", "AB\u201012", "AB12"),  # non-breaking hyphen: only becomes another hyphen
        ("AB\u201312", "AB\u201312", "AB12"), ("AB\u221212", "AB\u221212", "AB12"),  # en dash, minus: kept by NFKC
        ("AB\u200b1\u00ad2", "AB\u200b1\u00ad2", "AB12"),  # zero-width space, soft hyphen: kept by NFKC
        ("AB\u0663", "AB\u0663", "AB3"),  # Arabic-Indic digit: kept by NFKC, read by its value
        ("\uff76\uff9e", "\u30ac", "\u30ac"),  # half-width katakana with its voice mark
    ])  # fmt: skip
    def test_one_spelling(self, text: str, normal: str, key: str) -> None:
        assert unicodedata.normalize("NFKC", text) == normal
        assert style_key(text) == key
        code = parse_code(f"  {text} ")
        assert (code.kind, code.style_key, code.typed) == ("style code", key, text)

    @pytest.mark.parametrize("dash", "-\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe58\ufe63\uff0d ./_\t\u200b\ufeff")
    def test_every_dash_and_space(self, dash: str) -> None:
        assert style_key(f"ab{dash}12{dash}c") == "AB12C"

    @pytest.mark.parametrize("text", ["½", "AB½", "8¾", "1⁄2"])
    def test_a_fraction_is_refused_and_never_the_same_key_as_its_digits(self, text: str) -> None:
        assert "\u2044" in unicodedata.normalize("NFKC", text)
        assert "\u2044" in style_key(text)
        with pytest.raises(BadInput, match="fraction"):
            parse_code(text)

    @pytest.mark.parametrize("text", ["²", "①", "٣"])
    def test_digits_that_int_may_not_read_never_crash(self, text: str) -> None:
        """str.isdigit is True of a superscript, int() of it fails."""
        assert text.isdigit()
        assert style_key(text) in "123"
        assert gtin_key(f"03600029145{'2' if text != '²' else text}") == "00036000291452"

    @given(st.text())
    def test_nfkc_and_the_key_are_idempotent(self, text: str) -> None:
        once = unicodedata.normalize("NFKC", text)
        assert unicodedata.normalize("NFKC", once) == once
        assert style_key(style_key(text)) == style_key(text) == style_key(once)

    @pytest.mark.parametrize("text", ["\u1100-\u1161", "e\u200b\u0301", "ß-1", "ŉ", "\u0345"])
    def test_marks_between_letters_that_would_join(self, text: str) -> None:
        assert style_key(style_key(text)) == style_key(text)

    @given(st.from_regex(r"\A[A-Z0-9]{1,12}\Z"), st.sampled_from("- .–\u200b"))
    def test_case_and_marks_do_not_matter(self, key: str, mark: str) -> None:
        assert style_key(mark.join(key.lower())) == key

    def test_digits_of_no_gtin_length_are_a_style_code(self) -> None:
        code = parse_code("310805-137")
        assert (code.kind, code.gtin, code.style_key, code.note) == ("style code", "", "310805137", "")

    def test_digits_of_a_gtin_length_can_be_called_a_style_code(self) -> None:
        ways = parse_code("10263847", as_style=True), parse_code("style 10263847"), parse_code("Style: 10263847")
        for code in ways:
            assert (code.kind, code.gtin, code.style_key) == ("style code", "", "10263847")

    @pytest.mark.parametrize("label", ["UPC", "upc-a", "EAN", "EAN-13:", "GTIN", "GTIN-14"])
    def test_a_word_in_front(self, label: str) -> None:
        assert parse_code(f"{label} 0 36000 29145 2").gtin == "00036000291452"

    @pytest.mark.parametrize("text", ["EANES 12", "STYLER-12", "UPC-X1", "ISBN"])
    def test_a_word_that_is_part_of_the_code(self, text: str) -> None:
        assert parse_code(text).style_key == style_key(text)


# Whichever digits a maker prints: padded, they are one key.
@given(st.sampled_from([7, 11, 12]).flatmap(lambda n: st.from_regex(rf"\A[1-9][0-9]{{{n - 1}}}\Z")))
def test_padding_keeps_the_check_digit_and_the_key(body: str) -> None:
    full = with_check(body)
    assert check_digit(body) == full[-1]
    assert gtin_key(full) == full.zfill(14)
    assert {gtin_key(full.zfill(n)) for n in (12, 13, 14) if n >= len(full)} == {full.zfill(14)}


@given(st.from_regex(r"\A[0-9]{7,13}\Z"), st.integers(0, 12), st.integers(1, 9))
def test_one_wrong_digit_never_validates(body: str, at: int, by: int) -> None:
    at %= len(body)
    wrong = body[:at] + str((int(body[at]) + by) % 10) + body[at + 1 :]
    assert check_digit(wrong) != check_digit(body)


@given(st.text(max_size=120))
def test_any_text_gives_a_code_or_says_what_is_wrong(text: str) -> None:
    try:
        code = parse_code(text)
    except BadInput as error:
        said = error.wrong and error.accepted and error.next_step
    else:
        said = code.typed == text.strip() and bool(code.gtin) != bool(code.style_key)
    assert said


@pytest.mark.parametrize(("text", "says"), [
    ("", "No code was given"), ("  ", "No code"), ("---", "“---” holds no letter or digit"),
    ("x" * 10_000, "10,000 characters"), ("9" * 10_000, "10,000 characters"),
    ("036000291453", "“036000291453” has a wrong check digit: 03600029145 would end in 2"),
    ("036000291453", "type “style 036000291453”"), ("01234567", r"end in 5 \(as a UPC-E in 5\)"),
    ("0360O029145 2", "“O” where a barcode number has digits: 036000291452 would be one"),
    ("9.52123E+12", "a spreadsheet has shortened"), ("3,6e10", "spreadsheet"), ("1e+308", "spreadsheet"),
])  # fmt: skip
def test_bad_codes_say_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(BadInput, match=says) as caught:
        parse_code(text)
    assert caught.value.accepted
    assert caught.value.next_step
    assert caught.value.field == "code"


@pytest.mark.parametrize(("text", "says"), [
    ("1e308", "shortened"), ("AB-123", "holds letters"), ("12345", "has 5 digits"),
    ("36000291452", "With the zero in front that a spreadsheet drops, it would be 036000291452"),
    ("03600029145X", "holds letters"), ("0" * 15, "15 digits"), ("", "No code"), ("²½", "fraction"),
])  # fmt: skip
def test_what_is_no_barcode_number_says_why(text: str, says: str) -> None:
    with pytest.raises(BadInput, match=says):
        gtin_key(text)


@pytest.mark.parametrize(("text", "key", "says"), [
    ("1e308", "1E308", "digits are lost"), ("36000291452", "36000291452", "barcode 036000291452"),
    ("03600029145X", "03600029145X", "holds “X”"),
])  # fmt: skip
def test_a_style_code_that_looks_like_a_spoilt_number_has_a_note(text: str, key: str, says: str) -> None:
    code = parse_code(text)
    assert (code.kind, code.style_key) == ("style code", key)
    assert says in code.note


def test_a_spreadsheets_decimal_places_are_no_digits() -> None:
    assert gtin_key("9521234567899.0") == gtin_key("9521234567899,00") == "09521234567899"


def test_a_miss_suggests_the_closest() -> None:
    known = ["ZZ999", "AB123", "AB125X", "09521234567899"]
    assert closest("AB124", known) == ["AB123", "AB125X"]
    assert closest("AB124", known, limit=1) == ["AB123"]
    assert closest("09521234567890", known) == ["09521234567899"]
    assert closest("QQQQQ", known) == []
    assert closest("QQQQQ", []) == []
