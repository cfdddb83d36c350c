"""Words for figures in templates: money, shares, days, dates."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from flask import Flask

from sourcing.day import day_writer
from sourcing.language import gettext, ngettext, separated, spoken
from web import cautions, connect, photos
from web.reach import secure
from web.state import current, settings

if TYPE_CHECKING:
    from sourcing.haul import HaulView
    from web.haul_limits import Told

DASH = "–"


def _haul_limits(view: HaulView) -> list[Told]:
    """Tell what a haul uses of its limits."""
    from sourcing.haul_use import lines_of, used  # imported late, so that serving starts light
    from web.haul_limits import told

    return [told(use) for use in used(lines_of(view), settings().haul)]


def add_filters(app: Flask) -> None:
    """Give templates their filters and globals."""
    for call in (money, share, percent, plain, written, days, when, on_outlay, sell_through, grouped, fixed, minutes,
                 ordinal, capital, inside, short):  # fmt: skip
        app.add_template_filter(call)
    app.context_processor(
        lambda: {
            "cautions_due": cautions.due_here,
            "cautions_gone": cautions.just_dismissed,
            "cautions_all": cautions.all_of_them,
            "haul_limits": _haul_limits,
            "photos_of": photos.photos_of,
        }
    )
    app.context_processor(
        lambda: {
            "on_network": current().mode == "lan" and not secure(),
            "reduced": connect.reduced,
            "task": current().task,
        }
    )


def money(amount: Any, currency: str = "") -> str:
    """Return an amount as the settings' locale writes it, or a dash for none.

    Without ``currency`` it is the settings'; an answer of the past is shown in its own.
    """
    if amount is None:
        return DASH
    from sourcing.money import format_money

    kept = settings()
    return format_money(Decimal(str(amount)), currency or kept.currency, kept.locale)


def share(part: float | None) -> str:
    """Return a chance or share as a whole percentage; never 0 % or 100 % for what is neither."""
    if part is None:
        return DASH
    percent = 100 * float(part)
    if 0 < percent < 1:
        return gettext("under 1\N{NO-BREAK SPACE}%")
    return gettext("over 99\N{NO-BREAK SPACE}%") if 99 < percent < 100 else separated(f"{percent:.0f}%")


def percent(part: Any) -> str:
    """Return a share that was set as the percentage it was set as."""
    return separated(f"{plain(Decimal(part) * 100)}%")


def written(number: Any) -> str:
    """Return a number without needless zeros, with the language's mark before decimals: to be read, not typed over."""
    return separated(plain(number))


def plain(number: Any) -> str:
    """Return a number without needless zeros."""
    return f"{number.normalize():f}" if isinstance(number, Decimal) else str(number)


def days(count: int | None) -> str:
    """Return a count of days; None means that many never sell within the plan."""
    if count is None:
        return gettext("not reached")
    return ngettext("{count}\N{NO-BREAK SPACE}day", "{count}\N{NO-BREAK SPACE}days", count)


def when(moment: Any) -> str:
    """Return the day of an ISO date or moment."""
    if not moment:
        return DASH
    day = date.fromisoformat(str(moment)[:10])
    return day_writer()(day)


def grouped(number: float, digits: int = 0) -> str:
    """Return a number with its thousands set apart, as the language writes it."""
    return separated(f"{number:,.{digits}f}")


def fixed(number: Any, digits: int = 0) -> str:
    """Return a number rounded to so many decimals, with the language's mark before them."""
    return separated(f"{float(number):.{digits}f}")


def minutes(count: Any) -> str:
    """Return whole minutes of work."""
    return gettext("{count} min", count=f"{float(count):.0f}")


def ordinal(count: int) -> str:
    """Return which one in a row."""
    forms = {1: gettext("{count}st"), 2: gettext("{count}nd"), 3: gettext("{count}rd")}
    return forms.get(count, gettext("{count}th")).format(count=count)


def capital(text: str) -> str:
    """Return a text with a capital at its beginning; the rest stays, as nouns of some languages have theirs."""
    return text[:1].upper() + text[1:]


def inside(text: str) -> str:
    """Return what begins a sentence as it stands inside of one; in English, whose nouns are small, in small letters."""
    return text[:1].lower() + text[1:] if spoken() == "en" else text


def short(number: float) -> str:
    """Return a number with as few decimals as it needs."""
    return separated(f"{number:g}")


def on_outlay(profit: Any, outlay: Any) -> str:
    """Return profit as a percentage of the outlay it takes, or a dash where either is not known or nothing is paid."""
    if profit is None or outlay is None or not Decimal(str(outlay)) > 0:
        return DASH
    from sourcing.retail import return_on_outlay

    return separated(f"{return_on_outlay(Decimal(str(profit)), Decimal(str(outlay))) * 100:.0f}%")


def sell_through(sold: int, on_hand: int) -> str:
    """Return the share sold of all that was listed, or a dash where nothing was."""
    if not sold + on_hand:
        return DASH
    from sourcing import retail

    return share(float(retail.sell_through(Decimal(sold), Decimal(on_hand))))
