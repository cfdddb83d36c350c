"""``ladder``: the most worth paying by style, as a table or a file."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sourcing.language import gettext, ngettext
from web.commands.frame import data_option, days_of, open_data, say, working
from web.commands.words import Command

if TYPE_CHECKING:
    from sourcing.ladder import Ladder, Rung


@click.command(cls=Command)
@click.option("--brand", default="", help="Only this brand.")
@click.option("--category", default="", help="Only this category.")
@click.option("--by", "group", default="style", help="A line for each style, size or condition.")
@click.option("--discount", default="", help="Store discount to count with, such as 20% or “30% then 5.00”.")
@click.option("--find", default="", help="Only lines with these words.")
@click.option("--sort", default="name", help="name, “most worth paying”, “soonest sold” or “best known”.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write a CSV file instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def ladder(
    ctx: click.Context,
    /,
    brand: str,
    category: str,
    group: str,
    discount: str,
    find: str,
    sort: str,
    out: Path | None,
    as_json: bool,
) -> None:
    """Show the most worth paying by style, to be pinned at the rack.

    \b
    Example: sourcing ladder --category shoes --sort "most worth paying"
    Example: sourcing ladder --brand Kestrel --by size --out kestrel.csv
    """
    from sourcing.ladder import Wanted, as_row
    from sourcing.ladder import ladder as work_out
    from sourcing.purchase import Discounts
    from sourcing.settings import load_settings
    from web.ladder_file import as_csv

    store = open_data(ctx)
    off = Discounts.parse(discount) if discount.strip() else None
    settings = load_settings(store)
    with working(gettext("Working it out")):
        found = work_out(store, settings, Wanted(brand, category, group, off))
    lines, little = (found.lines(little=part, sort=sort, find=find) for part in (False, True))
    if out:
        part = out.with_name(out.name + ".part")
        part.write_text(as_csv(found, sort=sort, find=find), encoding="utf-8", newline="")
        os.replace(part, out)  # a half-written table is never taken for a whole one
        say(
            ngettext(
                "{count} line in {file}, and {more} with too little to go on.",
                "{count} lines in {file}, and {more} with too little to go on.",
                len(lines), file=out, more=len(little),
            )
        )  # fmt: skip
    elif as_json:
        click.echo(json.dumps([as_row(one) for one in (*lines, *little)], indent=2))
    else:
        _print(found, lines, settings.locale)
        if little:
            say(
                ngettext(
                    "{count} more with too little to go on.", "{count} more with too little to go on.", len(little)
                )
            )


def _print(found: Ladder, lines: list[Rung], locale: str) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from sourcing.money import money_writer

    write = money_writer(found.currency, locale)
    for names, words in found.rules:
        say(f"{', '.join(names)}: {'; '.join(words)}")
    console = Console()
    if not console.is_terminal:
        console.width = 150  # a pipe has no width of its own; nothing is worth cutting off
    table = Table()
    for name, figure in (
        (gettext("code"), False), (gettext("item"), False), ("", False), (gettext("at most"), True),
        (gettext("sells for"), True), (gettext("half sold in"), False), (gettext("sold"), True),
        (gettext("newest"), False),
    ):  # fmt: skip
        table.add_column(name, justify="right" if figure else "left")
    for one in lines:
        most = gettext("no limit") if one.most is None else write(one.most) if one.most > 0 else gettext("leave it")
        days = (
            gettext("not known") if not one.speed_known
            else gettext("not reached") if one.days_50 is None
            else days_of(one.days_50)
        )  # fmt: skip
        sale = write(one.sale.mid) if one.sale else ""
        newest = one.newest.isoformat() if one.newest else ""
        cells = (one.style_code, one.label, one.group, most, sale, days, str(one.sold), newest)
        table.add_row(*map(escape, cells))
    console.print(table)
