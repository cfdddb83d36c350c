"""The command line: serve | load | undo | check | settings | demo. Heavy imports wait inside the commands."""

from __future__ import annotations

import csv
import json
import os
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import click

from sourcing.errors import Busy, SourcingError

FAILED, REFUSED, SOME_FAILED, BUSY = 1, 3, 4, 5


class _Group(click.Group):
    """Turn the domain's errors into one sentence on stderr and a documented exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except SourcingError as error:
            click.echo(f"Error: {error}", err=True)
            raise SystemExit(BUSY if isinstance(error, Busy) else FAILED) from error


def _data_file(given: str | None) -> Path:
    folder = given or os.environ.get("SOURCING_DATA")
    if not folder:
        from platformdirs import user_data_path

        folder = str(user_data_path("sourcing"))
    return Path(folder).expanduser() / "sourcing.sqlite3"


def _store(ctx: click.Context) -> Any:
    from sourcing.storage import open_store

    return open_store(str(ctx.obj))


@click.group(cls=_Group)
@click.option(
    "--data", metavar="DIR", help="Folder of the data; else $SOURCING_DATA, else the platform's own."
)
@click.version_option(package_name="sourcing")
@click.pass_context
def main(ctx: click.Context, data: str | None) -> None:
    """Decide at the rack whether an item is worth its shelf price.

    Example: sourcing check FA123-001 --price 14.99
    """
    ctx.obj = _data_file(data)


@main.command()
@click.option("--host", default="", help="Address to listen on; 127.0.0.1 without --lan, all with it.")
@click.option("--port", default=8000, show_default=True)
@click.option(
    "--lan", is_flag=True, help="Serve the home network too, behind an access key shown as a QR code."
)
@click.option(
    "--samples-if-empty", is_flag=True, help="Load the invented sample comps into an empty database."
)
@click.pass_context
def serve(ctx: click.Context, host: str, port: int, lan: bool, samples_if_empty: bool) -> None:
    """Serve the pages. Example: sourcing serve --lan"""
    from waitress import create_server

    from web.app import create_app

    if host and host not in ("127.0.0.1", "localhost", "::1") and not lan:
        raise click.UsageError(
            "Serving other machines needs --lan, which asks every visitor for the access key."
        )
    if samples_if_empty:
        from sourcing.samples import is_empty, load_samples

        store = _store(ctx)
        if is_empty(store):
            click.echo("First run: loading the invented sample comps ...", err=True)
            click.echo(f"{load_samples(store)} comps loaded and fitted.", err=True)
        store.close()
    address = _lan_address() if lan else "127.0.0.1"
    hosts = ("localhost", "127.0.0.1", "[::1]", address) if lan else ("localhost", "127.0.0.1", "[::1]")
    app = create_app(str(ctx.obj), mode="lan" if lan else "loopback", hosts=hosts)
    try:
        server = create_server(
            app,
            host=host or ("0.0.0.0" if lan else "127.0.0.1"),  # noqa: S104
            port=port,
            threads=6,
            ident="",
            max_request_body_size=116_000_000,
        )
    except OSError as error:
        click.echo(
            f"Error: port {port} cannot be used ({error.strerror}). Name another with --port.", err=True
        )
        raise SystemExit(FAILED) from error
    click.echo(f"Open http://{address}:{port}/  (Ctrl-C stops)")
    if lan:
        _show_key(ctx, address, port)
    else:
        click.echo("To let a phone in over the home network: sourcing serve --lan")
    try:
        server.run()
    except KeyboardInterrupt:
        server.close()


def _show_key(ctx: click.Context, address: str, port: int) -> None:
    import segno

    from sourcing.access import grant

    link = f"http://{address}:{port}/enter/{grant(_store(ctx))}"
    click.echo("Scan this with the phone. The link is not encrypted: use it on your own network only.")
    segno.make(link).terminal(compact=True)
    click.echo(link)


def _lan_address() -> str:
    import socket

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): picks the route, sends nothing
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


@main.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.option("--keep-good", is_flag=True, help="Load the good rows of a file that has bad ones.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
@click.pass_context
def load(ctx: click.Context, files: tuple[Path, ...], keep_good: bool, as_json: bool) -> None:
    """Load comps files, each wholly or not at all. Example: sourcing load spring_sales.csv"""
    from sourcing.comps import load_file
    from sourcing.fitting import refit

    store, refused, reports = _store(ctx), False, []
    for path in files:
        report = load_file(store, path, name=path.name, keep_good=keep_good)
        reports.append(report)
        refused = refused or (report.rejected > 0 and report.batch_id is None)
        if not as_json:
            click.echo(
                f"{path.name}: read {report.read}, new {report.new}, known {report.known}, "
                f"rejected {report.rejected}" + (f", batch {report.batch_id}" if report.batch_id else "")
            )
        for problem in report.problems[:20]:
            where = f"row {problem.row}, {problem.column} “{problem.value[:40]}”"
            click.echo(f"  {where}: {problem.reason} {problem.fix}", err=True)
    if any(report.batch_id for report in reports):
        click.echo(f"Fitted on {refit(store).sold} sales.", err=True)
    if as_json:
        click.echo(json.dumps([report.as_dict() for report in reports], indent=2))
    if refused:
        click.echo("Nothing was stored of a file with rejected rows; mend it or use --keep-good.", err=True)
        raise SystemExit(REFUSED)


@main.command()
@click.argument("batch", type=int, required=False)
@click.pass_context
def undo(ctx: click.Context, batch: int | None) -> None:
    """Undo a load, the last one by default. Example: sourcing undo 3"""
    from sourcing.comps import batches, undo_batch
    from sourcing.fitting import refit

    store = _store(ctx)
    if batch is None:
        live = [one.id for one in batches(store) if one.undone_at is None]
        if not live:
            raise click.ClickException("No load is left to undo.")
        batch = max(live)
    click.echo(f"Batch {batch}: {undo_batch(store, batch)} rows removed.")
    refit(store)


@main.command()
@click.argument("code", required=False)
@click.option("--price", help="Shelf price, such as 14.99.")
@click.option("--brand", default="")
@click.option("--category", default="")
@click.option("--title", default="")
@click.option("--size", default="")
@click.option("--condition", default="")
@click.option(
    "--list",
    "list_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV with the columns code, shelf_price and optionally brand, category, title, size, condition.",
)
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), help="File for the answers of --list."
)
@click.option("--json", "as_json", is_flag=True, help="Print the verdict as JSON.")
@click.pass_context
def check(
    ctx: click.Context,
    code: str | None,
    price: str | None,
    list_file: Path | None,
    out: Path | None,
    as_json: bool,
    brand: str,
    category: str,
    title: str,
    size: str,
    condition: str,
) -> None:
    """Judge one item or a whole list. Example: sourcing check FA123-001 --price 14.99"""
    if list_file:
        _check_list(_store(ctx), list_file, out)
        return
    if not (code or title or category):
        raise click.UsageError("Name a code, or a list with --list.")
    from sourcing.answer import Query
    from sourcing.answers import row
    from sourcing.check import check as judge
    from sourcing.money import parse_money

    shelf = parse_money(price, field="price") if price else None
    verdict = judge(_store(ctx), Query(code or "", shelf, brand, category, title, size, condition))
    if as_json:
        click.echo(json.dumps(verdict.as_dict(), indent=2))
        return
    click.echo(verdict.reason)
    for note in (verdict.item.code_note, verdict.rests_on, verdict.would_settle):
        if note:
            click.echo(note)
    if verdict.item.suggestions:
        click.echo("Close known codes: " + ", ".join(verdict.item.suggestions))
    for name, value in row(verdict).items():
        click.echo(f"{name:22} {value}")


def _check_list(store: Any, path: Path, out: Path | None) -> None:
    """Answer every row in order; a row that cannot be judged says so in ``problem``."""

    from sourcing.answer import Query
    from sourcing.answers import COLUMNS, row
    from sourcing.check import check_list
    from sourcing.codes import parse_code
    from sourcing.money import parse_money

    texts = ("code", "brand", "category", "title", "size", "condition")
    with path.open(newline="", encoding="utf-8-sig") as file:
        asked = list(csv.DictReader(file))
    problems, good, queries = [""] * len(asked), [], []
    for at, values in enumerate(asked):
        try:
            price = (values.get("shelf_price") or "").strip()
            shelf: Decimal | None = parse_money(price, field="shelf_price") if price else None
            code, brand, category, title, size, condition = ((values.get(name) or "").strip() for name in texts)
            query = Query(code, shelf, brand, category, title, size, condition)
            if not any(getattr(query, name) for name in texts):
                raise SourcingError(
                    "Nothing says which item this is.", "A code, or a title, brand or category."
                )
            if query.code:
                parse_code(query.code)
            good.append(at)
            queries.append(query)
        except SourcingError as error:
            problems[at] = str(error)
    answers = dict(zip(good, check_list(store, queries), strict=True)) if queries else {}
    names = [*(asked[0].keys() if asked else ()), *(column.name for column in COLUMNS), "problem"]
    target = out.open("w", newline="", encoding="utf-8") if out else sys.stdout
    writer = csv.DictWriter(target, names, extrasaction="ignore", restval="")
    writer.writeheader()
    for at, values in enumerate(asked):
        found = row(answers[at]) if at in answers else {}
        line = {**{key: value for key, value in values.items() if key}, **found, "problem": problems[at]}
        writer.writerow({key: _inert(str(value or "")) for key, value in line.items()})
    if out:
        target.close()
        click.echo(
            f"{len(asked)} rows answered in {out}, {sum(map(bool, problems))} with a problem.", err=True
        )
    if any(problems):
        raise SystemExit(SOME_FAILED)


def _inert(text: str) -> str:
    """Keep a text cell from being taken for a formula; numbers stay numbers."""
    if text[:1] in "=+-@\t\r" and text:
        try:
            Decimal(text)
        except ArithmeticError:
            return f"'{text}"
    return text


@main.group()
def settings() -> None:
    """Show, export, import or undo the settings. Example: sourcing settings export rules.toml"""


@settings.command("show")
@click.pass_context
def settings_show(ctx: click.Context) -> None:
    """Print the settings in force. Example: sourcing settings show"""
    from sourcing.settings import load_settings, to_toml

    click.echo(to_toml(load_settings(_store(ctx))))


@settings.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_context
def settings_export(ctx: click.Context, file: Path) -> None:
    """Write the settings to a file. Example: sourcing settings export rules.toml"""
    from sourcing.settings import load_settings, to_toml

    file.write_text(to_toml(load_settings(_store(ctx))), encoding="utf-8")


@settings.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.pass_context
def settings_import(ctx: click.Context, file: Path) -> None:
    """Take the settings of a file. Example: sourcing settings import rules.toml"""
    from sourcing.settings import from_toml, save_settings

    save_settings(_store(ctx), from_toml(file.read_text(encoding="utf-8")), f"imported from {file.name}")


@settings.command("undo")
@click.pass_context
def settings_undo(ctx: click.Context) -> None:
    """Go back to the settings before the last change. Example: sourcing settings undo"""
    from sourcing.settings import undo_settings

    undo_settings(_store(ctx))


@main.command()
def demo() -> None:
    """Judge the sample shelf list against the sample comps in a passing database. Example: sourcing demo"""
    import tempfile
    from importlib.resources import as_file, files

    from sourcing.samples import load_samples
    from sourcing.storage import open_store

    with tempfile.TemporaryDirectory() as folder:
        store = open_store(str(Path(folder) / "demo.sqlite3"))
        click.echo("Loading invented sample comps ...", err=True)
        load_samples(store)
        with as_file(files("sample_comps") / "shelf_list.csv") as path:
            try:
                _check_list(store, path, None)
            finally:
                store.close()


if __name__ == "__main__":
    main()
