"""``load`` and ``undo``: bring comps files in and take them out again."""

from __future__ import annotations

import json
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sourcing.errors import BadInput, SourcingError
from sourcing.language import gettext, ngettext, separated
from web.commands.frame import (
    FAILED,
    REFUSED,
    data_option,
    data_place,
    exit_code,
    failed,
    folder_of,
    open_data,
    progress,
    say,
    working,
)  # fmt: skip
from web.commands.matching import Said, Unsettled, as_dict, pair, settle
from web.commands.words import Command

if TYPE_CHECKING:
    from collections.abc import Callable

    from sourcing.comps.incoming import Look
    from sourcing.comps.report import LoadReport
    from sourcing.fitting import FitReport
    from sourcing.storage import Store

SHOWN = 20  # problems of one file listed on stderr; --json holds them all


@click.command(cls=Command)
@click.argument("files", nargs=-1, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--keep-good", is_flag=True, help="Load the good rows of a file that has bad ones.")
@click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day the files were made, when open listings were last seen; else the latest day a file names.",
)
@click.option("--look", "looking", is_flag=True, help="Only show how the files are read and what a load would do.")
@click.option("--as-read", is_flag=True, help="Take columns as they were understood, without asking.")
@click.option("--column", "columns", multiple=True, callback=pair, metavar="NAME=FIELD", help="What a column is.")
@click.option("--every", multiple=True, callback=pair, metavar="FIELD=VALUE", help="What every row is.")
@click.option("--inside", multiple=True, metavar="FIELD", help="Take a field out of a longer text, like a title.")
@click.option("--answer", "answers", multiple=True, callback=pair, metavar="ID=VALUE", help="Answer to a question.")
@click.option("--member", default="", help="Which file of a zip archive.")
@click.option("--encoding", default="", help="How the text is encoded, where the file does not say.")
@click.option("--sheet", default="", help="Which sheet of a workbook; else the first visible one.")
@click.option(
    "--watch",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    metavar="DIR",
    help="Load new files of this folder as they come; those not like any before wait on the Comps page.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the reports as JSON.")
@data_option
@click.pass_context
def load(
    ctx: click.Context,
    /,
    files: tuple[Path, ...],
    keep_good: bool,
    as_of: datetime | None,
    looking: bool,
    watch: Path | None,
    as_json: bool,
    **said: Any,
) -> None:
    """Load comps files of any shape, each wholly or not at all.

    Files in our own format load at once. Of others the columns are told by what they mean: shown, asked about where
    that is not plain, and remembered for the next file like it.

    Example: sourcing load spring_sales.csv
    """
    if watch is not None:
        from web.commands.watching import keep_watch

        if files or looking:
            raise click.UsageError(gettext("--watch goes without files."))
        keep_watch(open_data(ctx), watch, folder_of(data_place(ctx)), as_json=as_json)
        return
    if not files:
        raise click.UsageError(gettext("Name a file to load, or a folder to --watch."))
    store, code = open_data(ctx), 0
    reports: list[dict[str, Any]] = []
    day = as_of.date() if as_of else None
    for path in files:
        try:
            report, seen = _load(store, path, Said(**said), dry=looking, keep_good=keep_good, as_of=day)
        except Unsettled:
            why = {"code": "unsettled", "wrong": gettext("Its columns are not settled.")}
            reports.append({"file_name": path.name, "error": why})
            code = code or REFUSED
            continue
        except SourcingError as error:  # the files before it are in: go on, so that they are fitted
            say(failed(f"{path.name}: {error}"))
            reports.append({"file_name": path.name, "error": error.as_dict()})
            code = max(code, exit_code(error))
            continue
        reports.append(report.as_dict() | ({"read_as": as_dict(seen)} if seen else {}))
        if report.rejected and report.batch_id is None and not looking:
            code = code or REFUSED
        if not as_json:
            click.echo(gettext("would be {what}", what=_summary(report)) if looking else _summary(report))
            for row in report.shown:
                click.echo("  " + ", ".join(f"{name} {text}" for name, text in row.items()))
        _tell_problems(report, dry=looking)
    if any(report.get("batch_id") for report in reports):
        refit(store)
    if as_json:
        click.echo(json.dumps(reports, indent=2))
    if code:
        raise SystemExit(code)


