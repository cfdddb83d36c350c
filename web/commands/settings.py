"""``settings``: the terms and rules as one TOML file."""

from __future__ import annotations

import json
from pathlib import Path

import click

from sourcing.language import gettext, of_locale
from web.commands.comps import refit_all
from web.commands.frame import data_option, open_data, say
from web.commands.words import Group, speak


@click.group(cls=Group)
@data_option
def settings() -> None:
    """Show, export, import or undo the terms and rules.

    Example: sourcing settings export rules.toml
    """


@settings.command("show")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of TOML.")
@data_option
@click.pass_context
def show(ctx: click.Context, as_json: bool) -> None:
    """Print the settings in force.

    Example: sourcing settings show
    """
    from sourcing.settings import load_settings, to_toml

    kept = load_settings(open_data(ctx))
    for note in kept.notes:
        say(note)
    text = to_toml(kept)
    if as_json:
        import tomllib

        text = json.dumps(tomllib.loads(text), indent=2, default=str)
    click.echo(text.rstrip("\n"))


@settings.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@data_option
@click.pass_context
def export(ctx: click.Context, file: Path) -> None:
    """Write the settings to a file.

    Example: sourcing settings export rules.toml
    """
    from sourcing.settings import load_settings, to_toml

    file.write_text(to_toml(load_settings(open_data(ctx))), encoding="utf-8")
    say(gettext("The settings are in {file}.", file=file))


@settings.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@data_option
@click.pass_context
def take_in(ctx: click.Context, file: Path) -> None:
    """Take the settings of a file; `sourcing settings undo` goes back.

    Example: sourcing settings import rules.toml
    """
    from sourcing.errors import BadInput
    from sourcing.settings import from_toml, save_settings

    try:
        text = file.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise BadInput(
            gettext("{file} is not UTF-8.", file=file.name),
            gettext("TOML in UTF-8."),
            gettext("Save it again as UTF-8."),
        ) from error
    brought = from_toml(text)
    for note in brought.notes:
        say(note)
    store = open_data(ctx)
    if save_settings(store, brought, gettext("imported from {file}", file=file.name)):
        refit_all(store)
    speak(of_locale(brought.locale))
    say(gettext("The settings of {file} are in force.", file=file.name))


@settings.command("undo")
@data_option
@click.pass_context
def undo(ctx: click.Context) -> None:
    """Go back to the settings before the last change.

    Example: sourcing settings undo
    """
    from sourcing.settings import load_settings, undo_settings

    store = open_data(ctx)
    if undo_settings(store):
        refit_all(store)
    speak(of_locale(load_settings(store).locale))
    say(gettext("The settings before the last change are in force."))
