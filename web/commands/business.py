"""``stores`` and ``books``: what an hour brings where, and the books of a period as files."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import click

from sourcing.language import gettext, gettext_noop, ngettext, separated
from web.commands.frame import data_option, folder_of, open_data, say
from web.commands.words import Command

TIMES = gettext_noop("times")  # a unit of the books that nothing else names


@click.command(cls=Command)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def stores(ctx: click.Context, as_json: bool) -> None:
    """Rank the stores by what an hour there brings, driving, prep and selling counted.

    Example: sourcing stores
    """
    from decimal import Decimal

    from sourcing.money import money_writer
    from sourcing.settings import load_settings
    from sourcing.stores.bring import runs
    from sourcing.stores.standing import standing

    store = open_data(ctx)
    kept = load_settings(store)
    found = runs(store, kept)
    told = standing(found, Decimal(kept.for_category("").terms.hourly_value))
    if as_json:
        click.echo(json.dumps({
            "enough": told.enough,
            "stores": [
                {
                    "store": one.name, "runs": len(one.runs), "hours": round(one.hours, 2), "too_few": one.few,
                    "realised": str(one.realised), "profit": str(one.profit), "own_an_hour": str(one.an_hour),
                    "an_hour": round(one.level, 2), "low": round(one.low, 2), "high": round(one.high, 2),
                    "best": round(one.best, 4), "pays": round(one.pays, 4),
                    "ahead_of_next": None if one.ahead is None else round(one.ahead, 4),
                }
                for one in told.places
            ],
            "runs": [
                {
                    "run": one.run, "store": one.store, "day": one.day.isoformat(), "pieces": one.pieces,
                    "sold": one.sold, "realised": str(one.realised_profit),
                    "in_stock": str(Decimal(one.expected).scaleb(-2)), "hours": round(one.minutes / 60, 2),
                    "an_hour": None if one.an_hour is None else str(one.an_hour),
                }
                for one in found
            ],
        }, indent=2))  # fmt: skip
        return
    if not told.runs:
        say(gettext("Nothing to tell yet: no run has pieces in stock, or driving and shopping time."))
        return
    if not told.enough:
        say(
            ngettext(
                "{count} run: too few to tell stores apart.", "{count} runs: too few to tell stores apart.", told.runs
            )
        )
    write = money_writer(kept.currency, kept.locale)

    def amount(value: float | Decimal) -> str:
        return write(Decimal(str(round(value, 2))))

    rows = [
        (
            one.name, gettext("too few") if one.few else amount(one.level), f"{amount(one.low)} – {amount(one.high)}",
            str(len(one.runs)), separated(f"{one.hours:.1f}"), amount(one.realised), amount(one.profit),
            "" if one.few or not told.enough else separated(f"{one.best:.0%}"),
        )
        for one in told.places
    ]  # fmt: skip
    names = (
        gettext("store"), gettext("an hour"), gettext("range"), gettext("runs"), gettext("hours"), gettext("realised"),
        gettext("with stock"), gettext("best"),
    )  # fmt: skip
    _table(names, rows)


@click.command(cls=Command)
@click.option("--from", "first", default="", help="First day, such as 2026-01-01; this year of the books by default.")
@click.option("--to", "last", default="", help="Last day, that day included.")
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path),
    help="Write a file: .xlsx, .zip (all, with photos) or .csv (the statement, entries and dictionary beside it).",
)  # fmt: skip
@data_option
@click.pass_context
def books(ctx: click.Context, first: str, last: str, out: Path | None) -> None:
    """Add up the books of a period: stock, cost of goods, sales, fees, postage, returns, mileage.

    \b
    Example: sourcing books --from 2026-01-01 --to 2026-03-31
    Example: sourcing books --from 2026-01-01 --to 2026-12-31 --out books-2026.xlsx
    """
    from sourcing.books.file import CAUTION, DICTIONARY_FILE, ENTRIES_FILE, STATEMENT_FILE, Books
    from sourcing.books.lines import STATEMENT, statement_row
    from sourcing.books.period import YEAR, span_of
    from sourcing.errors import BadInput
    from sourcing.settings import load_settings
    from web.commands.frame import data_place

    store = open_data(ctx)
    kept = load_settings(store)
    begin, end = span_of(date.today(), YEAR, kept.business.year_start)
    found = Books(store, kept, _day(first, "--from") or begin, _day(last, "--to") or end)
    if out is None:
        row = statement_row(found.total)
        units = {"money": kept.currency, "distance": kept.business.distance}
        _table((gettext("column"), "", gettext("unit"), gettext("meaning")), [
            (one.name, "" if row[one.name] is None else _figure(row[one.name]),
             units.get(one.unit) or gettext(one.unit), gettext(one.meaning))
            for one in STATEMENT
        ], left=(0, 3))  # fmt: skip
        say(gettext(CAUTION))
        return
    ending = out.suffix.casefold()
    if ending == ".xlsx":
        written = {out: found.workbook()}
    elif ending == ".zip":
        written = {out: found.zip(folder_of(data_place(ctx)))}
    elif ending == ".csv":
        beside = {
            out: STATEMENT_FILE,
            _beside(out, "entries"): ENTRIES_FILE,
            _beside(out, "dictionary"): DICTIONARY_FILE,
        }
        written = {path: found.csv(name) for path, name in beside.items()}
    else:
        raise BadInput(
            gettext("“{name}” has no known ending.", name=out.name),
            gettext(".csv, .xlsx or .zip."),
            gettext("Name the file otherwise."),
        )
    for path, data in written.items():
        part = path.with_name(path.name + ".part")
        part.write_bytes(data)
        part.replace(path)  # a half-written file is never taken for a whole one
    names = ", ".join(path.name for path in written)
    done = gettext("{first} to {last}: {names}.", first=found.first, last=found.last, names=names)
    say(f"{done} {gettext(CAUTION)}")


def _beside(out: Path, what: str) -> Path:
    return out.with_name(f"{out.stem}-{what}.csv")


def _day(text: str, option: str) -> date | None:
    from sourcing.errors import BadInput

    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise BadInput(
            gettext("{option} is “{text}”.", option=option, text=text[:40]),
            gettext("A day such as 2026-01-31."),
            gettext("Correct it."),
        ) from error


def _figure(value: object) -> str:
    """Return a figure with the language's mark before decimals; a day as it is."""
    return str(value) if isinstance(value, date) else separated(str(value))


def _table(names: tuple[str, ...], rows: list[Any], left: tuple[int, ...] = (0,)) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    console = Console()
    if not console.is_terminal:
        console.width = 150  # a pipe has no width of its own
    table = Table()
    for at, name in enumerate(names):
        table.add_column(name, justify="left" if at in left else "right")
    for row in rows:
        table.add_row(*map(escape, row))
    console.print(table)
