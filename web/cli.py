"""The command line; the commands live in ``web.commands``."""

from __future__ import annotations

import click

from web.commands.access import access
from web.commands.business import books, stores
from web.commands.check import check, demo
from web.commands.comps import load, undo
from web.commands.explain import explain
from web.commands.frame import BUSY, FAILED, REFUSED, SOME_FAILED, Commands, data_option
from web.commands.ladder import ladder
from web.commands.pack import pack
from web.commands.plan import plan
from web.commands.prep import prep
from web.commands.record import outcomes, record
from web.commands.serve import serve
from web.commands.settings import settings
from web.commands.stock import stock
from web.commands.table import comps
from web.commands.terms import terms
from web.commands.today import today
from web.commands.tune import tune
from web.commands.whole import export, restore

__all__ = ["BUSY", "FAILED", "REFUSED", "SOME_FAILED", "main"]


@click.group(cls=Commands)
@data_option
@click.version_option(package_name="sourcing")
def main() -> None:
    """Decide at the rack whether an item is worth its shelf price.

    \b
    Example: sourcing check FA123-001 --price 14.99
    """


for command in (
    serve,
    load,
    undo,
    comps,
    check,
    explain,
    ladder,
    pack,
    plan,
    prep,
    today,
    stock,
    outcomes,
    record,
    tune,
    stores,
    books,
    export,
    restore,
    settings,
    terms,
    access,
    demo,
):
    main.add_command(command)

if __name__ == "__main__":
    main()
