"""Days and moments as ISO 8601 and RFC 3339 write them, in comps files and in what a phone sends."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from sourcing.comps import values
from sourcing.comps.meaning.days import read_day
from sourcing.sent import moment

LATEST = date(2026, 12, 31)
NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)

# Examples of RFC 3339, section 5.8 (given there), with the moment in UTC that the text beside each says.
MOMENTS = [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520000+00:00"),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
    ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870000+00:00"),
]


@pytest.mark.parametrize(("text", "utc"), MOMENTS)
def test_a_phones_moment_is_the_one_of_the_standard(text: str, utc: str) -> None:
    minute_later = (datetime.fromisoformat(utc) + timedelta(minutes=1)).isoformat()
    assert moment(text, minute_later, NOW).at == NOW - timedelta(minutes=1)


def test_a_leap_second_is_no_moment_of_a_phone() -> None:
    """RFC 3339, section 5.8: 1990-12-31T23:59:60Z; no clock of a phone shows it, and what it sends counts as now."""
    assert moment("1990-12-31T23:59:60Z", "1991-01-01T00:00:10Z", NOW).at == NOW


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("1996-12-19T16:39:57-08:00", "1996-12-19"),  # the day shown, not the next one in UTC
        ("1990-12-31T23:59:60Z", "1990-12-31"),
        ("1990-12-31T15:59:60-08:00", "1990-12-31"),
        ("1996-12-19t16:39:57.5z", "1996-12-19"),  # section 5.6: small letters too
        ("1996-12-19 16:39:57Z", "1996-12-19"),  # section 5.6: a space for the T
        ("1996-12-19T16:39", "1996-12-19"),  # ISO 8601, without seconds and zone
    ],
)
def test_a_moment_in_a_comps_file_is_its_day(text: str, day: str) -> None:
    number, finding = values.day(text, latest=LATEST)
    assert finding is None
    assert values.iso(number) == day
    assert read_day(text, "ymd") == day


@pytest.mark.parametrize(
    "text",
    [
        "1996-12-19T24:39:57Z",
        "1996-12-19T16:60:57Z",
        "1996-12-19T16:39:61Z",
        "1996-12-19T16:39:57+25:00",
        "1996-12-19T",
    ],
)
def test_what_is_no_moment_is_no_day(text: str) -> None:
    number, finding = values.day(text, latest=LATEST)
    assert number is None
    assert finding is not None
    assert finding.fix


def test_a_leap_day_is_there_in_leap_years_alone() -> None:
    """RFC 3339, section 5.7 and appendix C."""
    assert values.day("2024-02-29", latest=LATEST) == (values.days(date(2024, 2, 29)), None)
    assert values.day("2000-02-29", latest=LATEST)[1] is None
    for text in ("2023-02-29", "2100-02-29"):
        number, finding = values.day(text, latest=date(2200, 1, 1))
        assert number is None
        assert finding is not None
        assert "no such day" in finding.reason


# Examples of week dates in ISO 8601 (2004-12-31 to 2010-01-03 around the turn of years): week dates are not days of a
# comps file, although Python reads them as such; taken for year, month and day they would be others.
@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2004-W53-6", date(2005, 1, 1)),
        ("2009-W01-1", date(2008, 12, 29)),
        ("2009-W53-7", date(2010, 1, 3)),
        ("2009-W53-4", date(2009, 12, 31)),
    ],
)
def test_week_dates_are_refused_and_never_misread(text: str, day: date) -> None:
    assert date.fromisoformat(text) == day
    number, finding = values.day(text, latest=LATEST)
    assert number is None
    assert finding is not None
    assert "YYYY-MM-DD" in finding.reason
    assert read_day(text, "ymd") is None
