"""One cell at a time: what is accepted, and in which words the rest is refused."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing.codes import gtin_key, parse_code
from sourcing.comps import values
from sourcing.comps.titles import fold_title
from sourcing.errors import BadInput

LATEST = date(2026, 6, 30)


@given(st.decimals(min_value="0.01", max_value=1_000_000, places=2, allow_nan=False))
def test_money_of_two_decimals_is_read_exactly(amount: Decimal) -> None:
    assert values.money(str(amount)) == (int(amount * 100), None)


@pytest.mark.parametrize(
    ("text", "minor"),
    [
        ("12", 1200),
        ("12.", 1200),
        ("12.5", 1250),
        (" 7.05 ", 705),
        ("3.500", 350),
        ("1000000", 100_000_000),
        ("", None),
    ],
)
def test_money_accepted(text: str, minor: int | None) -> None:
    assert values.money(text) == (minor, None)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("12,5o", "besides digits"),
        ("12,50", "comma"),
        ("1,299", "comma"),
        ("1’234.50", "comma or another separator"),
        ("-5", "negative"),
        ("(12.00)", "negative"),
        ("NaN", "finite"),
        ("inf", "finite"),
        ("1e308", "exponent"),
        ("9" * 9000, "more than 1,000,000"),
        ("1000000.01", "more than 1,000,000"),
        ("1.005", "more than 2 decimals"),
        ("free", "not a number"),
        ("$5", "besides digits"),
        ("12-15", "besides digits"),
        ("٣", "besides digits"),
        ("0", "no price"),
        ("0.00", "no price"),
    ],
)
def test_money_refused(text: str, reason: str) -> None:
    value, finding = values.money(text)
    assert value is None
    assert finding is not None
    assert finding.rejected
    assert reason in finding.reason
    assert finding.fix


def test_money_of_other_currencies_and_free_shipping() -> None:
    assert values.money("1299", digits=0) == (1299, None)
    assert values.money("1.5", digits=0)[1] is not None
    assert values.money("1.234", digits=3) == (1234, None)
    assert values.money("0", zero_is_fine=True) == (0, None)


@given(st.dates(values.EARLIEST, LATEST))
def test_iso_dates_are_read_exactly(day: date) -> None:
    number, finding = values.day(day.isoformat(), latest=LATEST)
    assert finding is None
    assert number == (day - date(1970, 1, 1)).days
    assert values.iso(number) == day.isoformat()


@pytest.mark.parametrize(
    ("text", "reason", "rejected"),
    [
        ("31/12/2025", "YYYY-MM-DD", True),
        ("2026-1-5", "YYYY-MM-DD", True),
        ("20260105", "YYYY-MM-DD", True),
        ("2026-02-30", "no such day", True),
        ("1026-02-03", "before 1990", True),
        ("2026-07-01", "after 2026-06-30", False),
    ],
)
def test_dates_refused_or_dropped(text: str, reason: str, rejected: bool) -> None:
    value, finding = values.day(text, latest=LATEST)
    assert value is None
    assert finding is not None
    assert reason in finding.reason
    assert finding.rejected is rejected


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("sold", 1),
        (" SOLD ", 1),
        ("open", 0),
        ("ended unsold", 2),
        ("Ended_Unsold", 2),
        ("ended-unsold", 2),
        ("", None),
    ],
)
def test_status_words(text: str, number: int | None) -> None:
    assert values.status(text) == (number, None)


def test_unknown_status_is_refused() -> None:
    assert values.status("gone")[1].rejected  # type: ignore[union-attr]


def test_text_keeps_html_and_notes_control_characters() -> None:
    assert values.text(" <b>x</b> {{7*7}} ", longest=200) == ("<b>x</b> {{7*7}}", None)
    clean, finding = values.text("a\x00b\tc", longest=200)
    assert clean == "a b c"
    assert finding is not None
    assert not finding.rejected
    assert values.text("x" * 10_000, longest=10_000) == ("x" * 10_000, None)
    assert values.text("x" * 10_001, longest=10_000)[1].rejected  # type: ignore[union-attr]


def _by_codes(text: str) -> int | None:
    try:
        key, kind = gtin_key(text), parse_code(text).kind
    except BadInput:
        return None
    return None if kind in ("store tag", "coupon", "refund", "not a product") else int(key)


@given(st.from_regex(r"[0-9]{11,14}", fullmatch=True) | st.from_regex(r"952[0-9]{10}", fullmatch=True))
def test_quick_reading_of_a_gtin_equals_the_careful_one(text: str) -> None:
    assert values.gtin(text)[0] == _by_codes(text)


@given(st.from_regex(r"[0-9]{12}", fullmatch=True))
def test_quick_reading_equals_the_careful_one_where_the_check_digit_is_right(body: str) -> None:
    right = [text for digit in "0123456789" if (text := body + digit) and _sum(text) % 10 == 0]
    assert len(right) == 1
    assert values.gtin(right[0])[0] == _by_codes(right[0])


def _sum(text: str) -> int:
    return sum(int(digit) * (3 if place % 2 else 1) for place, digit in enumerate(text))


def test_a_wrong_check_digit_is_a_note_that_names_the_value() -> None:
    value, finding = values.gtin("9521234567895")
    assert value is None
    assert finding is not None
    assert not finding.rejected
    assert "9521234567895" in finding.reason


@given(st.text())
def test_folding_a_title_twice_changes_nothing_more(title: str) -> None:
    once = fold_title(title)
    assert fold_title(once) == once
    assert "  " not in once


def test_folding_a_title() -> None:
    assert fold_title("  ＲＵＮ\u00a0 Straße ") == "run strasse"
    assert fold_title("Run  LOW") == "run low"
