"""The Check page: ask about one item, show the verdict, list past ones."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import again, history
from sourcing.answer import Query, Verdict
from sourcing.check import at_others_of, check, check_json
from sourcing.dearer import passed_over_then
from sourcing.errors import BadInput, SourcingError
from sourcing.held import NONE, held
from sourcing.language import gettext
from sourcing.receipt import cash_cost
from web import charts
from web.filters import money
from web.forms import Unsure, read_asked, read_marked, read_query
from web.glance import glance
from web.later import recorded
from web.phone import phone
from web.run import line
from web.state import settings, store


def ask() -> str:
    """Show the form; the last price is kept in the address."""
    return _form(request.args, None, request.args.getlist("flags"))


def bare() -> str:
    """Show the form alone: what a phone keeps for when the server does not answer holds nothing of anybody's."""
    return render_template("check/ask.html", bare=True, values={}, error=None, past=[], flags=[], ticked=[])


def judge() -> Response:
    """Make the verdict, keep it in the history, move on to its page."""
    try:
        asked = read_asked(request)
        verdict = check(store(), asked.query)
    except BadInput as error:
        return _again(error)
    return _kept(verdict, asked.note)


def mark(check_id: int) -> Response:
    """Judge an item once more with a flag it was judged without, or without one it had."""
    kept, query = settings(), history.get(store(), check_id)[0]
    turned = read_marked(request.form)
    flags = [name for name in kept.flags if (name in query.flags) != (name in turned)]
    return _kept(check(store(), replace(query, flags=tuple(flags))), "")


def _kept(verdict: Verdict, note: str) -> Response:
    """Keep a verdict in the history and go on to its page."""
    check_id = recorded(verdict)
    if check_id is None:  # a file is being loaded: the answer does not wait for it
        return make_response(_page(None, verdict.query, json.loads(json.dumps(verdict.as_dict()))))
    if note:
        flash(note)
    return redirect(url_for("check.show", check_id=check_id), 303)


def show(check_id: int) -> str:
    """Show one verdict as it was given."""
    return _page(check_id, *history.get(store(), check_id))


def _page(check_id: int | None, query: Query, answer: dict[str, Any]) -> str:
    def write(amount: Any) -> str:
        return money(amount, answer["currency"])

    return render_template(
        "check/verdict.html",
        check_id=check_id,
        client_id=secrets.token_urlsafe(12),  # one page, one taking: a tap sent twice adds nothing
        query=query,
        answer=answer,
        said=glance(answer, write),
        earlier=again.lines(store(), check_id, query.shelf_price, write) if check_id else [],
        held=held(store(), check_id, answer) if check_id else NONE,
        at_others=at_others_of(store(), query, answer, settings()),
        why_not_dearer=passed_over_then(answer, settings().for_category(answer["item"]["category"]).rules, write),
        cash_cost=cash_cost(answer),
        next_size=_next_size(query, answer),
        missing=_missing(query, answer),
        sales=charts.past_sales(answer),
        curve=charts.share_sold(answer),
        phone=phone(check_id, answer) if check_id else None,
        others=[flag for name, flag in settings().flags.items() if name not in query.flags],
    )


def _next_size(query: Query, answer: dict[str, Any]) -> str:
    """Return the address that asks about the same style in another size, at the last price."""
    item = answer["item"]
    code = item["style_code"] or query.code  # a barcode names one size
    return url_for(
        "check.ask",
        code=code,
        title="" if code else query.title,
        brand=query.brand,
        category=query.category,
        condition=query.condition,
        discount=query.discount,
        price=query.shelf_price,
        next="size",
    )


def _missing(query: Query, answer: dict[str, Any]) -> str:
    """Say what of an unknown item was not typed and would tell more of it; "" where all was."""
    named = {"brand": gettext("brand"), "category": gettext("category"), "title": gettext("title")}
    *some, last = [word for name, word in named.items() if not getattr(query, name)] or [""]
    parts = gettext("{parts} and {last}", parts=", ".join(some), last=last) if some else last
    if answer["item"]["style_code"]:
        return gettext("Add {parts}", parts=parts) if parts else ""
    return gettext("Type the style code, or add {parts}", parts=parts) if parts else gettext("Type the style code")


def twin() -> Response:
    """Answer the same question in JSON; nothing is recorded."""
    return Response(check_json(store(), read_query(request.args), settings()), mimetype="application/json")


def past() -> str:
    """List past checks, passes too."""
    return render_template("check/past.html", past=history.recent(store(), 200))


def _again(error: SourcingError) -> Response:
    """Show the form once more with what was typed and what was wrong beside its field."""
    values = {**request.form, "code": error.offer} if isinstance(error, Unsure) else request.form
    return make_response(_form(values, error, request.form.getlist("flags")), 400)


def _form(values: Mapping[str, str], error: SourcingError | None, ticked: list[str]) -> str:
    flags = settings().flags.values()
    recent = history.recent(store(), 5)
    return render_template(
        "check/ask.html", values=values, error=error, past=recent, flags=flags, ticked=ticked, line=line()
    )
