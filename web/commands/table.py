"""``comps``: look rows of the table up, change them, merge and rename, take changes back."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from sourcing.language import gettext, ngettext, separated
from sourcing.shortened import shortened
from web.commands.frame import data_option, key, open_data, say, working
from web.commands.words import Group

if TYPE_CHECKING:
    from sourcing.comps.change import Edit
    from sourcing.comps.comp import CompRow
    from sourcing.storage import Store

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group(cls=Group)
@data_option
def comps() -> None:
    """Look through the comps table and change it; every change can be undone.

    Example: sourcing comps search "trail runner" --category shoes
    """


@comps.command()
@click.argument("words", nargs=-1)
@click.option("--brand", default="", help="Rows of this brand.")
@click.option("--category", default="", help="Rows of this category; (none) for rows without one.")
@click.option("--condition", default="", help="Rows in this condition.")
@click.option("--status", default="", help="sold, open or ended unsold.")
@click.option("--within", type=int, help="Rows not older than so many days.")
@click.option("--older", type=int, help="Rows older than so many days.")
@click.option("--counts", default="", help="counted, or a reason why a row is not, such as set aside by you.")
@click.option("--batch", "batch_id", type=int, help="Rows of this load.")
@click.option("--sort", default="", help="newest, oldest, dearest, cheapest, loaded last or likest.")
@click.option("--page", default=1, help="Which page of fifty.")
@json_option
@data_option
@click.pass_context
def search(ctx: click.Context, /, words: tuple[str, ...], as_json: bool, **wanted: Any) -> None:
    """List rows by a code, by words of brand and title (misspelt ones too), or all of them.

    Example: sourcing comps search "peper mill" --status sold
    """
    from sourcing.comps.search import Filter
    from sourcing.comps.search import search as look_up

    found = look_up(open_data(ctx), Filter(query=" ".join(words), **wanted))
    if as_json:
        click.echo(json.dumps({**vars(found), "rows": [row.as_dict() for row in found.rows]}, indent=2))
        return
    for row in found.rows:
        click.echo(_line(row))
    say(
        ngettext(
            "{total} row; page {page} of {pages}.",
            "{total} rows; page {page} of {pages}.",
            found.total, total=separated(f"{found.total:,}"), page=found.page, pages=found.pages,
        )
        if found.total
        else gettext("No row is like that.")
    )  # fmt: skip


@comps.command()
@click.argument("row")
@json_option
@data_option
@click.pass_context
def show(ctx: click.Context, row: str, as_json: bool) -> None:
    """Print one row and where it came from.

    Example: sourcing comps show 12-345678
    """
    from sourcing.comps.comp import cells, comp, row_id, sources

    store = open_data(ctx)
    found = comp(store, row_id(row))
    came = sources(store, found.id)
    if as_json:
        click.echo(json.dumps({**found.as_dict(), "sources": [vars(one) for one in came]}, indent=2))
        return
    for name, value in cells(found).items():
        if value:
            click.echo(f"{name:17} {_plain(value)}")
    if found.out:
        why = f"{key(found.out)}: {_plain(found.aside)}" if found.aside else key(found.out)
        click.echo(f"{gettext('not counted'):17} {why}")
    for one in came:
        place = gettext("{file}, row {number}, SHA-256 {digest}",
                        file=_plain(one.file_name), number=one.row, digest=one.sha256)  # fmt: skip
        load = gettext("load {number}", number=one.batch_id)
        click.echo(f"{load:17} {gettext('typed by you') if found.typed_in else place}")


@comps.command()
@click.argument("row")
@click.argument("changes", nargs=-1, required=True, metavar="COLUMN=VALUE...")
@json_option
@data_option
@click.pass_context
def edit(ctx: click.Context, row: str, changes: tuple[str, ...], as_json: bool) -> None:
    """Change columns of one row, written as in a comps file; an empty value empties it.

    Example: sourcing comps edit 12-345678 sold_price=42.50 size=9
    """
    from sourcing.comps.comp import row_id
    from sourcing.comps.edits import edit_row
    from sourcing.errors import BadInput

    said = {}
    for change in changes:
        name, equals, value = change.partition("=")
        if not equals:
            raise BadInput(
                gettext("“{text}” changes nothing.", text=change[:40]),
                gettext("A column and its new value, such as size=9."),
            )
        said[name.strip()] = value
    store = open_data(ctx)
    _report(store, edit_row(store, row_id(row), said), as_json)


@comps.command()
@click.argument("rows", nargs=-1, required=True)
@click.option("--reason", required=True, help="Why they should not count.")
@json_option
@data_option
@click.pass_context
def aside(ctx: click.Context, rows: tuple[str, ...], reason: str, as_json: bool) -> None:
    """Set rows aside, so that they count no longer.

    Example: sourcing comps aside 12-345678 --reason "lot of three"
    """
    from sourcing.comps.comp import row_id
    from sourcing.comps.edits import set_aside

    store = open_data(ctx)
    _report(store, set_aside(store, [row_id(row) for row in rows], reason), as_json)


@comps.command()
@click.argument("rows", nargs=-1, required=True)
@json_option
@data_option
@click.pass_context
def back(ctx: click.Context, rows: tuple[str, ...], as_json: bool) -> None:
    """Let rows that were set aside count again.

    Example: sourcing comps back 12-345678
    """
    from sourcing.comps.comp import row_id
    from sourcing.comps.edits import bring_back

    store = open_data(ctx)
    _report(store, bring_back(store, [row_id(row) for row in rows]), as_json)


@comps.command()
@click.argument("code")
@click.argument("into")
@json_option
@data_option
@click.pass_context
def merge(ctx: click.Context, code: str, into: str, as_json: bool) -> None:
    """Make two items one: rows of the first code count for the second, in files loaded later too.

    Example: sourcing comps merge KT-1042B KT-1042
    """
    from sourcing.comps.edits import merge as make_one
    from sourcing.comps.search import item_of

    store = open_data(ctx)
    _report(store, make_one(store, item_of(store, code), item_of(store, into)), as_json)


@comps.command()
@click.argument("rows", nargs=-1, required=True)
@click.option("--to", "style_code", required=True, help="The style code they get.")
@json_option
@data_option
@click.pass_context
def move(ctx: click.Context, rows: tuple[str, ...], style_code: str, as_json: bool) -> None:
    """Give rows to another style code, a new one or one that is there.

    Example: sourcing comps move 12-345678 12-345679 --to KT-2000
    """
    from sourcing.comps.comp import row_id
    from sourcing.comps.edits import split

    store = open_data(ctx)
    _report(store, split(store, [row_id(row) for row in rows], style_code), as_json)


@comps.command()
@click.argument("kind", type=click.Choice(["brand", "category"]))
@click.argument("names", nargs=-1, required=True)
@click.option("--to", "name", required=True, help="The name they get.")
@json_option
@data_option
@click.pass_context
def rename(ctx: click.Context, kind: str, names: tuple[str, ...], name: str, as_json: bool) -> None:
    """Give brands or categories another name, in files loaded later too.

    Example: sourcing comps rename brand Kestrel "Kestrel and Tarn" --to "Kestrel & Tarn"
    """
    from sourcing.comps.edits import rename as give_name

    store = open_data(ctx)
    _report(store, give_name(store, kind, names, name), as_json)


@comps.command()
@json_option
@data_option
@click.pass_context
def changes(ctx: click.Context, as_json: bool) -> None:
    """List the changes made to the table, the newest first.

    Example: sourcing comps changes
    """
    from sourcing.comps.take_back import edits

    found = edits(open_data(ctx))
    if as_json:
        click.echo(json.dumps([vars(one) for one in found], indent=2))
        return
    for one in found:
        undone = f"  {gettext('undone {day}', day=one.undone_at[:10])}" if one.undone_at else ""
        click.echo(f"{one.id}  {one.at[:10]}  {_plain(one.words)}{undone}")
    if not found:
        say(gettext("The table was not changed yet."))


@comps.command("undo-change")
@click.argument("change", type=int)
@json_option
@data_option
@click.pass_context
def undo_change(ctx: click.Context, change: int, as_json: bool) -> None:
    """Take one change back; its number is in the list of changes.

    Example: sourcing comps undo-change 4
    """
    from sourcing.comps.take_back import undo_edit

    store = open_data(ctx)
    done = undo_edit(store, change)
    _learn(store)
    plain = {"change": change, "rows": done.rows, "gone": done.gone, "words": done.words}
    click.echo(json.dumps(plain) if as_json else _plain(done.words))


def _report(store: Store, made: Edit, as_json: bool) -> None:
    _learn(store)
    told = gettext("Change {number}: {words}", number=made.id, words=_plain(made.words))
    click.echo(json.dumps(vars(made)) if as_json else told)


def _learn(store: Store) -> None:
    from sourcing.fitting import keep_up

    with working(gettext("Fitting")) as tell:
        keep_up(store, lambda share, what: tell(f"{what} ({separated(f'{share:.0%}')})"))


def _line(row: CompRow) -> str:
    price = row.sold_price if row.status == "sold" else row.asking_price
    day = row.ended_on or row.seen_on or row.listed_on
    shown = separated(str(price or "-"))
    said = [str(row.id), key(row.status), shown, str(day or "-"), row.item_code or row.gtin, shortened(row.label)]
    out = gettext("not counted: {why}", why=key(row.out)) if row.out else ""
    return _plain("  ".join(filter(None, said))) + (f"  ({out})" if out else "")


def _plain(text: str) -> str:
    """Return text without characters that would steer a terminal."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)
