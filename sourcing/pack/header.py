"""What the pack says in words: rules and terms in force, flags, haul limits, how money is written."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from decimal import Decimal
from typing import Any

from sourcing.fitting import Fit
from sourcing.flags.marked import with_learnt
from sourcing.labour import STEPS, Flag
from sourcing.money import currency_marks, minor_digits
from sourcing.purchase import Discounts
from sourcing.settings import CategorySettings, Settings
from sourcing.terms import Terms


def deal_in_plain(deal: CategorySettings) -> dict[str, Any]:
    """Return one category's rules, and its terms on each channel, as JSON has them; amounts and shares as text."""
    rules = deal.rules
    return {
        "channels": [_terms(terms) for terms in deal.channels or (deal.terms,)],
        "objective": rules.objective,
        "target_days": rules.target_days,
        "least_profit": _text(rules.least_profit),
        "least_return": _text(rules.least_return),
        "wanted_chance": _text(rules.wanted_chance),
        "most_loss_chance": _text(rules.most_loss_chance),
        "least_comps": _text(rules.least_comps),
        # In words, for a share is written by rules of its own.
        "said": {
            name: f"{value:.0%}"
            for name in ("least_return", "wanted_chance", "most_loss_chance")
            if (value := getattr(rules, name)) is not None
        },
    }


def _terms(terms: Terms) -> dict[str, Any]:
    return {
        "channel": terms.channel,
        "tax": str(terms.tax),
        "discount": _steps(terms.store_discount),
        "capital_rate": str(terms.capital_rate),
        "minutes": [str(getattr(terms, f"{step}_minutes")) for step in STEPS],
        "hourly_value": str(terms.hourly_value),
        "assumed_days": terms.assumed_days,
    }


def _steps(discount: Discounts) -> list[dict[str, Any]]:
    return [{"value": str(step.value), "share": step.share} for step in discount.steps]


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def flags_in_plain(settings: Settings, fit: Fit) -> list[dict[str, Any]]:
    """Return what each flag adds; ``price_effect``: the categories where comps show what it does to the price."""
    return [_flag(with_learnt(settings, flag), fit) for flag in settings.flags.values()]


def _flag(flag: Flag, fit: Fit) -> dict[str, Any]:
    learnt = fit.flags.get(flag.name)
    moved = [
        name for name in fit.categories
        if learnt is not None and learnt.words == flag.words and learnt.of(name).claimed
    ]  # fmt: skip
    return {
        "name": flag.name,
        "label": flag.shown,
        "minutes": [str(getattr(flag, f"{step}_minutes")) for step in STEPS],
        "supplies": str(flag.supplies),
        "price_effect": moved,
    }


def haul_in_plain(settings: Settings) -> dict[str, Any]:
    """Return the limits of the whole haul; None is off."""
    return {name: str(value) if isinstance(value, Decimal) else value for name, value in asdict(settings.haul).items()}


def money_in_plain(settings: Settings) -> dict[str, Any]:
    """Return how the locale writes an amount, as `sourcing.money.money_writer` does."""
    from babel.core import Locale
    from babel.numbers import get_currency_symbol, get_decimal_symbol, get_group_symbol, get_minus_sign_symbol

    known = Locale.parse(settings.locale)
    pattern, symbol = known.currency_formats["standard"], get_currency_symbol(settings.currency, known)
    digits = minor_digits(settings.currency)
    # As the writer of amounts does: the pattern's own decimals count where the currency has two.
    least, most = (digits, digits) if digits != 2 else pattern.frac_prec
    return {
        "prefix": [text.replace("¤", symbol) for text in pattern.prefix],
        "suffix": [text.replace("¤", symbol) for text in pattern.suffix],
        "minus": get_minus_sign_symbol(known),
        "decimal": get_decimal_symbol(known),
        "group": get_group_symbol(known),
        "grouping": list(pattern.grouping),
        "decimals": [least, most],
        "digits": digits,
        "marks": list(currency_marks(settings.currency, settings.locale)),
    }


def fees_until(settings: Settings, today: date) -> str | None:
    """Return the next day on which other fees begin to hold; None where none is known."""
    later = [day for day in settings.every_day() if day > today]
    return min(later).isoformat() if later else None
