"""``record`` and ``outcomes``: forecasts against what happened, sales against what was assumed, files of sales."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sourcing.language import gettext, gettext_noop, ngettext, separated
from web.commands.frame import data_option, open_data, say
from web.commands.words import Command

if TYPE_CHECKING:
    from sourcing.record.record import Record

CORRECTED = {"price": gettext_noop("price"), "speed": gettext_noop("speed")}
STATES = {
    "sure": gettext_noop("sure"), "question": gettext_noop("question"), "none": gettext_noop("no match"),
    "recorded": gettext_noop("recorded before"), "update": gettext_noop("update"), "wrong": gettext_noop("wrong"),
}  # fmt: skip


@click.command(cls=Command)
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
        say(
            gettext(
                "Correction {number} is at work; sourcing record --undo takes it back.", number=accept(store, accepted)
            )
        )
    if undone is not None:
        corrected.undo(store, undone)
        say(gettext("Correction {number} is undone.", number=undone))
    found = worked_out(store, by=by, within=within)
    click.echo(json.dumps(found.as_dict(), indent=2) if as_json else _written(found))


def _written(found: Record) -> str:
    lines = [
        ngettext(
            "{count} piece bought on a forecast, {going} still to sell",
            "{count} pieces bought on a forecast, {going} still to sell",
            found.pieces,
            going=found.going,
        ),
        *_blind(found),
        *_prices(found),
        *_speeds(found),
    ]
    if found.profit:
        one = found.profit
        said = gettext(
            "profit a piece: {left}, expected {expected}, gap {low} to {high}",
            left=_two(one.left), expected=_two(one.expected), low=_two(one.low), high=_two(one.high),
        )  # fmt: skip
        lines.append(_few(said, one.count, one.more))
    for group in found.groups:
        if group.price:
            said = gettext(
                "{name}: forecast over paid {ratio}",
                name=group.name or gettext("without one"),
                ratio=_two(group.price.level),
            )
            lines.append("  " + _few(said, group.price.count, group.price.more))
    if found.passes and found.passes.count:
        passed = found.passes
        said = gettext(
            "passes: {worth} of {count} would have left a profit by later comps", worth=passed.worth, count=passed.count
        )
        lines.append(_few(said, passed.count, passed.more))
    return "\n".join([*lines, *_corrections(found)])


def _blind(found: Record) -> list[str]:
    if not found.blind:
        return []
    return [
        ngettext(
            "{count} more was bought without a forecast.", "{count} more were bought without a forecast.", found.blind
        )
    ]


def _prices(found: Record) -> list[str]:
    part = found.price
    if not part:
        return []
    said = gettext(
        "price: forecast over paid {ratio}, usual miss {miss}", ratio=_two(part.level), miss=_share(part.miss)
    )
    inside = part.inside_80
    within = gettext("within the 80\N{NO-BREAK SPACE}% range: {share}", share=_share(inside[0])) if inside else ""
    return [_few(said, part.count, part.more), *([f"  {within}"] if within else [])]


def _speeds(found: Record) -> list[str]:
    one = found.speed
    if not one or not one.seen or one.seen.sold is None:
        return []
    said = gettext(
        "sold within {days} days: {share}, forecast {forecast}",
        days=one.days, share=_share(one.seen.sold), forecast=_share(one.forecast),
    )  # fmt: skip
    return [
        _few(said, one.count, one.more),
        *(
            "  " + gettext(
                "forecast {forecast}: sold {share} ({low} to {high}), {count} listed",
                forecast=_share(bar.forecast), share=_share(bar.sold), low=_share(bar.low), high=_share(bar.high),
                count=bar.count,
            )
            for bar in one.bins
            if bar.sold is not None
        ),
    ]  # fmt: skip


def _corrections(found: Record) -> list[str]:
    lines = [
        ngettext(
            "offered: {name} {change}, gain {gain} ({low} to {high}) out of sample on {count} piece",
            "offered: {name} {change}, gain {gain} ({low} to {high}) out of sample on {count} pieces",
            one.judged, name=one.name, change=separated(f"{one.change:+.0%}"), gain=separated(f"{one.gain:.4f}"),
            low=separated(f"{one.gain_low:.4f}"), high=separated(f"{one.gain_high:.4f}"),
        )
        for one in found.tried.offers
    ]  # fmt: skip
    if found.tried.lacking:
        lines.append(
            ngettext(
                "Corrections are tried once {count} more piece with a forecast has sold.",
                "Corrections are tried once {count} more pieces with a forecast have sold.",
                found.tried.lacking,
            )
        )
    return lines + [
        gettext("correction {number}: {kind} {category}",
                number=one.id, kind=gettext(CORRECTED[one.kind]), category=one.category or gettext("all categories"))
        for one in found.corrections if one.in_force
    ]  # fmt: skip


def _few(said: str, count: int, more: int) -> str:
    told = f"{said}; {ngettext('{count} piece', '{count} pieces', count)}"
    if more <= 0:
        return told
    few = ngettext("too few to tell, {count} more is needed", "too few to tell, {count} more are needed", more)
    return f"{told}; {few}"


def _two(number: float) -> str:
    return separated(f"{number:.2f}")


def _share(part: float) -> str:
    return separated(f"{part:.0%}")


@click.command(cls=Command)
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
        say(gettext("Undone: the pieces are as they were before the file."))
        return
    if own_comps:
        say(
            ngettext(
                "{count} load of your own sales changed.",
                "{count} loads of your own sales changed.",
                bring_in_line(store),
            )
        )
        return
    if file is None:
        found = explained_sales(store, last)
        if as_json:
            click.echo(json.dumps([one.as_dict() for one in found.sales], indent=2))
            return
        for one in found.sales:
            left, assumed = separated(str(one.actual)), separated(str(one.assumed))
            said_of = gettext("{left} left, {assumed} assumed", left=left, assumed=assumed)
            click.echo(f"{one.sale.sold_on} {one.item.what}: {said_of}")
            for line in one.lines:
                if line.difference:
                    click.echo(f"  {line.name}: {separated(f'{line.difference:+}')} ({line.why})")
        return
    said = {}
    for text in columns:
        place, _, field = text.partition("=")
        if not (place.isdigit() and int(place)):
            raise click.UsageError(gettext("--column takes a place and a field, such as 3=fees."))
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
            field, at = column.field or gettext("left out"), column.place + 1
            say(gettext("column {number} {name}: {field}", number=at, name=column.name, field=field))
        for row in told:
            piece = f"#{row['piece']}" if row["piece"] else ""
            number, state = gettext("row {number}", number=row["row"]), STATES[str(row["state"])]
            click.echo(f"{number}: {gettext(state)} {piece} {row['why']}")
    if rows and not any(one.state in ("sure", "question", "recorded", "update") for one in rows):
        say(gettext("Nothing of it matches your stock. If these are sales of others: sourcing load FILE."))
    if recorded:
        done = record_sales(store, rows, name=file.name)
        bring_in_line(store)
        back = f"sourcing outcomes --undo {done.action_id}"
        say(
            ngettext(
                "{count} sale recorded, costs of {updated} put in; {command}",
                "{count} sales recorded, costs of {updated} put in; {command}",
                done.sold, updated=done.updated, command=back,
            )
        )  # fmt: skip
