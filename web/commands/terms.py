"""``terms``: what one sale leaves, line by line."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import click

from sourcing.language import gettext
from web.commands.frame import data_option, open_data
from web.commands.words import Group


@click.group(cls=Group)
@data_option
def terms() -> None:
    """Show what a sale costs and leaves.

    Example: sourcing terms show --category shoes --price 59.99
    """


@terms.command("show")
@click.option("--category", default="", help="Category, for its terms; else the default ones.")
@click.option("--price", help="What the buyer pays in all, such as 59.99; else 50.")
@click.option("--shelf", help='Shelf price, such as 14.99; or of several, such as "3 for 20".')
@click.option("--discount", help='Store discounts in the till\'s order, such as "30% then 5.00".')
@click.option("--channel", default="", help="Sold on this channel, not on the category's own.")
@click.option("--flag", "flags", multiple=True, help="What the piece has, such as no_box; may be given several times.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def show(ctx: click.Context, /, as_json: bool, **asked: Any) -> None:
    """Work one sale out line by line, each line rounded half up to the cent.

    Example: sourcing terms show --category shoes --price 59.99 --shelf 20 --flag no_box
    """
    from sourcing.flags.marked import flagged, read_flags
    from sourcing.money import money_writer
    from sourcing.purchase import Discounts
    from sourcing.receipt import ROUNDING, fee_note
    from sourcing.settings import load_settings
    from sourcing.tag import typed_tag
    from sourcing.typed_number import typed_money

    kept = load_settings(open_data(ctx))
    category, channel = asked["category"], asked["channel"]
    deal = kept.on_channel(category, channel) if channel else kept.for_category(category)
    found = flagged(deal, kept, read_flags(kept, asked["flags"])).terms

    price, tag = asked["price"], asked["shelf"]
    total = Decimal(50) if price is None else typed_money(price, kept.currency, kept.locale, "price")
    shelf = None if tag is None else typed_tag(tag, kept.currency, kept.locale, "shelf")
    discount = None if asked["discount"] is None else Discounts.parse(asked["discount"])
    lines = found.receipt(total, shelf, discount)
    if as_json:
        told = [{"label": line.label, "amount": str(line.amount), "how": line.how} for line in lines]
        answer = {"channel": found.channel, "currency": kept.currency, "fees": fee_note(found), "receipt": told}
        click.echo(json.dumps({**answer, "rounding": ROUNDING}, indent=2))
        return
    write = money_writer(kept.currency, kept.locale)
    wide, right = max(len(line.label) for line in lines), max(len(write(line.amount)) for line in lines)
    for line in lines:
        click.echo(f"{line.label:{wide}}  {write(line.amount):>{right}}  {line.how}")
    click.echo(f"{fee_note(found)} {gettext(ROUNDING)}")
