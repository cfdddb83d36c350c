"""What every command shares: exit codes, the data folder, words on stderr."""

from __future__ import annotations

import errno
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sourcing.errors import Busy, SourcingError
from sourcing.language import gettext, ngettext, of_environment, of_locale, separated
from web.commands.words import Group, speak

if TYPE_CHECKING:
    from sourcing.storage import Store

FAILED, REFUSED, SOME_FAILED, BUSY = 1, 3, 4, 5


class Commands(Group):
    """Turn the domain's errors, and files that cannot be read or written, into one sentence and an exit code."""

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        """Begin a run of the command line, in the language of the environment until the data is open."""
        speak(of_environment())
        return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command named."""
        try:
            return super().invoke(ctx)
        except SourcingError as error:
            say(failed(error))
            raise SystemExit(exit_code(error)) from error
        except OSError as error:
            if error.errno == errno.EPIPE or error.filename is None:  # click ends a closed pipe quietly itself
                raise
            say(failed(gettext("{file} cannot be used: {why}.", file=error.filename, why=error.strerror)))
            raise SystemExit(FAILED) from error


def exit_code(error: SourcingError) -> int:
    """Return the documented exit code of one error."""
    return BUSY if isinstance(error, Busy) else FAILED


def _take_data(ctx: click.Context, _option: click.Parameter, value: str | None) -> None:
    if value:
        ctx.find_root().obj = value


data_option = click.option(
    "--data",
    metavar="DIR",
    expose_value=False,
    callback=_take_data,
    help="Folder of the data; else $SOURCING_DATA, else the platform's own.",
)


def data_place(ctx: click.Context) -> str:
    """Return the data file, or a database URL where one was given instead of a folder."""
    given = ctx.find_root().obj or os.environ.get("SOURCING_DATA")
    if not given:
        from platformdirs import user_data_path

        given = str(user_data_path("sourcing"))
    return str(given) if "://" in given else str(Path(given).expanduser() / "sourcing.sqlite3")


def open_data(ctx: click.Context) -> Store:
    """Open the store, closed again when the command ends, and speak the language of its settings from here on."""
    from sourcing.settings import load_settings
    from sourcing.storage import open_store

    store = open_store(data_place(ctx))
    ctx.call_on_close(store.close)
    speak(of_locale(load_settings(store).locale))
    return store


def say(text: str) -> None:
    """Talk to the user on stderr, so that stdout holds results alone."""
    click.echo(text, err=True)


def key(word: str) -> str:
    """Return a word that is kept and compared in English, such as a state, as a person is told it."""
    return gettext(word).replace("\N{SOFT HYPHEN}", "") if word else ""


def days_of(count: int) -> str:
    """Return a number of days."""
    return ngettext("{count} day", "{count} days", count)


def failed(why: object) -> str:
    """Return the sentence that says of something that it failed, begun as click begins its own."""
    return gettext("Error: {message}", message=why)


@contextmanager
def working(what: str) -> Iterator[Callable[[str], None]]:
    """Show on a terminal that work goes on; yields a call that changes the words."""
    if not sys.stderr.isatty():
        yield lambda words: None
        return
    from rich.console import Console

    with Console(stderr=True).status(what) as status:
        yield status.update


def folder_of(data: str) -> Path:
    """Return the folder beside the data, where files wait for the user's word."""
    from web.state import folder_of as beside

    return beside(data)


def progress(path: Path, tell: Callable[[str], None]) -> Callable[[int], None] | None:
    """Return what tells how far the reading of a file is, how fast it goes and how long it will take; None unseen."""
    if not sys.stderr.isatty():
        return None
    from sourcing.comps.lines import count_lines

    name, rows, start = path.name, count_lines(path) or 0, time.monotonic()

    def told(read: int) -> None:
        gone = max(time.monotonic() - start, 1e-3)
        done = ngettext(
            "{name}: {rows} row, {pace} a second", "{name}: {rows} rows, {pace} a second", read,
            name=name, rows=separated(f"{read:,}"), pace=separated(f"{read / gone:,.0f}"),
        )  # fmt: skip
        stop = gettext("Ctrl-C stops it and stores nothing")
        if rows <= read or gone <= 1:
            return tell(f"{done}; {stop}")
        left = gettext("{count} s left", count=separated(f"{(rows - read) * gone / read:,.0f}"))
        return tell(f"{done}, {left}; {stop}")

    return told
