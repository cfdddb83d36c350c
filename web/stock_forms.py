"""Read what the pages of stock were sent: amounts, days, ticked pieces; and keep a second tap harmless."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from flask import request

from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.typed_number import bare_number, plain_number
from web.state import settings

LONGEST = 200
_MOST = Decimal(10_000_000)


def read_amount(name: str) -> Decimal | None:
    """Read an amount to the cent, with a decimal point or comma and the currency's mark or without; None where empty.

    Raises
    ------
    BadInput
        It is none; ``field`` names it.
    """
    text = read_text(name)
    if not text:
        return None
    kept = settings()
    found = bare_number(text, kept.currency, kept.locale)
    if found is None or found >= _MOST or found != round(found, 2):
        raise BadInput(
            gettext("“{text}” is not an amount.", text=text[:40]),
            gettext(
                "An amount in {currency} with at most two decimals, such as 12.50 or 12,50.", currency=kept.currency
            ),
            gettext("Correct it and send it again."),
            field=name,
        )
    return round(found, 2)


def needed_amount(name: str) -> Decimal:
    """Read an amount that must be there.

    Raises
    ------
    BadInput
        It is none, or there is nothing.
    """
    found = read_amount(name)
    if found is None:
        raise BadInput(
            gettext("No amount was typed."), gettext("An amount such as 12.50."), gettext("Type it."), field=name
        )
    return found


def read_percent(name: str) -> Decimal:
    """Read a percentage and return it as a share.

    Raises
    ------
    BadInput
        It is none.
    """
    text = read_text(name)
    found = plain_number(text.removesuffix("%").strip())
    if found is None:
        raise BadInput(
            gettext("“{text}” is not a percentage.", text=text[:40]), gettext("A number such as 10 or 7.5."), field=name
        )
    return found / 100


def read_day(name: str = "on") -> date:
    """Read a day; an empty field is today.

    Raises
    ------
    BadInput
        It is no day, or one to come.
    """
    text, today = read_text(name), date.today()
    if not text:
        return today
    try:
        found = date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(
            gettext("“{text}” is not a day.", text=text[:40]), gettext("A day such as 2026-01-31."), field=name
        ) from error
    if found > today:
        raise BadInput(
            gettext("{day} is still to come.", day=found), gettext("Today ({today}) or before.", today=today),
            gettext("Correct the day."), field=name,
        )  # fmt: skip
    return found


def read_items() -> list[int]:
    """Read the numbers of the pieces that were ticked.

    Raises
    ------
    BadInput
        One is no number.
    """
    return [_whole(text, "items") for text in request.values.getlist("items")]


def read_whole(name: str, default: int = 0) -> int:
    """Read a whole number from the address or the form.

    Raises
    ------
    BadInput
        It is none.
    """
    text = read_text(name)
    return _whole(text, name) if text else default


def read_text(name: str) -> str:
    """Read a text, blanks in a row as one.

    Raises
    ------
    BadInput
        It is far too long.
    """
    text = " ".join(request.values.get(name, "").split())
    if len(text) > LONGEST:
        raise BadInput(
            gettext("That has {count} characters.", count=len(text)), gettext("Up to {most}.", most=LONGEST),
            gettext("Shorten it."), field=name,
        )  # fmt: skip
    return text


def tap() -> str:
    """Return the form's own id, by which a tap sent twice acts once."""
    return request.form.get("client_id", "")[:64]


def _whole(text: str, name: str) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) < 12):
        raise BadInput(
            gettext("“{text}” is not a whole number.", text=text[:40]),
            gettext("A whole number, such as 1."),
            field=name,
        )
    return int(text)
