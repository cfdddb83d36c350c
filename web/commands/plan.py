"""``plan``: what to take of the haul or of a shelf list within cash and prep time."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sourcing.language import gettext, ngettext, separated
from sourcing.shortened import shortened
from web.commands.frame import SOME_FAILED, data_option, open_data, say, working
from web.commands.words import Command

if TYPE_CHECKING:
    from sourcing.planner import Line, Plan


@click.command(cls=Command)
@click.option("--cash", help="Most cash to spend, such as 120; else the settings' own; off for no limit.")
@click.option("--hours", help="Most hours of prep, such as 2.5; else the settings' own; off for no limit.")
@click.option("--most-of-style", help="Most pieces of one style; else the settings' own.")
@click.option("--most-in-category", help="Most cash in one category; else the settings' own.")
@click.option(
    "--list",
    "list_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Choose from a CSV or XLSX as check --list reads it, optionally with a column stock; not from the haul.",
)
@click.option("--check", "checks", type=int, multiple=True, help="Number of a past check to choose from too.")
@click.option("--all", "every", is_flag=True, help="Take what your rules pass too, where it brings anything.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def plan(
    ctx: click.Context,
    /,
    cash: str | None,
    hours: str | None,
    most_of_style: str | None,
    most_in_category: str | None,
    list_file: Path | None,
    checks: tuple[int, ...],
    every: bool,
    as_json: bool,
) -> None:
    """Say what to take of the open haul, of past checks or of a list, and how many of each, for the most profit.

    \b
    Example: sourcing plan --cash 120 --hours 3
    Example: sourcing plan --list shelf_list.csv --cash 80 --json
    """
    from sourcing import planner
    from sourcing.money import money_writer
    from sourcing.settings import load_settings

    store = open_data(ctx)
    kept = load_settings(store)
    typed = {"cash": cash, "prep_hours": hours, "most_of_style": most_of_style, "most_in_category": most_in_category}
    said = {name: text for name, text in typed.items() if text is not None}
    limits = planner.read_limits(said, kept.haul, kept.currency)
    problems: list[tuple[int, str]] = []
    with working(gettext("Planning")), quiet():
        if list_file:
            asked, problems = planner.of_list(list_file, kept)
            asked = planner.joined(asked, planner.of_checks(store, checks))
        else:
            asked = planner.joined(planner.of_haul(store), planner.of_checks(store, checks))
        write = money_writer(kept.currency, kept.locale)
        found = planner.plan(
            planner.judged(store, asked, kept), limits, every=every, currency=kept.currency, write=write
        )
    for row, problem in problems:
        say(gettext("Row {number}: {problem}", number=row, problem=problem))
    if as_json:
        rows = [{"row": row, "problem": problem} for row, problem in problems]
        click.echo(json.dumps({**found.as_dict(), "problems": rows}, indent=2))
    else:
        _show(found, write)
    if problems:
        raise SystemExit(SOME_FAILED)


@contextmanager
def quiet() -> Iterator[None]:
    """Keep what the solver's own library may print away from the results on stdout."""
    sys.stdout.flush()
    try:
        number = sys.stdout.fileno()
        kept = os.dup(number)
    except OSError:  # no file: nothing written past Python can reach it
        yield
        return
    try:
        with open(os.devnull, "wb") as nothing:
            os.dup2(nothing.fileno(), number)
            yield
    finally:
        sys.stdout.flush()
        os.dup2(kept, number)
        os.close(kept)


def _show(found: Plan, write: Callable[[Decimal], str]) -> None:
    def more(amount: Decimal) -> str:
        return gettext("{amount} more", amount=write(amount)) if amount else gettext("nothing more")

    click.echo(
        ngettext(
            "Take {count} piece for {cash} and {hours} h of prep: expected profit {profit}.",
            "Take {count} pieces for {cash} and {hours} h of prep: expected profit {profit}.",
            found.pieces,
            cash=write(found.cash),
            hours=separated(f"{found.minutes / 60:.2f}"),
            profit=write(found.profit),
        )
        if found.pieces
        else gettext("Take nothing.")
    )
    if found.more_cash is not None:
        click.echo(gettext("Ten more of cash would bring {amount}.", amount=more(found.more_cash)))
    if found.more_hour is not None:
        click.echo(gettext("One more hour of prep would bring {amount}.", amount=more(found.more_hour)))
    if found.stopped:
        click.echo(
            gettext(
                "The search stopped early: no plan brings more than {amount} beyond this one.",
                amount=write(found.short),
            )
        )
    _lines(gettext("Take"), found.taken)
    _lines(gettext("Leave"), found.left)
    if found.unknown:
        click.echo("\n" + gettext("Nothing to plan with"))
        for one, why in found.unknown:
            click.echo(f"  {shortened(one.label)}: {why}")


def _lines(heading: str, lines: tuple[Line, ...]) -> None:
    if lines:
        click.echo(f"\n{heading}")
    for line in lines:
        click.echo(f"  {f'{line.count} x ' if line.count else ''}{shortened(line.candidate.label)}: {line.why.words}")
