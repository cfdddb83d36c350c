"""``load`` and ``undo``: bring comps files in and take them out again."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sourcing.errors import SourcingError
from web.commands.frame import FAILED, REFUSED, data_option, exit_code, open_data, say, working

if TYPE_CHECKING:
    from sourcing.answer import LoadReport
    from sourcing.storage import Store

SHOWN = 20  # problems of one file listed on stderr; --json holds them all


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--keep-good", is_flag=True, help="Load the good rows of a file that has bad ones.")
@click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day the files were made, when open listings were last seen; else the latest day a file names.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the reports as JSON.")
@data_option
@click.pass_context
def load(ctx: click.Context, files: tuple[Path, ...], keep_good: bool, as_of: datetime | None, as_json: bool) -> None:
    """Load comps files, CSV or XLSX, each wholly or not at all.

    Example: sourcing load spring_sales.csv
    """
    from sourcing.comps import load_file

    store, code = open_data(ctx), 0
    reports: list[dict[str, Any]] = []
    day = as_of.date() if as_of else None
    for path in files:
        try:
            with working(f"Loading {path.name}") as tell:
                report = load_file(
                    store,
                    path,
                    name=path.name,
                    keep_good=keep_good,
                    as_of=day,
                    on_progress=lambda rows, name=path.name, tell=tell: tell(f"{name}: {rows:,} rows"),  # type: ignore[misc]
                )
        except SourcingError as error:  # the files before it are in: go on, so that they are fitted
            say(f"Error: {path.name}: {error}")
            reports.append({"file_name": path.name, "error": error.as_dict()})
            code = max(code, exit_code(error))
            continue
        reports.append(report.as_dict())
        if report.rejected and report.batch_id is None:
            code = code or REFUSED
        if not as_json:
            click.echo(_summary(report))
        _tell_problems(report)
    if any(report.get("batch_id") for report in reports):
        _refit(store)
    if as_json:
        click.echo(json.dumps(reports, indent=2))
    if code:
        raise SystemExit(code)


def _summary(report: LoadReport) -> str:
    batch = f", batch {report.batch_id}" if report.batch_id else ""
    return (
        f"{report.file_name}: read {report.read}, new {report.new}, known {report.known}, "
        f"rejected {report.rejected}{batch}"
    )


def _tell_problems(report: LoadReport) -> None:
    for problem in report.problems[:SHOWN]:
        place = f"row {problem.row}" + (f", {problem.column}" if problem.column else "")
        say(f"  {place}{_shown(problem.value)}: {problem.reason} {problem.fix}")
    if report.problems_total > SHOWN:
        say(f"  ... and {report.problems_total - SHOWN} more; --json lists them.")
    if report.rejected and report.batch_id is None:
        say(f"Nothing of {report.file_name} was stored: mend its rows, or keep the good ones with --keep-good.")


def _shown(value: str) -> str:
    """Quote a value, short and without characters that would steer a terminal."""
    plain = "".join(letter if letter.isprintable() else "?" for letter in value)
    return f" “{plain[:60]}{'...' if len(plain) > 60 else ''}”" if plain else ""


def _refit(store: Store) -> None:
    from sourcing.fitting import keep_up

    with working("Fitting") as tell:
        fitted = keep_up(store, lambda share, what: tell(f"{what} ({share:.0%})"))
    say(f"Fitted on {fitted.sold} sales." if fitted.fit_id else "No sale is left to fit on.")


@click.command()
@click.argument("batch", type=int, required=False)
@click.option("--json", "as_json", is_flag=True, help="Print what was removed as JSON.")
@data_option
@click.pass_context
def undo(ctx: click.Context, batch: int | None, as_json: bool) -> None:
    """Undo a load, the last one by default.

    Example: sourcing undo 3
    """
    from sourcing.comps import batches, undo_batch

    store = open_data(ctx)
    if batch is None:
        live = [one.id for one in batches(store) if one.undone_at is None]
        if not live:
            say("Error: No load is left to undo.")
            raise SystemExit(FAILED)
        batch = max(live)
    removed = undo_batch(store, batch)
    _refit(store)
    plain = f"Batch {batch}: {removed} rows removed."
    click.echo(json.dumps({"batch": batch, "removed": removed}) if as_json else plain)
