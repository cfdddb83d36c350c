"""The track record's page: pictures first, corrections offered, accepted in one tap and undone in one."""

from __future__ import annotations

import secrets

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput, Refused, SourcingError
from sourcing.language import gettext as _
from sourcing.record import corrected
from sourcing.record.outcomes import HORIZONS
from sourcing.record.record import BY, accept, record
from web.charts_record import levels, pairs, reliable
from web.state import settings, store


def show() -> str:
    """Show what was forecast beside what came of it."""
    return _page()


def take() -> Response:
    """Put an offered correction in force."""
    try:
        number = accept(store(), request.form.get("name", "")[:200], request.form.get("client_id", "")[:64])
    except Refused as error:
        return make_response(_page(error), 409)
    flash(_("The correction is at work from the next check on."))
    return redirect(url_for("record.show", done=number), 303)


def undo() -> Response:
    """Take a correction out of force, or put it back."""
    text = request.form.get("number", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(_("“{text}” is not the number of a correction.", text=text[:40]), _("A number."))
    again = request.form.get("do") == "redo"
    try:
        (corrected.redo if again else corrected.undo)(store(), int(text))
    except Refused as error:
        return make_response(_page(error), 409)
    flash(
        _("The correction is at work again.") if again else _("The correction is undone: forecasts are as before it.")
    )
    return redirect(url_for("record.show"), 303)


def _page(error: SourcingError | None = None) -> str:
    by, within = request.args.get("by", "category"), request.args.get("within", "30")
    found = record(
        store(),
        by=by if by in BY else "category",
        within=int(within) if within in map(str, HORIZONS) else 30,
    )
    return render_template(
        "record/show.html", found=found, error=error, by=BY, horizons=HORIZONS, currency=settings().currency,
        pairs=pairs(found.pairs), reliable=reliable(found.speed.bins) if found.speed else None,
        levels=levels(found.groups), within=found.speed.days if found.speed else 30, client_id=secrets.token_urlsafe(9),
    )  # fmt: skip
