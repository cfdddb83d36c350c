"""Files that came in: pick what the file leaves open, match its columns, look at the rows, load them."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.comps import waiting
from sourcing.comps.columns import STATUSES
from sourcing.errors import BadInput, Busy
from sourcing.language import gettext
from web import incoming_form as forms
from web import incoming_work as work
from web.filters import grouped
from web.jobs import Job
from web.state import current, settings

if TYPE_CHECKING:
    from sourcing.comps.incoming import Look
    from sourcing.comps.waiting import Waiting

PATIENCE = 60  # seconds a sent form waits for the file to be looked at again, which it nearly always was before


def show(token: str) -> Response:
    """Ask what the file leaves open, or how its columns are to be read; one that is known goes on to its rows."""
    one = waiting.take(current().folder, token)
    job = work.looked(current(), one)
    if not job.wait():
        return follow(job)
    current().jobs.drop(job)
    seen: Look = job.outcome()
    if seen.one_tap and not request.args.get("match"):
        return redirect(url_for("incoming.rows", token=token), 303)
    return _page(one, seen)


def pick(token: str) -> Response:
    """Take another file of the archive, another sheet or another encoding; its columns are then matched anew."""
    said = {name: request.form[name][:500] for name in ("member", "encoding", "sheet") if name in request.form}
    if "member" in said:  # what was picked of another file says nothing about this one
        said = {"encoding": "", "sheet": "", **said}
    one = replace(waiting.take(current().folder, token), layout=None, **said)  # type: ignore[arg-type]
    _seen(one)
    waiting.note(one)
    return redirect(url_for("incoming.show", token=token, match=1), 303)


def say(token: str) -> Response:
    """Keep what the form says about the columns, and go on to the rows, or to what is still to be said."""
    one = waiting.take(current().folder, token)
    seen = _matching(one, _seen(one))
    try:
        layout = forms.read_said(seen, request.form)
    except BadInput as error:
        return _page(one, seen, request.form, error)
    waiting.note(replace(one, layout=layout))
    return redirect(url_for("incoming.rows", token=token), 303)


def again(token: str) -> Response:
    """Take back what was said about how cells are written, so that it is asked again."""
    one = waiting.take(current().folder, token)
    seen = _matching(one, _seen(one))
    assert seen.layout is not None
    waiting.note(replace(one, layout=forms.anew(seen.layout)))
    return redirect(url_for("incoming.show", token=token, match=1, _anchor="open"), 303)


def rows(token: str) -> Response:
    """Show the first rows as they would be stored, and what is wrong with others; nothing is stored."""
    one = waiting.take(current().folder, token)
    job = work.tried(current(), one)
    if not job.wait():
        return follow(job)
    found: work.Tried = job.outcome()
    if found.report is None:
        flash(gettext("Something is still to be said before the rows can be read."))
        return redirect(url_for("incoming.show", token=token, match=1, _anchor="open"), 303)
    home = settings().currency
    foreign = sorted({row["currency"] for row in found.report.shown if row.get("currency", home) != home})
    page = render_template(
        "comps/rows.html",
        one=one,
        look=found.look,
        report=found.report,
        names=forms.STORED,
        home=home,
        foreign=foreign,
        once=secrets.token_hex(8),
    )
    return make_response(page)


def load(token: str) -> Response:
    """Load the rows; rejected ones are kept with the load, to be mended."""
    keep_good = request.form.get("keep") == "good"
    return follow(work.loaded(current(), token, keep_good=keep_good, once=request.form.get("once", "")[:40]))


def drop(token: str) -> Response:
    """Let a file wait no longer; it is kept aside for a day."""
    one = waiting.put_aside(current().folder, token)
    flash(gettext("{name} waits no longer. It can be brought back below until tomorrow.", name=one.name))
    return redirect(url_for("comps.show"), 303)


def bring_back(token: str) -> Response:
    """Let a file wait again that was dropped."""
    one = waiting.bring_back(current().folder, token)
    flash(gettext("{name} waits again.", name=one.name))
    return redirect(url_for("comps.show"), 303)


def follow(job: Job) -> Response:
    """Go where a job is followed, and from there to what comes of it."""
    job.wait()
    return redirect(url_for("incoming.progress", number=job.number), 303)


def progress(number: int) -> Response:
    """Show how far a job is; once it is over, go on to what came of it.

    ``?look=1`` is the page's own script asking, which is told where to go instead.
    """
    job = current().jobs.get(number)
    over = job.over  # read once: a page that is half of one that runs, half of one that is over, would go nowhere
    if over and not request.args.get("look"):
        return _outcome(job)
    still = bool(request.args.get("still"))
    return make_response(
        render_template("comps/work.html", job=job, over=over, before=current().jobs.before(job), still=still)
    )


def cancel(number: int) -> Response:
    """Stop a job; what it has done so far is not stored."""
    job = current().jobs.get(number)
    job.stop()
    job.wait()
    if job.state == "waits":
        flash(gettext("{name}: stopped, nothing was stored.", name=job.name))
        return redirect(url_for("comps.show"), 303)
    return redirect(url_for("incoming.progress", number=number), 303)


def _outcome(job: Job) -> Response:
    if job.state == "stopped":
        flash(gettext("{name}: stopped, nothing was stored.", name=job.name))
        return redirect(url_for("comps.show"), 303)
    found = job.outcome()
    if job.kind in ("look", "rows") or found is None:
        return redirect(url_for("incoming.rows" if job.kind == "rows" else "incoming.show", token=job.token), 303)
    if job.stopping:
        flash(gettext("It was done before it could be stopped. It can be undone here."))
    if found.more:
        flash(gettext("The archive holds other files too, so it still waits among the files that came in."))
    if found.report.batch_id is not None:
        return redirect(url_for("comps.batch", batch_id=found.report.batch_id), 303)
    if found.report.rejected:
        return redirect(url_for("incoming.rows", token=job.token), 303)
    flash(
        gettext(
            "{name}: all of its {read} rows are there already. Nothing new was loaded.",
            name=job.name,
            read=grouped(found.report.read),
        )
    )
    return redirect(url_for("comps.show"), 303)


def _seen(one: Waiting) -> Look:
    job = work.looked(current(), one)
    if not job.wait(PATIENCE):
        raise Busy(gettext("The file is still being looked at."), next_step=gettext("Send it again in a moment."))
    current().jobs.drop(job)
    seen: Look = job.outcome()
    return seen


def _matching(one: Waiting, seen: Look) -> Look:
    """Look at a file in our own format as at any other once its columns are to be matched."""
    return _seen(replace(one, layout=seen.layout)) if seen.origin == "ours" else seen


def _page(one: Waiting, seen: Look, said: Mapping[str, str] | None = None, error: BadInput | None = None) -> Response:
    if seen.sniffed.asks:
        return make_response(render_template("comps/pick.html", one=one, look=seen))
    seen = _matching(one, seen)
    assert seen.layout is not None
    page = render_template(
        "comps/match.html",
        one=one,
        look=seen,
        said=said or {},
        error=error,
        fields=forms.FIELDS,
        sure=forms.sure_of,
        every_row=forms.open_fields(seen.layout),
        settled=forms.settled(seen),
        taken=forms.taken(seen),
        statuses=STATUSES,
    )
    return make_response(page, 400 if error else 200)
