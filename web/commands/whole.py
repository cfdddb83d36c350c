"""``export`` and ``restore``: everything as open files in one zip, and back."""

from __future__ import annotations

from pathlib import Path

import click

from sourcing.language import ngettext, separated
from web.commands.frame import data_option, data_place, folder_of, open_data, say
from web.commands.words import Command


@click.command(cls=Command)
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
@click.pass_context
def export(ctx: click.Context, file: Path) -> None:
    """Write everything into one zip: each table as CSV, their schema, the photos.

    Example: sourcing export everything.zip
    """
    from sourcing.export.whole import write_everything

    counts = write_everything(open_data(ctx), folder_of(data_place(ctx)), file)
    rows = sum(counts.values())
    say(
        ngettext(
            "{rows} row of {tables} tables in {file}.", "{rows} rows of {tables} tables in {file}.", rows,
            rows=separated(f"{rows:,}"), tables=len(counts), file=file,
        )
    )  # fmt: skip


@click.command(cls=Command)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@data_option
@click.pass_context
def restore(ctx: click.Context, file: Path) -> None:
    """Read such a zip back into an empty data folder.

    Example: sourcing restore everything.zip --data ~/again
    """
    from sourcing.export.whole import read_everything

    counts = read_everything(open_data(ctx), folder_of(data_place(ctx)), file)
    rows = sum(counts.values())
    say(
        ngettext(
            "{rows} row of {tables} tables read back from {file}.",
            "{rows} rows of {tables} tables read back from {file}.",
            rows, rows=separated(f"{rows:,}"), tables=len(counts), file=file,
        )
    )  # fmt: skip
