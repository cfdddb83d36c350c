"""``pack``: the take-along pack, written to a file, and what it holds."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import click

from web.commands.frame import data_option, data_place, folder_of, open_data, say, working


@click.command()
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
    with working("Reckoning") as tell:
        found = kept.bring_up_to_date(
            store, folder_of(data_place(ctx)), lambda share, what: tell(f"{share:.0%} {what}")
        )
    if out:
        kept.write(found.data, out)
    header = kept.header_of(gzip.decompress(found.data))
    holds = _holds(header, len(found.data))
    if as_json:
        click.echo(json.dumps(holds, indent=2))
        return
    click.echo(
        f"{holds['items']:,} items and {holds['codes']:,} barcodes, by {holds['comps']:,} comps; "
        f"{holds['categories']} categories for unknown items."
    )
    click.echo(f"Built {holds['built']}, learnt {holds['learnt']}; newest comp {holds['newest_comp'] or 'undated'}.")
    each = f", {holds['bytes'] / holds['items']:.0f} an item" if holds["items"] else ""
    click.echo(f"{holds['bytes']:,} bytes compressed{each}.")
    if holds["fees_until"]:
        click.echo(f"Other fees hold from {holds['fees_until']}: fetch it again then.")
    if out:
        say(f"Written to {out}.")


def _holds(header: dict[str, Any], size: int) -> dict[str, Any]:
    names = {group["category"] for group in header["groups"] if not group["known"]}
    return {**header["about"], "items": header["items"], "categories": len(names) - 1, "bytes": size}
