"""On a verdict: type in one price just seen for the item, and have the verdict again."""

from __future__ import annotations

import hashlib

from flask import flash, redirect, request, url_for
from werkzeug.wrappers import Response

from sourcing import comps, history
from sourcing.check import check
from sourcing.comps.typed_in import type_in
from sourcing.errors import BadInput
from sourcing.fitting import current_fit, keep_up
from sourcing.language import gettext
from web.filters import money
from web.forms import read_price
from web.state import store
from web.table import learn
from web.table_forms import read_number


def add(check_id: int) -> Response:
    """Store the price and judge the same item again."""
    query, _ = history.get(store(), check_id)
    try:
        price = read_price({"price": request.form.get("seen", "")}, tag=False)
    except BadInput as error:
        raise BadInput(error.wrong, error.accepted, gettext("Type what you saw.")) from error
    if price is None:
        raise BadInput(
            gettext("No price was typed."),
            gettext("What it sold for, or is asked for."),
            gettext("Go back and type it."),
            field="seen",
        )
    sold, token = request.form.get("kind") != "asked", _short(request.form.get("token", ""))
    report = type_in(store(), query, price, sold=sold, condition=request.form.get("condition", ""), token=token)
    if report.batch_id is None:
        flash(gettext("That price was typed in already."))
    else:
        price_seen = money(price)
        flash(
            gettext("Noted: sold for {price}, seen today.", price=price_seen)
            if sold
            else gettext("Noted: asked {price}, seen today.", price=price_seen)
        )
    return _again(check_id, report.batch_id)


def undo(check_id: int) -> Response:
    """Take a typed price back out and judge again."""
    comps.undo_batch(store(), read_number(request.form, "batch_id"))
    flash(gettext("Taken back out."))
    return _again(check_id, None)


def _short(token: str) -> str:
    """Return eight hexadecimal digits of the form's own id, which spell no word that would look odd in a note."""
    return hashlib.blake2b(token.encode(), digest_size=4).hexdigest()


def _again(check_id: int, typed: int | None) -> Response:
    """Judge as before on the comps there are now; what kin share follows in the background."""
    if current_fit(store()) is None:
        keep_up(store())  # the first sale there is
    else:
        learn()
    query, _ = history.get(store(), check_id)
    number = history.record(store(), check(store(), query))
    return redirect(url_for("check.show", check_id=number, typed=typed), 303)