def _load(
    store: Store, path: Path, said: Said, *, dry: bool, keep_good: bool, as_of: date | None
) -> tuple[LoadReport, Look | None]:
    """Load one file: in our own format at once, any other as its columns are settled."""
    from sourcing.comps import load_file
    from sourcing.comps.incoming import load_seen

    how: dict[str, Any] = {"keep_good": keep_good, "as_of": as_of, "dry": dry}
    if not said.anything:
        try:
            with working(gettext("Loading {name}", name=path.name)) as tell:
                told = progress(path, tell)
                return load_file(store, path, name=path.name, strict=True, on_progress=told, **how), None
        except BadInput as error:
            if error.field not in ("header", "encoding", "member"):
                raise
    seen = settle(store, path, said)
    with working(gettext("Loading {name}", name=path.name)) as tell:
        return load_seen(store, path, path.name, seen, on_progress=progress(path, tell), **how), seen


def _summary(report: LoadReport) -> str:
    told = gettext(
        "{file}: read {read}, new {new}, known {known}, rejected {rejected}",
        file=report.file_name,
        read=report.read,
        new=report.new,
        known=report.known,
        rejected=report.rejected,
    )
    return f"{told}, {gettext('batch {number}', number=report.batch_id)}" if report.batch_id else told


def _tell_problems(report: LoadReport, *, dry: bool) -> None:
    for problem in report.problems[:SHOWN]:
        place = gettext("row {number}", number=problem.row) + (f", {problem.column}" if problem.column else "")
        say(f"  {place}{_shown(problem.value)}: {problem.reason} {problem.fix}")
    if report.problems_total > SHOWN:
        more = report.problems_total - SHOWN
        say("  " + ngettext("... and {count} more; --json lists it.", "... and {count} more; --json lists them.", more))
    if report.rejected and report.batch_id is None and not dry:
        say(
            gettext(
                "Nothing of {file} was stored: mend its rows, or keep the good ones with --keep-good.",
                file=report.file_name,
            )
        )


def _shown(value: str) -> str:
    """Quote a value, short and without characters that would steer a terminal."""
    plain = "".join(letter if letter.isprintable() else "?" for letter in value)
    return f" “{plain[:60]}{'...' if len(plain) > 60 else ''}”" if plain else ""


def refit(store: Store) -> None:
    """Bring the fit up to date, and say on how much it rests."""
    from sourcing.fitting import keep_up

    fit_by(store, keep_up)


def refit_all(store: Store) -> None:
    """Fit anew, whatever the fit rests on."""
    from sourcing.fitting import refit as anew

    fit_by(store, anew)


def fit_by(store: Store, fit: Callable[..., FitReport]) -> None:
    """Fit in one way or the other, with progress."""
    with working(gettext("Fitting")) as tell:
        fitted = fit(store, lambda share, what: tell(f"{what} ({separated(f'{share:.0%}')})"))
    say(
        ngettext("Fitted on {count} sale.", "Fitted on {count} sales.", fitted.sold)
        if fitted.fit_id
        else gettext("No sale is left to fit on.")
    )


@click.command(cls=Command)
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
            say(failed(gettext("No load is left to undo.")))
            raise SystemExit(FAILED)
        batch = max(live)
    removed = undo_batch(store, batch)
    refit(store)
    plain = ngettext(
        "Batch {number}: {count} row removed.", "Batch {number}: {count} rows removed.", removed, number=batch
    )
    click.echo(json.dumps({"batch": batch, "removed": removed}) if as_json else plain)
