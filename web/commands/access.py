"""``access``: the keys that let other devices in."""

from __future__ import annotations

import dataclasses
import json

import click

from sourcing.language import gettext
from web.commands.frame import data_option, data_place, folder_of, open_data, say
from web.commands.words import Group


@click.group(invoke_without_command=True, cls=Group)
@data_option
@click.pass_context
def access(ctx: click.Context) -> None:
    """List, show or take back the keys that `sourcing serve` handed out; alone it lists them.

    Example: sourcing access revoke
    """
    if ctx.invoked_subcommand is None:
        ctx.invoke(show)


@access.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def show(ctx: click.Context, as_json: bool) -> None:
    """List the keys by number and day; the keys themselves are not kept.

    Example: sourcing access list
    """
    from sourcing.access import keys

    found = keys(open_data(ctx))
    if as_json:
        click.echo(json.dumps([dataclasses.asdict(one) for one in found], indent=2))
        return
    for one in found:
        gone = gettext("taken back {moment}", moment=one.revoked_at) if one.revoked_at else gettext("live")
        click.echo(f"{one.id}  {gettext('made {moment}', moment=one.made_at)}  {gone}")
    if not found:
        say(gettext("No key was handed out yet."))


@access.command("link")
@data_option
@click.pass_context
def link(ctx: click.Context) -> None:
    """Show the QR code of the running server again, for one without a screen.

    Example: sourcing access link
    """
    from web.commands.serving import show_link_again
    from web.security import secret_key

    show_link_again(folder_of(data_place(ctx)), open_data(ctx), secret_key(data_place(ctx)))


@access.command("revoke")
@click.argument("key", type=int, required=False)
@data_option
@click.pass_context
def revoke(ctx: click.Context, key: int | None) -> None:
    """Take back one key by its number, or all; a running server refuses them at once.

    Example: sourcing access revoke 2
    """
    from sourcing.access import revoke as take_back

    click.echo(gettext("Keys taken back: {count}.", count=take_back(open_data(ctx), key)))
