"""What the commands of stock share: pieces as they are named, amounts and days as they are typed, what is printed."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import click

from sourcing.errors import BadInput
from sourcing.language import gettext, separated
from sourcing.shortened import shortened
from web.commands.frame import key

if TYPE_CHECKING:
    from sourcing.stock.item import StockItem
    from sourcing.storage import Store

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def as_dict(item: StockItem) -> dict[str, Any]:
    """Return one piece as JSON has it: money as text, days as ISO 8601."""
    listing = item.listing
    return {
        **{name: value for name, value in plain(item).items() if name not in ("forecast", "listing")},
        "asking_price": None if listing is None else str(listing.asking_price),
        "listed_on": None if listing is None else listing.listed_on.isoformat(),
        "channel": "" if listing is None else listing.channel,
    }


def plain(found: Any) -> dict[str, Any]:
    """Return the fields of a dataclass as JSON has them."""
    return {name: _text(value) for name, value in vars(found).items()}


def _text(value: Any) -> Any:
    if isinstance(value, Decimal | date):
        return str(value)
    if isinstance(value, tuple):
        return [_text(one) for one in value]
    return value


def did(store: Store, number: int, as_json: bool) -> None:
    """Print what an action did, and its number."""
    from sourcing.stock import ledger

    done = ledger.action(store, number)
    if as_json:
        click.echo(json.dumps({**vars(done), "pieces": ledger.items_of(store, number)}, indent=2))
    else:
        click.echo(f"{safe(done.words)}. {gettext('Action {number}.', number=number)}")


def pieces_of(store: Store, texts: Sequence[str]) -> list[StockItem]:
    """Return the pieces that some texts mean.

    Raises
    ------
    BadInput, NotFound
        A text means several, or none.
    """
    from sourcing.stock import seek

    pattern = pattern_of(store)
    return [seek.piece(store, text, pattern) for text in texts]


def pattern_of(store: Store) -> str:
    """Return the pattern of labels in force."""
    from sourcing.settings import load_settings

    return load_settings(store).labels.pattern


def line(one: StockItem) -> str:
    """Return one piece as a line."""
    price = one.listing.asking_price if one.state == "listed" and one.listing else one.landed_cost
    shown = separated(str(price))
    what = shortened(one.what)
    said = [f"#{one.id}", one.label or "-", key(one.state), shown, one.bin, one.store, str(one.bought_on), what]
    return safe("  ".join(filter(None, said)))


def amount(text: str, name: str) -> Decimal:
    """Read an amount.

    Raises
    ------
    BadInput
        It is none.
    """
    from sourcing.typed_number import plain_number

    found = plain_number(text.strip())
    if found is None:
        raise BadInput(gettext("“{text}” is not an amount.", text=text[:40]), gettext("Such as 12.50."), field=name)
    return found


def day_of(text: str) -> date:
    """Read a day; today where nothing was said.

    Raises
    ------
    BadInput
        It is no day, or one to come.
    """
    if not text:
        return date.today()
    try:
        found = date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(
            gettext("“{text}” is not a day.", text=text[:40]), gettext("A day such as 2026-01-31."), field="on"
        ) from error
    if found > date.today():
        raise BadInput(gettext("{day} is still to come.", day=found), gettext("Today or before."), field="on")
    return found


def safe(text: str) -> str:
    """Return text without characters that would steer a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)
