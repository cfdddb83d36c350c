"""What is done with pieces of stock: moved, listed, cut, sold, taken back, given up."""

from __future__ import annotations

import click

from sourcing.errors import BadInput
from sourcing.language import gettext
from web.commands.frame import data_option, open_data
from web.commands.stock_frame import amount, day_of, did, json_option, pieces_of
from web.commands.words import Command

DOWN = "down"  # what --to takes for a listing that is taken down
on_option = click.option("--on", "day", default="", help="Day it was done, YYYY-MM-DD; today where left out.")


@click.command(cls=Command)
@click.argument("pieces", nargs=-1, required=True)
@click.option("--to", "state", default="", help="ready, “to prep”, or down for a listing that is taken down.")
@click.option("--bin", "bin_name", help="Where they lie; an empty text for no bin.")
@click.option("--asking", help="List them at this price, or change it for listed ones; plan: what each forecast named.")
@click.option("--off", help="Cut the price of listed ones by this many percent.")
@click.option("--channel", default="", help="With --asking: where they are listed.")
@on_option
@json_option
@data_option
@click.pass_context
def move(
    ctx: click.Context,
    /,
    pieces: tuple[str, ...],
    state: str,
    bin_name: str | None,
    asking: str | None,
    off: str | None,
    channel: str,
    day: str,
    as_json: bool,
) -> None:
    """Do one thing with one piece or several: make ready, put in a bin, list, cut the price, take down.

    A piece is named by its label, its number with a hash (quoted: '#3'), or a whole code that it alone bears.

    \b
    Example: sourcing stock move 2648-0001J 2648-0002H --bin B4
    Example: sourcing stock move 2648-0001J --asking 44.90
    """
    from sourcing.stock import moves
    from sourcing.stock.item import LISTED, READY, TO_PREP

    if sum(one not in (None, "") for one in (state, asking, off)) + (bin_name is not None) != 1:
        raise click.UsageError(gettext("Say one thing: --to, --bin, --asking or --off."))
    store, on = open_data(ctx), day_of(day)
    items = pieces_of(store, pieces)
    numbers = [one.id for one in items]
    if bin_name is not None:
        done = moves.put_in(store, numbers, bin_name)
    elif off is not None:
        done = moves.cut(store, numbers, amount(off, "off") / 100, on)
    elif asking is not None and all(one.state == LISTED for one in items):
        done = moves.ask(store, numbers, amount(asking, "asking"), on)
    elif asking is not None:
        done = moves.list_(store, numbers, None if asking == "plan" else amount(asking, "asking"), on, channel)
    elif state == DOWN:
        done = moves.take_down(store, numbers, on)
    elif state in (READY, TO_PREP):
        done = moves.prepare(store, numbers, ready=state == READY)
    else:
        raise BadInput(gettext("Pieces are not moved to “{state}”.", state=state[:40]), f"{READY}, {TO_PREP}, {DOWN}.")
    did(store, done, as_json)


@click.command(cls=Command)
@click.argument("piece")
@click.option("--paid", required=True, help="What the buyer paid in all, shipping charged included.")
@click.option("--fees", help="Fees really paid.")
@click.option("--postage", help="Postage really paid.")
@click.option("--channel", default="", help="Where it was sold; else where it was listed.")
@on_option
@json_option
@data_option
@click.pass_context
def sell(
    ctx: click.Context,
    /,
    piece: str,
    paid: str,
    fees: str | None,
    postage: str | None,
    channel: str,
    day: str,
    as_json: bool,
) -> None:
    """Record a sale.

    A piece is named by its label, its number with a hash (quoted: '#3'), or a whole code that it alone bears.

    \b
    Example: sourcing stock sell 2648-0001J --paid 59 --postage 8.10
    Example: sourcing stock sell "#3" --paid 59
    """
    from sourcing.stock import sales

    store = open_data(ctx)
    (item,) = pieces_of(store, [piece])
    told = [None if text is None else amount(text, name) for text, name in ((fees, "fees"), (postage, "postage"))]
    done = sales.sell(store, item.id, amount(paid, "paid"), day_of(day), fees=told[0], postage=told[1], channel=channel)
    did(store, done, as_json)


@click.command("return", cls=Command)
@click.argument("piece")
@click.option("--refunded", required=True, help="What the buyer got back.")
@click.option("--cost", default="0", help="What the way back cost you, and fees that were kept.")
@on_option
@json_option
@data_option
@click.pass_context
def return_(ctx: click.Context, /, piece: str, refunded: str, cost: str, day: str, as_json: bool) -> None:
    """Take a sold piece back into stock, the loss booked with the sale.

    A piece is named by its label, its number with a hash (quoted: '#3'), or a whole code that it alone bears.

    Example: sourcing stock return 2648-0001J --refunded 59 --cost 8.10
    """
    from sourcing.stock import sales

    store = open_data(ctx)
    (item,) = pieces_of(store, [piece])
    done = sales.take_back(store, item.id, amount(refunded, "refunded"), day_of(day), amount(cost, "cost"))
    did(store, done, as_json)


@click.command("give-up", cls=Command)
@click.argument("pieces", nargs=-1, required=True)
@click.option("--got", default="0", help="What was got for each.")
@on_option
@json_option
@data_option
@click.pass_context
def give_up(ctx: click.Context, /, pieces: tuple[str, ...], got: str, day: str, as_json: bool) -> None:
    """Give pieces up: thrown or given away, or sold off for something.

    A piece is named by its label, its number with a hash (quoted: '#3'), or a whole code that it alone bears.

    Example: sourcing stock give-up 2648-0001J --got 2
    """
    from sourcing.stock import moves

    store = open_data(ctx)
    numbers = [one.id for one in pieces_of(store, pieces)]
    did(store, moves.give_up(store, numbers, day_of(day), amount(got, "got")), as_json)
