"""The Comps page: load files, see what is in the table, undo a load."""

from __future__ import annotations

from flask import make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import comps
from sourcing.answer import LoadReport
from sourcing.errors import BadInput
from web import waiting
from web.state import current, store


def show() -> str:
    """Show what the table holds and the loads that brought it."""
    return render_template(
        "comps/show.html", overview=comps.overview(store()), batches=comps.batches(store()), error=None
    )


def load() -> Response:
    """Load one uploaded file, all of it or nothing; a file with problems waits for the user's word."""
    upload = request.files.get("file")
    if upload is None or not upload.filename:
        raise BadInput("No file was chosen.", "A CSV or XLSX file of comps.", "Choose one, then load it.")
    path = waiting.keep(current().folder, upload)
    report = comps.load_file(store(), path, name=upload.filename)
    return _reported(report, path.name)


def keep() -> Response:
    """Load the good rows of the file that waits."""
    path, name = waiting.take(current().folder, request.form.get("waiting", ""))
    return _reported(comps.load_file(store(), path, name=name, keep_good=True), path.name)


def batch(batch_id: int) -> str:
    """Show one load and its problems."""
    one = next((found for found in comps.batches(store()) if found.id == batch_id), None)
    return render_template("comps/batch.html", batch=one, problems=comps.problems(store(), batch_id))


def undo() -> Response:
    """Take one load back out."""
    text = request.form.get("batch_id", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(f"“{text[:40]}” is not the number of a load.", "A number from the list of loads.")
    comps.undo_batch(store(), int(text))
    return _refit()


def progress() -> str:
    """Show how far learning from the comps is.

    While it runs the page looks again by itself, by its script or where there is none by reloading, until its reader
    stops it (WCAG 2.2, success criterion 2.2.2): ``?still=1`` is a page that stays.
    """
    return render_template("comps/progress.html", still=bool(request.args.get("still")))


def _reported(report: LoadReport, token: str) -> Response:
    if report.batch_id is None and report.rejected:
        page = render_template("comps/problems.html", report=report, waiting=token)
        return make_response(page, 422)
    waiting.drop(current().folder)
    if not report.new:
        return make_response(render_template("comps/problems.html", report=report, waiting=""))
    return _refit()


def _refit() -> Response:
    """Learn anew in the background; the old fit answers until the new one is stored."""
    from sourcing.fitting import keep_up

    kept = store()
    current().task.start(lambda say: keep_up(kept, say))
    return redirect(url_for("comps.progress"), 303)
