"""``today``: what to do today with what is listed."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import click

from sourcing.language import gettext, gettext_noop, separated
from sourcing.today.board import ORDERS, PER_PAGE, PLAN
from web.commands.frame import data_option, key, open_data, say
from web.commands.words import Command

if TYPE_CHECKING:
    from sourcing.today.day import Line

# Why no price is named, as the domain keeps it.
WHYS = (gettext_noop("too little to go on"), gettext_noop("no listing dates"), gettext_noop("best as it is"))


@click.command(cls=Command)
@click.option("--order", type=click.Choice(ORDERS), default=PLAN, help="What stands first.", show_default=True)
@click.option("--category", default="", help="Pieces of that category only.")
@click.option("--late", is_flag=True, help="Only those past their plan.")
@click.option("--page", type=int, default=1, help="Which page of twenty-five.", show_default=True)
@click.option("--every", "all_of_them", is_flag=True, help="All pages at once.")
@click.option("--cut", "cuts", multiple=True, metavar="PIECE=PRICE", help="Record a new asking price; may be repeated.")
@click.option("--undo", "action", type=int, help="Take an action back, by the number it was recorded under.")
@click.option("--count-own", is_flag=True, help="Bring your own listings among the comps up to date, and learn anew.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def today(
    ctx: click.Context, order: str, category: str, late: bool, page: int, all_of_them: bool, cuts: tuple[str, ...],
    action: int | None, count_own: bool, as_json: bool,
) -> None:  # fmt: skip
    """Say of every listed piece how long it stands, how likely it sells, and what to ask for it now.

    \b
    Example: sourcing today --late
    """
    from sourcing.fitting import keep_up
    from sourcing.settings import load_settings
    from sourcing.stock.ledger import undo
    from sourcing.today import fed
    from sourcing.today.board import known_category
    from sourcing.today.day import day
    from sourcing.today.move import move

    store, now = open_data(ctx), date.today()
    if action is not None:
        say(gettext("Recorded as action {number}.", number=undo(store, action)))
    if cuts:
        number = move(store, dict(_cut(text) for text in cuts), now)
        back = f"sourcing today --undo {number}"
        say(gettext("Recorded as action {number}. To take it back: {command}", number=number, command=back))
    if count_own:
        told = fed.feed(store, now, asked=True)
        if told is None:
            say(gettext("Nothing changed: your listings are among the comps as they stand, or there are none."))
        else:
            say(
                gettext("Among the comps, of your own listings: {open} open, {ended} ended unsold, {sold} sold.",
                        open=told.open, ended=told.ended, sold=told.sold)
            )  # fmt: skip
            keep_up(store)
    if action is not None or cuts or count_own:
        return
    kept = load_settings(store)
    if category:
        category = known_category(store, kept, category)
    found = day(
        store, kept, now, order=order, category=category, late_only=late,
        page=1 if all_of_them else page, per_page=1_000_000 if all_of_them else PER_PAGE,
    )  # fmt: skip
    if as_json:
        click.echo(json.dumps([line.as_dict() for line in found.lines], indent=2))
        return
    say(
        gettext(
            "{listed} listed, {late} past their plan, {cash} in them; page {page} of {pages}",
            listed=separated(f"{found.listed:,}"), late=separated(f"{found.late:,}"),
            cash=separated(f"{found.cash:,}"), page=found.page, pages=found.pages,
        )
    )  # fmt: skip
    for line in found.lines:
        click.echo(_line(line))


def _cut(text: str) -> tuple[int, Decimal]:
    number, sign, price = text.partition("=")
    from sourcing.typed_number import plain_number

    found = plain_number(price.strip())
    if not sign or not number.strip().isdigit() or found is None:
        raise click.BadParameter(
            gettext("“{text}” is no new price; write the piece's number and it, such as 12=44.00.", text=text)
        )
    return int(number), found


def _line(line: Line) -> str:
    ahead, item = line.ahead, line.ahead.item
    assert item.listing is not None
    chances = " ".join(f"{_stood(days)} {separated(f'{chance:.0%}')}" for days, chance in ahead.chances.items())
    late = ""
    if line.over is not None:
        late = gettext("given up by the plan {days} ago", days=_stood(line.over))
    elif line.due is not None:
        late = gettext("plan asks {price} since {days}", price=separated(str(line.planned)), days=_stood(line.due))
    told, move = key(ahead.why), ahead.move
    if move:
        told = gettext("to {price}: {gain} ({low} to {high})", price=separated(str(move.to)), gain=_signed(move.gain),
                       low=_signed(move.low), high=_signed(move.high))  # fmt: skip
    asked = separated(f"{item.listing.asking_price:>9}")
    return (
        f"{item.id:>6}  {item.what[:30]:<31}{_stood(ahead.days):>6}  {asked}  {chances:<18}"
        f"  {told}{f'; {late}' if late else ''}"
    )


def _stood(days: int) -> str:
    return gettext("{count} d", count=days)


def _signed(amount: Decimal) -> str:
    return separated(f"{amount:+}")
