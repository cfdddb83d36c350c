"""The Haul page: what was taken on this run."""

from __future__ import annotations

import secrets

from flask import make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import haul
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.planner.taking import last_taking
from web.state import store

NO_FORECAST = "too little to go on"


def show(error: BadInput | None = None) -> str:
    """Show the open haul and its running figures; and what was wrong with what was typed there."""
    view = haul.current(store())
    live = [item for item in view.items if not item.undone]
    blind = sum(item.count for item in live if item.decision == NO_FORECAST)
    return render_template("haul/show.html", haul=view, blind=blind, taking=last_taking(store()), error=error)


def bare() -> str:
    """Show the page that a phone fills in by itself when the server does not answer."""
    return render_template("aisle/haul.html", bare=True)


def take() -> Response:
    """Add a checked item; the form's own id makes a second tap harmless."""
    client_id = request.form.get("client_id") or secrets.token_urlsafe(12)
    haul.take(store(), _number("check_id"), _number("count", "1"), client_id[:64])
    return _back()


def recount() -> Response:
    """Let a line hold another number of pieces; the page it goes back to offers the undo.

    The “+1” button sends the number it means, so that a tap sent twice adds one.
    """
    item_id, now = _number("item_id"), "count_now" if "count_now" in request.form else "count"
    try:
        before = haul.recount(store(), item_id, _number(now))
    except BadInput as error:
        if request.form.get("back"):
            raise
        return make_response(show(error), 400)
    if request.form.get("back"):
        return redirect(url_for("check.show", check_id=_number("back"), line=item_id, was=before), 303)
    return redirect(url_for("haul.show", line=item_id, was=before), 303)


def undo() -> Response:
    """Put a line back on the shelf."""
    haul.undo(store(), _number("item_id"))
    return _back()


def redo() -> Response:
    """Take an undone line again."""
    haul.redo(store(), _number("item_id"))
    return _back()


def start() -> Response:
    """Start a haul at a store; from the Check page, go back there."""
    haul.start(store(), request.form.get("store", ""))
    return redirect(url_for("check.ask"), 303) if request.form.get("to") == "check" else _back()


def close() -> Response:
    """Close the open haul, and show how its run went."""
    number = haul.current(store()).id
    haul.close(store())
    return _back() if number is None else redirect(url_for("run.show", haul_id=number), 303)


def _back() -> Response:
    return redirect(url_for("haul.show"), 303)


def _number(name: str, default: str = "") -> int:
    text = request.form.get(name, default).strip()
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(
            gettext("“{text}” is not a whole number.", text=text[:40]),
            gettext("A whole number, such as 1."),
            field=name,
        )
    return int(text)
