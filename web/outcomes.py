"""Sales beside what was assumed of them; a file of sales, matched to stock and recorded; own sales as comps."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.comps import waiting
from sourcing.comps.waiting import OF_SALES
from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.language import gettext as _
from sourcing.language import ngettext
from sourcing.outcomes.file import FIELDS, SalesFile, read_sales
from sourcing.outcomes.load import loads, record_sales
from sourcing.outcomes.match import Match, match
from sourcing.outcomes.own import bring_in_line, own_comps, put_back
from sourcing.outcomes.sale import explained_sales
from sourcing.stock import ledger
from web.state import current, settings, store

if TYPE_CHECKING:
    from sourcing.comps.waiting import Waiting

LAST = 15  # sales
SHOWN = 40  # rows of a kind; what is not shown is counted
_ERRORS = (BadInput, NotFound, Refused)


def show() -> str:
    """Show the last sales and what each line of the terms made of the difference."""
    item = request.args.get("item", "")
    ids = [int(item)] if item.isascii() and item.isdigit() and len(item) < 10 else []
    found = explained_sales(store(), LAST, ids)
    return render_template(
        "outcomes/show.html", found=found, own=own_comps(store()), loaded=loads(store()), currency=settings().currency,
        files=[one for one in waiting.waiting(current().folder) if one.name.startswith(OF_SALES)], mine=len(OF_SALES),
        one=bool(ids), done=_done(), client_id=secrets.token_urlsafe(9),
    )  # fmt: skip


def upload() -> Response:
    """Keep a file of sales and go on to what it holds."""
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        raise BadInput(
            _("No file was chosen."), _("One file of your sales."), _("Choose one, then load it."), field="file"
        )
    one = waiting.keep(current().folder, sent.save, OF_SALES + sent.filename)
    try:
        read_sales(store(), one.path, one.name)
    except SourcingError:
        waiting.drop(current().folder, one.token)
        raise
    return redirect(url_for("outcomes.file", token=one.token), 303)


def file(token: str) -> str:
    """Show how the columns are read and what each row is taken for; nothing is recorded."""
    return _file(token, dict(request.args.items()))


def record(token: str) -> Response:
    """Record the sure matches and the answers, as one action."""
    one = waiting.take(current().folder, token)
    said = {key.removeprefix("said:"): text for key, text in request.form.items() if key.startswith("said:")}
    found = _read(one, said)
    answers = {
        int(key.removeprefix("row:")): int(text)
        for key, text in request.form.items()
        if key.startswith("row:") and key.removeprefix("row:").isdigit() and text.isascii() and text.isdigit()
    }
    try:
        done = record_sales(
            store(), match(store(), found.rows), answers, sure=request.form.get("do") != "answers",
            name=one.name.removeprefix(OF_SALES), client_id=request.form.get("client_id", "")[:64],
        )  # fmt: skip
    except _ERRORS as error:
        return make_response(_file(token, said, error), 400)
    follow()
    parts = [ngettext("{count} sale recorded.", "{count} sales recorded.", done.sold)]
    if done.updated:
        parts.append(ngettext("Costs of {count} sale put in.", "Costs of {count} sales put in.", done.updated))
    flash(" ".join(parts))
    return redirect(url_for("outcomes.file", token=token, done=done.action_id, **_values(said)), 303)


def undo() -> Response:
    """Take back what a file recorded, all of it at once."""
    text = request.form.get("action_id", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(_("“{text}” is not the number of an action.", text=text[:40]), _("A number."))
    ledger.undo(store(), int(text), request.form.get("client_id", "")[:64])
    follow()
    flash(_("Undone: the pieces are as they were before the file."))
    return redirect(url_for("outcomes.show"), 303)


def drop(token: str) -> Response:
    """Let a file wait no longer; it is kept aside for a day."""
    one = waiting.put_aside(current().folder, token)
    flash(_("{name} waits no longer. Until tomorrow it can be brought back on the Comps page.", name=one.name))
    return redirect(url_for("outcomes.show"), 303)


def own_again() -> Response:
    """Bring own sales in line with stock, those that were taken out too."""
    put_back(store())
    flash(_("Your own sales are comps again, as stock has them."))
    return redirect(url_for("outcomes.show"), 303)


def follow() -> None:
    """Let own sales among the comps say what stock says now."""
    from web.incoming_work import learn

    last = ledger.actions(store(), 1)
    if last and bring_in_line(store(), items=ledger.items_of(store(), last[0].id)):
        learn(current())


def _file(token: str, said: dict[str, str], error: SourcingError | None = None) -> str:
    one = waiting.take(current().folder, token)
    said = {
        key: text
        for key, text in said.items()
        if key.startswith(("column:", "decimal:", "days:", "currency:", "status", "total:", "zeros:", "item"))
    }
    try:
        found = _read(one, said)
    except BadInput as wrong:
        error, said = error or wrong, {}
        found = _read(one, said)
    rows = match(store(), found.rows)
    by: dict[str, list[Match]] = {}
    for row in rows:
        by.setdefault(row.state, []).append(row)
    nothing = bool(rows) and not any(by.get(state) for state in ("sure", "question", "recorded", "update"))
    return render_template(
        "outcomes/file.html", one=one, name=one.name.removeprefix(OF_SALES), found=found, by=by, shown=SHOWN,
        error=error, fields=FIELDS, said=said, nothing=nothing, done=_done(), currency=settings().currency,
        client_id=secrets.token_urlsafe(9), rows=len(rows),
    )  # fmt: skip


def _values(said: dict[str, str]) -> dict[str, Any]:
    return dict(said)


def _read(one: Waiting, said: dict[str, str]) -> SalesFile:
    return read_sales(store(), one.path, one.name, said=said, member=one.member, encoding=one.encoding, sheet=one.sheet)


def _done() -> ledger.Action | None:
    text = request.args.get("done", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        return None
    try:
        return ledger.action(store(), int(text))
    except NotFound:
        return None
