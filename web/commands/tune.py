"""``tune``: what each setting of a rule would have brought."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

import click

from web.commands.frame import data_option, open_data, say, working

if TYPE_CHECKING:
    from sourcing.tuning import Bench, Frontier

_LINES = 12  # points shown of a frontier


@click.command()
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
        raise click.UsageError("--accept takes one category: name it with --category.")
    store = open_data(ctx)
    seen = priced(store, priced_list, seen_on.date() if seen_on else None) if priced_list else []
    with working("Replaying the history") as tell:
        found = replayed(
            store,
            category,
            rule,
            objective,
            candidates=seen,
            on_progress=lambda share, words: tell(f"{share:4.0%}  {words}"),
        )
    click.echo(json.dumps(found.as_dict(), indent=2) if as_json else _written(found))
    if not accepted:
        return
    suggestion = found.frontiers[0].suggestion
    if suggestion is None:
        say("Nothing was changed: there is no suggestion to accept.")
        return
    accept(store, suggestion)
    say(f"Saved. {suggestion.why}. To take it back: sourcing settings undo")


def _written(found: Bench) -> str:
    """Lay the bench out as text."""
    lines: list[str] = []
    for one in found.frontiers:
        lines += [
            f"{one.category or 'without a category'}: {one.rule}",
            f"  {one.words}",
            f"  {one.source_words} {one.first_day} to {one.last_day}.",
            "",
            f"  {'':9}{one.rule:>16}{'buys':>7}{'profit':>9}{'from':>9}{'to':>9}"
            f"{'cash tied':>11}{'hours':>8}{'an hour':>9}{'per cash':>10}",
            *_points(one),
            "",
        ]
    lines += [f"{count} occasions were left out: {why}." for why, count in found.left_out]
    return "\n".join([*lines, *found.notes])


def _points(one: Frontier) -> list[str]:
    """Write some points of a frontier, today's and the best among them."""
    from sourcing.tuning.words import threshold

    every = range(0, len(one.points), max(1, len(one.points) // _LINES))
    wanted = sorted({*every, one.today, len(one.points) - 1, *([] if one.best is None else [one.best])})
    lines = []
    for at in wanted:
        point = one.points[at]
        mark = " ".join(word for word, here in (("today", at == one.today), ("best", at == one.best)) if here)
        hour = "" if point.per_hour is None else f"{point.per_hour.mid:,.2f}"
        cash = "" if point.per_cash is None else f"{point.per_cash.mid:,.2f}"
        lines.append(
            f"  {mark:11}{threshold(one.rule, point.threshold):>14}{point.buys:>7,}{point.profit.mid:>9,.0f}"
            f"{point.profit.low:>9,.0f}{point.profit.high:>9,.0f}{point.cash.mid:>11,.0f}{point.hours:>8,.1f}"
            f"{hour:>9}{cash:>10}"
        )
    return lines
