"""``pack``: the take-along pack, written to a file, and what it holds."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import click

from sourcing.language import gettext, separated
from web.commands.frame import data_option, data_place, folder_of, open_data, say, working
from web.commands.words import Command


@click.command(cls=Command)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write it to this file too.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@data_option
@click.pass_context
def pack(ctx: click.Context, /, out: Path | None, as_json: bool) -> None:
    """Build the take-along pack, with which a phone judges without the server, and say what it holds.

    \b
    Example: sourcing pack
    Example: sourcing pack --out pack.gz --json
    """
    from sourcing.pack import kept

    store = open_data(ctx)
    with working(gettext("Reckoning")) as tell:
        found = kept.bring_up_to_date(
            store, folder_of(data_place(ctx)), lambda share, what: tell(f"{separated(f'{share:.0%}')} {what}")
        )
    if out:
        kept.write(found.data, out)
    header = kept.header_of(gzip.decompress(found.data))
    holds = _holds(header, len(found.data))
    if as_json:
        click.echo(json.dumps(holds, indent=2))
        return
    _show(holds)
    if out:
        say(gettext("Written to {file}.", file=out))


def _show(holds: dict[str, Any]) -> None:
    def whole(name: str) -> str:
        return separated(f"{holds[name]:,}")

    click.echo(
        gettext(
            "{items} items and {codes} barcodes, by {comps} comps; {categories} categories for unknown items.",
            items=whole("items"), codes=whole("codes"), comps=whole("comps"), categories=whole("categories"),
        )
    )  # fmt: skip
    newest = holds["newest_comp"] or gettext("undated")
    click.echo(
        gettext("Built {built}, learnt {learnt}; newest comp {newest}.",
                built=holds["built"], learnt=holds["learnt"], newest=newest)
    )  # fmt: skip
    if holds["items"]:
        each = separated(f"{holds['bytes'] / holds['items']:.0f}")
        click.echo(gettext("{bytes} bytes compressed, {each} an item.", bytes=whole("bytes"), each=each))
    else:
        click.echo(gettext("{bytes} bytes compressed.", bytes=whole("bytes")))
    if holds["fees_until"]:
        click.echo(gettext("Other fees hold from {day}: fetch it again then.", day=holds["fees_until"]))


def _holds(header: dict[str, Any], size: int) -> dict[str, Any]:
    names = {group["category"] for group in header["groups"] if not group["known"]}
    return {**header["about"], "items": header["items"], "categories": len(names) - 1, "bytes": size}
