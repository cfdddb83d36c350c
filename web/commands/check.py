"""``check`` and ``demo``: one item, or a whole list."""

from __future__ import annotations

import csv
import json
import os
import sys
from decimal import Decimal
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import click

from sourcing.errors import Busy
from sourcing.language import gettext, gettext_noop, ngettext, separated
from web.commands.frame import SOME_FAILED, data_option, days_of, open_data, say, working
from web.commands.words import Command

if TYPE_CHECKING:
    from sourcing.answer import Verdict
    from sourcing.others import AtOthers
    from sourcing.shelf_list import ListAnswer

PROBLEM = gettext_noop("problem")


@click.command(cls=Command)
@click.argument("code", required=False)
@click.option("--price", help='Shelf price, such as 14.99; or of several, such as "3 for 20".')
@click.option("--discount", help='Store discounts in the till\'s order, such as "30% then 5.00".')
@click.option("--brand", default="", help="Brand, for an item without comps of its own.")
@click.option("--category", default="", help="Category, for its terms and rules.")
@click.option("--title", default="", help="Title, when there is no code.")
@click.option("--size", default="", help="Size or other variant.")
@click.option("--condition", default="", help="Condition, in the words of your comps.")
@click.option("--flag", "flags", multiple=True, help="What the piece has, such as no_box; several by repeating it.")
@click.option(
    "--list",
    "list_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV or XLSX with the columns code, shelf_price and optionally brand, category, title, size, condition, "
    "flags.",
)
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), help="File for the answers of --list; else stdout."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def check(
    ctx: click.Context,
    /,
    code: str | None,
    price: str | None,
    discount: str | None,
    list_file: Path | None,
    out: Path | None,
    as_json: bool,
    flags: tuple[str, ...],
    **rest: Any,
) -> None:
    """Judge one item, kept in the history, or a whole list, not kept.

    \b
    Example: sourcing check FA123-001 --price 14.99
    Example: sourcing check --list shelf_list.csv --out answers.csv
    """
    if list_file:
        if code or price or discount or flags or any(rest.values()):
            raise click.UsageError(gettext("--list takes its items from the file alone."))
        _check_list(ctx, list_file, out, as_json)
        return
    if out:
        raise click.UsageError(gettext("--out goes with --list."))
    if not (code or rest["title"] or rest["brand"] or rest["category"]):
        raise click.UsageError(gettext("Name a code, or a list with --list."))
    from sourcing import history
    from sourcing.answer import Query
    from sourcing.check import at_others, prospect_of
    from sourcing.check import judge as judged
    from sourcing.flags.marked import read_flags
    from sourcing.purchase import Discounts
    from sourcing.settings import load_settings
    from sourcing.tag import typed_tag

    store = open_data(ctx)
    kept = load_settings(store)
    shelf = None if price is None else typed_tag(price, kept.currency, kept.locale)
    marked = read_flags(kept, flags)
    steps = Discounts.parse(discount) if discount else None
    query = Query(code=code or "", shelf_price=shelf, discount=steps, flags=marked, **rest)
    prospect = prospect_of(store, query, kept)
    verdict, there = judged(prospect, query), at_others(prospect, query)
    try:
        history.record(store, verdict)
    except Busy as error:  # the answer is worth more than its place in the history
        say(gettext("Not kept in the history: {why}", why=error))
    if as_json:
        beside = {"at_others": None if there is None else there.as_dict()}
        click.echo(json.dumps(verdict.as_dict() | beside, indent=2))
    else:
        _show(verdict, there, kept.locale)


def _show(verdict: Verdict, there: AtOthers | None, locale: str) -> None:
    from sourcing.answers import COLUMNS, row
    from sourcing.money import money_writer

    amounts = {column.name for column in COLUMNS if column.unit == "money"}
    write = money_writer(verdict.currency, locale)

    click.echo(verdict.reason)
    if there is not None:
        click.echo(there.words(verdict.decision, write))
    depth = verdict.depth_words if verdict.decision == "buy" else ""  # a pass says "none" already
    for note in (
        verdict.item.code_note,
        verdict.rests_on,
        verdict.would_settle,
        verdict.channel_words,
        depth,
        *verdict.warnings,
    ):
        if note:
            click.echo(note)
    for flag in verdict.flags:
        told = {"flag": flag.label, "minutes": separated(f"{flag.minutes.normalize():f}"), "words": flag.words}
        click.echo(
            gettext("{flag}: {minutes} min of prep, {supplies} of supplies. {words}",
                    supplies=write(flag.supplies), **told)
            if flag.supplies
            else gettext("{flag}: {minutes} min of prep. {words}", **told)
        )  # fmt: skip
    if verdict.item.suggestions:
        click.echo(gettext("Close known codes: {codes}", codes=", ".join(verdict.item.suggestions)))
    for name, value in row(verdict).items():
        shown = write(Decimal(value)) if value and name in amounts else value
        click.echo(f"{name:22}{shown}".rstrip())


