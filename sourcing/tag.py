"""What stands on a tag as people type it: a price, or one for several pieces."""

from __future__ import annotations

from decimal import Decimal

from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.purchase import each_of, unit_price


def typed_tag(text: str, currency: str, locale: str, field: str = "price") -> Decimal:
    """Read the price of one piece off a tag; “3 for 20” is that of one of three.

    Raises
    ------
    BadInput
        It is none, or one of no pieces.
    """
    from sourcing.money import minor_digits
    from sourcing.typed_number import typed_money

    pieces, amount = each_of(text)
    try:
        whole = typed_money(amount, currency, locale, field)
    except BadInput as error:
        raise no_price(text, currency, field=field) from error
    return unit_price(whole, pieces, minor_digits(currency))


def no_price(text: str, currency: str, *, tag: bool = True, field: str = "price") -> BadInput:
    """Say that a text is no price, and what one is; without ``tag`` it is any other than a shelf price."""
    from sourcing.money import minor_digits

    digits, shown = minor_digits(currency), text.strip()[:40]
    return BadInput(
        gettext("“{text}” is not a shelf price.", text=shown)
        if tag
        else gettext("“{text}” is not a price.", text=shown),
        gettext(
            "An amount in {currency} from 0 to 1,000,000 with at most {digits} decimals, {examples}, "
            "or several for one amount, such as 3 for 20.",
            currency=currency,
            digits=digits,
            examples=gettext("such as 12.50 or 12,50") if digits else gettext("such as 1250"),
        ),
        gettext("Type the price on the tag."),
        field=field,
    )
