"""``record`` and ``outcomes``: forecasts against what happened, sales against what was assumed, files of sales."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from web.commands.frame import data_option, open_data, say

if TYPE_CHECKING:
    from sourcing.record.record import Record


@click.command()
@click.option("--by", default="category", help="category, store, evidence or period.", show_default=True)
@click.option("--within", default=30, type=int, help="14, 30, 60 or 90 days.", show_default=True)
@click.option(
    "--accept", "accepted", default="", help="Put an offered correction in force, such as price: or speed:shoes."
)
@click.option("--undo", "undone", type=int, help="Take a correction back by its number.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def record(ctx: click.Context, by: str, within: int, accepted: str, undone: int | None, as_json: bool) -> None:
    """Hold every forecast against what came of it: prices, time to sell, profit, passes.

    \b
    Example: sourcing record --by evidence --within 60
    """
    from sourcing.record import corrected
    from sourcing.record.record import accept
    from sourcing.record.record import record as worked_out

    store = open_data(ctx)
    if accepted:
        say(f"Correction {accept(store, accepted)} is at work; sourcing record --undo takes it back.")
    if undone is not None:
        corrected.undo(store, undone)
        say(f"Correction {undone} is undone.")
    found = worked_out(store, by=by, within=within)
    click.echo(json.dumps(found.as_dict(), indent=2) if as_json else _written(found))


def _written(found: Record) -> str:
    lines = [f"{found.pieces} pieces bought on a forecast, {found.going} still to sell"]
    if found.price:
        part = found.price
        lines.append(
            _few(f"price: forecast over paid {part.level:.2f}, usual miss {part.miss:.0%}", part.count, part.more)
        )
        if part.inside_80:
            lines.append(f"  within the 80 % range: {part.inside_80[0]:.0%}")
    if found.speed and found.speed.seen and found.speed.seen.sold is not None:
        one = found.speed
        said = f"sold within {one.days} days: {found.speed.seen.sold:.0%}, forecast {one.forecast:.0%}"
        lines.append(_few(said, one.count, one.more))
        lines += [
            f"  forecast {bar.forecast:.0%}: sold {bar.sold:.0%} ({bar.low:.0%} to {bar.high:.0%}), {bar.count} listed"
            for bar in one.bins
            if bar.sold is not None
        ]
    if found.profit:
        part_ = found.profit
        said = (
            f"profit a piece: {part_.left:.2f}, expected {part_.expected:.2f}, gap {part_.low:.2f} to {part_.high:.2f}"
        )
        lines.append(_few(said, part_.count, part_.more))
    for group in found.groups:
        if group.price:
            said = f"  {group.name or 'none'}: forecast over paid {group.price.level:.2f}"
            lines.append(_few(said, group.price.count, group.price.more))
    if found.passes and found.passes.count:
        passed = found.passes
        said = f"passes: {passed.worth} of {passed.count} would have left a profit by later comps"
        lines.append(_few(said, passed.count, passed.more))
    lines += [
        f"offered: {one.name} {one.change:+.0%}, gain {one.gain:.4f} ({one.gain_low:.4f} to {one.gain_high:.4f}) out "
        f"of sample on {one.judged} pieces" for one in found.tried.offers
    ]  # fmt: skip
    if found.tried.lacking:
        lines.append(f"corrections are tried once {found.tried.lacking} more pieces with a forecast have sold")
    lines += [f"correction {one.id}: {one.kind} {one.category or 'all'}" for one in found.corrections if one.in_force]
    return "\n".join(lines)


def _few(said: str, count: int, more: int) -> str:
    return f"{said}; {count} pieces" + (f"; too few to tell, {more} more are needed" if more > 0 else "")


@click.command()
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--column", "columns", multiple=True, help="What a column feeds, by its place from 1, such as 3=fees.")
@click.option("--record", "recorded", is_flag=True, help="Record the sure matches of the file.")
@click.option("--undo", "undone", type=int, help="Take back what a file recorded, by the number it was given.")
@click.option("--own-comps", is_flag=True, help="Bring your own sales among the comps in line with stock.")
@click.option("--last", default=20, help="How many sales are shown.", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def outcomes(
    ctx: click.Context, file: Path | None, columns: tuple[str, ...], recorded: bool, undone: int | None,
    own_comps: bool, last: int, as_json: bool,
) -> None:  # fmt: skip
    """Show sales beside what was assumed of them, or match a FILE of sales to stock.

    \b
    Example: sourcing outcomes sales.csv --record
    """
    from sourcing.outcomes.file import read_sales
    from sourcing.outcomes.load import record_sales
    from sourcing.outcomes.match import match
    from sourcing.outcomes.own import bring_in_line
    from sourcing.outcomes.sale import explained_sales
    from sourcing.stock import ledger

    store = open_data(ctx)
    if undone is not None:
        ledger.undo(store, undone)
        bring_in_line(store)
        say("Undone: the pieces are as they were before the file.")
        return
    if own_comps:
        say(f"{bring_in_line(store)} loads of your own sales changed.")
        return
    if file is None:
        found = explained_sales(store, last)
        if as_json:
            click.echo(json.dumps([one.as_dict() for one in found.sales], indent=2))
            return
        for one in found.sales:
            click.echo(f"{one.sale.sold_on} {one.item.what}: {one.actual} left, {one.assumed} assumed")
            for line in one.lines:
                if line.difference:
                    click.echo(f"  {line.name}: {line.difference:+} ({line.why})")
        return
    said = {}
    for text in columns:
        place, _, field = text.partition("=")
        if not (place.isdigit() and int(place)):
            raise click.UsageError("--column takes a place and a field, such as 3=fees.")
        said[f"column:{int(place) - 1}"] = field
    seen = read_sales(store, file, file.name, said=said)
    for question in seen.questions:
        say(question.text)
    rows = match(store, seen.rows)
    told = [
        {"row": one.row.number, "state": one.state, "piece": one.best.id if one.best else None,
         "sure": round(one.candidates[0].chance, 3) if one.candidates else None,
         "why": one.why or (one.candidates[0].why if one.candidates else "")} for one in rows
    ]  # fmt: skip
    if as_json:
        click.echo(json.dumps(told, indent=2))
    else:
        for column in seen.columns:
            say(f"column {column.place + 1} {column.name}: {column.field or 'left out'}")
        for row in told:
            click.echo(
                f"row {row['row']}: {row['state']} {'#' + str(row['piece']) if row['piece'] else ''} {row['why']}"
            )
    if rows and not any(one.state in ("sure", "question", "recorded", "update") for one in rows):
        say("Nothing of it matches your stock. If these are sales of others: sourcing load FILE.")
    if recorded:
        done = record_sales(store, rows, name=file.name)
        bring_in_line(store)
        sold = f"{done.sold} sale{'' if done.sold == 1 else 's'} recorded"
        say(f"{sold}, costs of {done.updated} put in; sourcing outcomes --undo {done.action_id}")
