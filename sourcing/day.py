"""Days as people write them: 5 Nov 2026."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from sourcing.language import gettext, gettext_noop

MONTHS = (
    gettext_noop("Jan"), gettext_noop("Feb"), gettext_noop("Mar"), gettext_noop("Apr"), gettext_noop("May"),
    gettext_noop("Jun"), gettext_noop("Jul"), gettext_noop("Aug"), gettext_noop("Sep"), gettext_noop("Oct"),
    gettext_noop("Nov"), gettext_noop("Dec"),
)  # fmt: skip


def month(day: date) -> str:
    """Return the short name of a day's month."""
    return gettext(MONTHS[day.month - 1])


def day_writer() -> Callable[[date], str]:
    """Return what writes days in the language of the moment, whose words are looked up once."""
    pattern, months = gettext("{day}\N{NO-BREAK SPACE}{month} {year}"), [gettext(name) for name in MONTHS]
    return lambda day: pattern.format(day=day.day, month=months[day.month - 1], year=day.year)
