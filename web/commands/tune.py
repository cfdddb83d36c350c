"""``tune``: what each setting of a rule would have brought."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import TYPE_CHECKING

import click

from sourcing.language import gettext, ngettext, separated
from web.commands.frame import data_option, open_data, say, working
from web.commands.words import Command

if TYPE_CHECKING:
    from sourcing.tuning import Bench, Frontier

_LINES = 12  # points shown of a frontier


@click.command(cls=Command)
@click.option("--category", default="", help="One category; else every one with occasions.")
@click.option("--rule", default="least_profit", help="The rule that moves, such as least_profit.", show_default=True)
@click.option("--objective", default="profit", help="profit, per hour, per cash or blend.", show_default=True)
@click.option(
    "--list", "priced_list", type=click.Path(exists=True, dir_okay=False), help="Items seen with a price, too."
)
@click.option("--seen-on", type=click.DateTime(["%Y-%m-%d"]), help="Day the list was seen, where it has no seen_on.")
@click.option("--accept", "accepted", is_flag=True, help="Save the suggestion; sourcing settings undo takes it back.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def tune(
    ctx: click.Context,
    category: str,
    rule: str,
    objective: str,
    priced_list: str | None,
    seen_on: datetime | None,
    accepted: bool,
    as_json: bool,
) -> None:
    """Replay your history and say what each setting of a rule would have brought.

    The first run works through the history day by day, which takes a minute or two; after that it answers at once until
    comps, old checks or terms change.

    \b
    Example: sourcing tune --category shoes --rule least_profit --objective "per hour"
    """
    from sourcing.tuning import accept
    from sourcing.tuning import tune as replayed
    from sourcing.tuning.priced import priced

    if accepted and not category:
        raise click.UsageError(gettext("--accept takes one category: name it with --category."))
    store = open_data(ctx)
    seen = priced(store, priced_list, seen_on.date() if seen_on else None) if priced_list else []
    with working(gettext("Replaying the history")) as tell:
        found = replayed(
            store,
            category,
            rule,
            objective,
            candidates=seen,
            on_progress=lambda share, words: tell(f"{separated(f'{share:.0%}'):>5}  {words}"),
        )
    click.echo(json.dumps(found.as_dict(), indent=2) if as_json else _written(found))
    if not accepted:
        return
    suggestion = found.frontiers[0].suggestion
    if suggestion is None:
        say(gettext("Nothing was changed: there is no suggestion to accept."))
        return
    accept(store, suggestion)
    say(gettext("Saved. {why}. To take it back: sourcing settings undo", why=suggestion.why))


def _written(found: Bench) -> str:
    """Lay the bench out as text."""
    lines: list[str] = []
    for one in found.frontiers:
        lines += [
            f"{one.category or gettext('without a category')}: {one.rule}",
            f"  {one.words}",
            f"  {one.source_words} {_days(one.first_day, one.last_day)}",
            "",
            *_points(one),
            "",
        ]
    lines += [
        ngettext("{count} occasion was left out: {why}.", "{count} occasions were left out: {why}.", count,
                 why=gettext(why))
        for why, count in found.left_out
    ]  # fmt: skip
    return "\n".join([*lines, *found.notes])


def _days(first: date, last: date) -> str:
    from sourcing.day import day_writer

    write = day_writer()
    return gettext("{first} to {last}.", first=write(first), last=write(last))


def _points(one: Frontier) -> list[str]:
    """Write some points of a frontier as a table, today's and the best among them."""
    from sourcing.tuning.words import threshold

    every = range(0, len(one.points), max(1, len(one.points) // _LINES))
    wanted = sorted({*every, one.today, len(one.points) - 1, *([] if one.best is None else [one.best])})
    rows = [[
        "", one.rule, gettext("buys"), gettext("profit"), gettext("from"), gettext("to"), gettext("cash tied"),
        gettext("hours"), gettext("an hour"), gettext("per cash"),
    ]]  # fmt: skip
    for at in wanted:
        point = one.points[at]
        marks = ((gettext("today"), at == one.today), (gettext("best"), at == one.best))
        figures = (
            f"{point.buys:,}", f"{point.profit.mid:,.0f}", f"{point.profit.low:,.0f}", f"{point.profit.high:,.0f}",
            f"{point.cash.mid:,.0f}", f"{point.hours:,.1f}",
            "" if point.per_hour is None else f"{point.per_hour.mid:,.2f}",
            "" if point.per_cash is None else f"{point.per_cash.mid:,.2f}",
        )  # fmt: skip
        mark = " ".join(word for word, here in marks if here)
        rows.append([mark, threshold(one.rule, point.threshold), *map(separated, figures)])
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  "
        + f"{row[0]:{wide[0]}}"
        + "".join(f"  {cell:>{size}}" for cell, size in zip(row[1:], wide[1:], strict=True))
        for row in rows
    ]
