"""``stock``: what is in stock and what became of it; a piece is named by its label, its number (#12) or its code."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import click

from sourcing.errors import BadInput
from sourcing.language import gettext, separated
from web.commands.frame import data_option, key, open_data, say
from web.commands.stock_frame import as_dict, did, json_option, line, pattern_of, pieces_of, plain, safe
from web.commands.stock_moves import give_up, move, return_, sell
from web.commands.words import Group


@click.group(cls=Group)
@data_option
def stock() -> None:
    """Bring hauls into stock, find pieces, list, cut, sell and label them; every action can be undone.

    Example: sourcing stock list --state listed
    """


@stock.command("list")
@click.argument("words", nargs=-1)
@click.option("--state", default="", help="to prep, ready, listed, sold, returned or given up.")
@click.option("--store", "bought_at", default="", help="Pieces bought at this store.")
@click.option("--after", default=0, help="Begin behind this piece's number, for the next page of fifty.")
@json_option
@data_option
@click.pass_context
def list_(ctx: click.Context, /, words: tuple[str, ...], state: str, bought_at: str, after: int, as_json: bool) -> None:
    """List pieces, newest first, or find them by a label, a code or words.

    Example: sourcing stock list "trail shoe" --state listed
    """
    from sourcing.stock import seek, shelf
    from sourcing.stock.item import STATES

    if state and state not in STATES:
        raise BadInput(gettext("There is no state “{state}”.", state=state[:40]), f"{', '.join(STATES)}.")
    store = open_data(ctx)
    bought_at = seek.known_store(store, bought_at) if bought_at else ""
    found = seek.seek(store, " ".join(words), pattern_of(store), state=state, bought_at=bought_at, after=after)
    if as_json:
        held = [{"state": one.state, "pieces": one.pieces, "landed_cost": str(one.landed)} for one in shelf.held(store)]
        pieces = [as_dict(one) for one in found.items]
        click.echo(json.dumps({"by": found.by, "after": found.last, "held": held, "pieces": pieces}, indent=2))
        return
    for one in found.items:
        click.echo(line(one))
    if found.note:
        say(found.note)
    sums = [f"{key(one.state)} {one.pieces} ({separated(str(one.landed))})" for one in shelf.held(store)]
    say("; ".join(sums) or gettext("Nothing is in stock."))


@stock.command()
@click.argument("piece")
@json_option
@data_option
@click.pass_context
def show(ctx: click.Context, /, piece: str, as_json: bool) -> None:
    """Print one piece with its listings, its sales and its story.

    A piece is named by its label, its number with a hash (quoted: '#3'), or a whole code that it alone bears.

    \b
    Example: sourcing stock show 2648-0001J
    Example: sourcing stock show "#3"
    """
    from sourcing.stock import ledger, seek, shelf

    store = open_data(ctx)
    item = seek.piece(store, piece, pattern_of(store))
    listings, sales = shelf.listings_of(store, item.id), shelf.sales_of(store, [item.id]).get(item.id, ())
    story = ledger.actions(store, 100, item.id)
    if as_json:
        told: dict[str, Any] = {"listings": listings, "sales": sales, "story": story}
        lists = {name: [plain(one) for one in found] for name, found in told.items()}
        click.echo(json.dumps({**as_dict(item), "forecast": dict(item.forecast), **lists}, indent=2, default=str))
        return
    click.echo(line(item))
    for one in reversed(story):
        undone = f"  ({gettext('undone')})" if one.undone else ""
        click.echo(f"  {one.id}  {one.at[:10]}  {one.words}{undone}")


@stock.command()
@click.argument("haul", type=int, required=False)
@click.option("--store", "place", default="", help="Name of the store, for a haul that has none.")
@json_option
@data_option
@click.pass_context
def bring(ctx: click.Context, /, haul: int | None, place: str, as_json: bool) -> None:
    """Bring a haul into stock, the last one that is not there yet by default.

    Example: sourcing stock bring
    """
    from sourcing.stock import bring as brought

    store = open_data(ctx)
    waiting = brought.waiting(store)
    if haul is None and not waiting:
        raise BadInput(gettext("No haul waits to be brought in."), next_step=gettext("Take something on a run first."))
    did(store, brought.bring(store, waiting[0].haul_id if haul is None else haul, place=place), as_json)


@stock.command()
@click.argument("action", type=int, required=False)
@json_option
@data_option
@click.pass_context
def undo(ctx: click.Context, /, action: int | None, as_json: bool) -> None:
    """Undo an action, the last one by default; undoing an undoing does it again.

    Example: sourcing stock undo
    """
    from sourcing.stock import ledger

    store = open_data(ctx)
    if action is None:
        left = [one.id for one in ledger.actions(store, 1000) if one.undoes is None and not one.undone]
        if not left:
            raise BadInput(gettext("Nothing is left to undo."))
        action = left[0]
    did(store, ledger.undo(store, action), as_json)


@stock.command()
@click.argument("pieces", nargs=-1, required=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write the labels to this PDF.")
@click.option("--start", default=1, help="Place of the first label on the first page.")
@json_option
@data_option
@click.pass_context
def labels(ctx: click.Context, /, pieces: tuple[str, ...], out: Path | None, start: int, as_json: bool) -> None:
    """Give labels to pieces that have none, and print them all.

    A piece is named by its label, its number with a hash (quoted: '#3'), or a whole code that it alone bears.

    \b
    Example: sourcing stock labels "#1" "#2" --out labels.pdf --start 4
    """
    from sourcing.settings import load_settings
    from sourcing.stock import labels as bin_labels
    from sourcing.stock import shelf
    from sourcing.stock.sheet import Printed, check_start, label_pdf

    store = open_data(ctx)
    items = pieces_of(store, pieces)
    kept = load_settings(store).labels
    check_start(kept, start)
    if not all(one.label for one in items):
        bin_labels.give(store, [one.id for one in items], kept.pattern, date.today())
        items = shelf.some(store, [one.id for one in items])
    if out is not None:
        printed = [Printed(one.label, " ".join(filter(None, (one.what, one.size)))) for one in items]
        out.write_bytes(label_pdf(printed, kept, start))
    if as_json:
        click.echo(json.dumps({"pieces": [as_dict(one) for one in items]}, indent=2))
        return
    for one in items:
        click.echo(f"{one.label}  {safe(one.what)}")


for command in (move, sell, return_, give_up):
    stock.add_command(command)
