"""The Comps page: bring files in, see what waits and what is in the table, undo a load."""

from __future__ import annotations

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.datastructures import FileStorage
from werkzeug.wrappers import Response

from sourcing import comps
from sourcing.comps import layouts, waiting
from sourcing.comps.mend import mended_of, rejects
from sourcing.comps.table import layout_of
from sourcing.comps.waiting import OF_SALES
from sourcing.errors import BadInput
from sourcing.language import gettext
from web import incoming_form as forms
from web import incoming_work as work
from web.incoming import follow
from web.state import current, store
from web.table_forms import read_number


def show(forgotten: layouts.Remembered | None = None) -> str:
    """Show what the table holds, the files that wait, the loads, the layouts that are remembered."""
    jobs = current().jobs.under_way()
    for job in jobs:
        job.seen = job.over
    waiting.sweep(current().folder)
    return render_template(
        "comps/show.html",
        overview=comps.overview(store()),
        batches=comps.batches(store()),
        jobs=jobs,
        files=[one for one in waiting.waiting(current().folder) if not one.name.startswith(OF_SALES)],
        dropped=waiting.dropped(current().folder),
        most_dropped=waiting.MOST_ASIDE,
        layouts=layouts.remembered(store()),
        forgotten=forgotten,
    )


def load() -> Response:
    """Take in the files that were sent: those in our own format are loaded, the others wait for the user's word."""
    uploads = [one for one in request.files.getlist("file") if one.filename]
    if not uploads:
        raise BadInput(
            gettext("No file was chosen."),
            gettext("One file of comps, or several."),
            gettext("Choose one, then load it."),
        )
    jobs = [work.arrived(current(), _kept(one)) for one in uploads]
    if len(jobs) == 1:
        return follow(jobs[0])
    jobs[-1].wait()
    flash(gettext("{count} files came in. What needs your word waits below.", count=len(jobs)))
    return redirect(url_for("comps.show"), 303)


def _kept(upload: FileStorage) -> waiting.Waiting:
    return waiting.keep(current().folder, upload.save, upload.filename or "")


def batch(batch_id: int) -> str:
    """Show one load: what was read and how, and the rows that wait to be mended."""
    return load_page(batch_id)


def load_page(batch_id: int, said: dict[tuple[int, int], str] | None = None) -> str:
    """Return the page of one load, with what was typed into the cells of its rejected rows."""
    after = read_number(request.args, "after") if request.args.get("after") else 0
    found = rejects(store(), batch_id, after=after)
    return render_template(
        "comps/batch.html",
        batch=next(one for one in comps.batches(store()) if one.id == batch_id),
        mended=[one for one in comps.batches(store()) if one.corrects == batch_id and not one.undone_at],
        problems=comps.problems(store(), batch_id),
        rejects=found,
        layout=layout_of(store(), batch_id),
        fields=forms.FIELDS,
        said=said or {},
    )


def undo() -> Response:
    """Take one load back out."""
    text = request.form.get("batch_id", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(
            gettext("“{text}” is not the number of a load.", text=text[:40]),
            gettext("A number from the list of loads."),
        )
    comps.undo_batch(store(), int(text))
    mended = mended_of(store(), int(text))
    if mended:
        numbers = ", ".join(map(str, mended))
        flash(
            gettext(
                "Rows of it that were put right are loads of their own and stay: {numbers}. Undo these too if "
                "they are to go.",
                numbers=numbers,
            )
        )
    work.learn(current())
    return redirect(url_for("comps.show" if mended else "comps.progress"), 303)


def forget() -> Response:
    """Remember a layout no longer; the page it answers with can bring it back."""
    return make_response(show(layouts.forget(store(), request.form.get("mark", "")[:64])))


def bring_back() -> Response:
    """Remember a layout again that was just forgotten."""
    layouts.bring_back(store(), request.form.get("name", "")[:200], request.form.get("layout", ""))
    flash(gettext("Files with these columns are known again."))
    return redirect(url_for("comps.show"), 303)


def progress() -> str:
    """Show how far learning from the comps is.

    While it runs the page looks again by itself, by its script or where there is none by reloading, until its reader
    stops it (WCAG 2.2, success criterion 2.2.2): ``?still=1`` is a page that stays.
    """
    loading = next((job for job in current().jobs.under_way() if not job.over and job.kind != "rows"), None)
    return render_template("comps/progress.html", still=bool(request.args.get("still")), loading=loading)