def _check_list(ctx: click.Context, path: Path, out: Path | None, as_json: bool) -> None:
    from sourcing.shelf_list import answer_list

    if out and out.exists() and out.samefile(path):
        raise click.UsageError(gettext("--out would write over the list itself."))
    if out and out.suffix.casefold() in (".xlsx", ".xlsm", ".xls", ".ods"):
        raise click.UsageError(
            gettext("--out writes CSV, or JSON with --json: {name} would be no workbook.", name=out.name)
        )
    store = open_data(ctx)
    with working(gettext("Judging {name}", name=path.name)):
        found = answer_list(store, path)
    if out:
        part = out.with_name(out.name + ".part")
        with part.open("w", newline="", encoding="utf-8") as file:
            _write(found, file, as_json)
        os.replace(part, out)  # a half-written answer is never taken for a whole one
        say(
            ngettext(
                "{count} row answered in {file}, {problems} with a problem.",
                "{count} rows answered in {file}, {problems} with a problem.",
                len(found.rows), file=out, problems=found.problems,
            )
        )  # fmt: skip
    else:
        _write(found, sys.stdout, as_json)
    if found.problems:
        raise SystemExit(SOME_FAILED)


def _write(found: ListAnswer, file: IO[str], as_json: bool) -> None:
    if as_json:
        json.dump(found.rows, file, indent=2)
        file.write("\n")
        return
    writer = csv.DictWriter(file, [inert(name) for name in found.columns], restval="", extrasaction="ignore")
    writer.writeheader()
    writer.writerows({inert(name): inert(one[name]) for name in found.columns} for one in found.rows)


def inert(text: str) -> str:
    """Keep a text cell from being taken for a formula by a spreadsheet; numbers stay numbers."""
    if text[:1] not in ("=", "+", "-", "@", "\t", "\r"):
        return text
    try:
        return text if Decimal(text).is_finite() else f"'{text}"
    except ArithmeticError:
        return f"'{text}"


@click.command(cls=Command)
@click.option("--json", "as_json", is_flag=True, help="Print every answer column as JSON.")
def demo(as_json: bool) -> None:
    """Judge the sample shelf list against the invented sample comps, in a database that is thrown away.

    Example: sourcing demo
    """
    import tempfile

    from sourcing.samples import load_samples, shelf_list
    from sourcing.shelf_list import answer_list
    from sourcing.storage import open_store

    with tempfile.TemporaryDirectory() as folder, shelf_list() as path:
        store = open_store(str(Path(folder) / "demo.sqlite3"))
        try:
            say(gettext("Loading the invented sample comps ..."))
            with working(gettext("Loading and fitting")):
                load_samples(store)
            found = answer_list(store, path)
        finally:
            store.close()
    if as_json:
        _write(found, sys.stdout, as_json=True)
    else:
        _print_table(found)


def _print_table(found: ListAnswer) -> None:
    from rich.console import Console
    from rich.table import Table

    from sourcing.money import money_writer

    def shown(amount: str) -> str:
        return write(Decimal(amount)) if amount and not one["problem"] else amount

    write = money_writer()  # the demo's database is new, so its settings are the first ones
    console = Console()
    if not console.is_terminal:
        console.width = 150  # a pipe has no width of its own; nothing is worth cutting off
    table = Table(
        title=gettext("The invented sample shelf list"),
        caption=gettext("All brands, codes and prices are invented."),
    )
    for name, amount in (
        (gettext("code"), False), (gettext("item"), False), (gettext("shelf price"), True),
        (gettext("decision"), False), (gettext("most worth paying"), True), (gettext("asking price"), True),
        (gettext("half sell in"), False),
    ):  # fmt: skip
        table.add_column(name, justify="right" if amount else "left")
    for one in found.rows:
        days, word = one["days_to_sell_50"], one["decision"] or PROBLEM
        table.add_row(
            one.get("code", ""),
            one["item"],
            shown(one.get("shelf_price", "")),
            gettext(word),
            shown(one["most_worth_paying"]),
            shown(one["asking_price"]),
            days_of(int(days)) if days.isdigit() else gettext(days),
        )
    console.print(table)
    for one in found.rows:
        if one["problem"]:
            say(f"{one.get('code') or one.get('item')}: {one['problem']}")
