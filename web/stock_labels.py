"""Labels of pieces: what they are made of, with examples; the paper; printing them as PDF."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput, SourcingError
from sourcing.language import gettext
from sourcing.settings import undo_settings
from sourcing.settings_edit import last_change, with_values
from sourcing.settings_table import of_place
from sourcing.settings_values import read_value
from sourcing.stock import label_pattern, labels, ledger, paper, shelf
from sourcing.stock.sheet import Printed, label_pdf
from web.rule_sheet import keep
from web.state import settings, store
from web.stock_forms import read_items, read_text, read_whole

FIELDS = ("pattern", "codes", "names")
OWN = "own"


def show() -> str:
    """Show the labels chosen to be printed, and what labels are made of."""
    return _page()


def save() -> Response:
    """Keep the pattern and the paper."""
    kept = settings()
    said = {name: request.form.get(name, "") for name in FIELDS}
    try:
        known = of_place("labels")
        changed = replace(kept.labels, **{name: read_value(known[name], text) for name, text in said.items()})
        sheet = request.form.get("sheet", OWN)
        if sheet != OWN:
            changed = paper.on_sheet(changed, sheet)
        labels.examples(store(), changed.pattern, date.today())  # which says where one would be too long
        new = with_values(kept, [("labels", "", {name: getattr(changed, name) for name in known})])
    except BadInput as error:
        return make_response(_page(error, {**said, "sheet": request.form.get("sheet", OWN)}), 400)
    return keep(new, kept, url_for("stock_labels.show", items=read_items(), start=read_text("start") or None, saved=1))


def undo() -> Response:
    """Go back to the settings before the last change of them."""
    undo_settings(store())
    flash(gettext("Undone: the settings are as before."))
    return redirect(url_for("stock_labels.show", items=read_items()), 303)


def examples() -> Response:
    """Return what labels of a pattern would look like, for the page to show as it is typed."""
    pattern = request.args.get("pattern", "")
    try:
        return make_response({"labels": labels.examples(store(), pattern, date.today()), "wrong": ""})
    except BadInput as error:
        return make_response({"labels": [], "wrong": str(error)})


def pdf() -> Response:
    """Return the labels of the chosen pieces as a PDF."""
    pieces = shelf.some(store(), read_items())
    bare = [one.what for one in pieces if not one.label]
    if bare:
        raise BadInput(
            gettext("{what} has no label.", what=bare[0]), gettext("Pieces with a label."),
            gettext("Go back, tick it and tap Labels."),
        )  # fmt: skip
    printed = [Printed(one.label, " ".join(filter(None, (one.what, one.size)))) for one in pieces]
    answer = make_response(label_pdf(printed, settings().labels, read_whole("start", 1)))
    answer.content_type = "application/pdf"
    answer.headers["Content-Disposition"] = "inline; filename=labels.pdf"
    return answer


def _page(error: SourcingError | None = None, values: dict[str, Any] | None = None) -> str:
    kept = settings().labels
    own = {name: getattr(kept, name) for name in FIELDS} | {"sheet": paper.sheet_of(kept) or OWN}
    said = values or own
    items = shelf.some(store(), read_items()) if request.values.getlist("items") else []
    try:
        shown, wrong = labels.examples(store(), str(said["pattern"]), date.today()), None
    except BadInput as bad:
        shown, wrong = [], bad
    number = request.args.get("done", "")
    return render_template(
        "stock/labels.html",
        items=items,
        start=read_whole("start", 1),
        labels=kept,
        said=said,
        fields=label_pattern.FIELDS,
        sheets=[(name, paper.shown(name)) for name in paper.SHEETS],
        own=OWN,
        codes=paper.CODES,
        examples=shown,
        wrong=wrong if error is None else None,
        error=error,
        saved=last_change(store()) if "saved" in request.args else None,
        done=ledger.action(store(), int(number)) if number.isascii() and number.isdigit() else None,
    )
