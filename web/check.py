"""The Check page: ask about one item, show the verdict, list past ones."""

from __future__ import annotations

import json
import secrets
from typing import Any

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import history
from sourcing.answer import Query
from sourcing.check import check, check_json
from sourcing.errors import BadInput, Busy, SourcingError
from web import charts
from web.forms import Unsure, read_asked, read_query
from web.state import settings, store


def ask() -> str:
    """Show the form; the last price is kept in the address."""
    return render_template("check/ask.html", values=request.args, error=None, past=history.recent(store(), 5))


def judge() -> Response:
    """Make the verdict, keep it in the history, move on to its page."""
    try:
        asked = read_asked(request)
        verdict = check(store(), asked.query)
    except BadInput as error:
        return _again(error)
    try:
        check_id = history.record(store(), verdict)
    except Busy:  # a file is being loaded: the answer does not wait for it
        return make_response(_page(None, asked.query, json.loads(json.dumps(verdict.as_dict()))))
    if asked.note:
        flash(asked.note)
    return redirect(url_for("check.show", check_id=check_id), 303)


def show(check_id: int) -> str:
    """Show one verdict as it was given."""
    return _page(check_id, *history.get(store(), check_id))


def _page(check_id: int | None, query: Query, answer: dict[str, Any]) -> str:
    return render_template(
        "check/verdict.html",
        check_id=check_id,
        client_id=secrets.token_urlsafe(12),  # one page, one taking: a tap sent twice adds nothing
        query=query,
        answer=answer,
        sales=charts.past_sales(answer),
        curve=charts.share_sold(answer),
    )


def twin() -> Response:
    """Answer the same question in JSON; nothing is recorded."""
    return Response(check_json(store(), read_query(request.args), settings()), mimetype="application/json")


def past() -> str:
    """List past checks, passes too."""
    return render_template("check/past.html", past=history.recent(store(), 200))


def _again(error: SourcingError) -> Response:
    """Show the form once more with what was typed and what was wrong beside its field."""
    values = {**request.form, "code": error.offer} if isinstance(error, Unsure) else request.form
    page = render_template("check/ask.html", values=values, error=error, past=history.recent(store(), 5))
    return make_response(page, 400)
