"""A run through one store: its line on the Check page, its page so far, and its summary when it is over."""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import haul, run
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.stock import bring as brought
from web.state import settings, store
from web.stores import of_run


class Line(NamedTuple):
    """The open run in one line, or the names that stores were given before."""

    run: run.Run | None
    haul: haul.HaulView | None
    cash: Decimal | None  # limits of the haul; None: off
    minutes: Decimal | None
    stores: list[str]


def line() -> Line:
    """Say how the open run stands."""
    found = run.open_run(store())
    if found is None:
        return Line(None, None, None, None, run.stores(store()))
    limits = settings().haul
    minutes = None if limits.prep_hours is None else limits.prep_hours * 60
    return Line(found, haul.view(store(), found.id), limits.cash, minutes, [])


def now() -> str | Response:
    """Show the open run so far; without one, the form that starts it and the runs before."""
    found = run.open_run(store())
    return _page(found.id if found else None)


def show(haul_id: int) -> str:
    """Show one run: what was checked, taken and passed, what is to prep."""
    return _page(haul_id)


def end() -> Response:
    """End a run and show its summary, where it can be opened again."""
    haul_id = _number()
    run.end(store(), haul_id)
    return redirect(url_for("run.show", haul_id=haul_id), 303)


def reopen() -> Response:
    """Undo the ending of a run."""
    haul_id = _number()
    run.reopen(store(), haul_id)
    return redirect(url_for("run.show", haul_id=haul_id), 303)


def _page(haul_id: int | None) -> str:
    limits = settings().haul
    return render_template(
        "run/show.html",
        run=run.get(store(), haul_id) if haul_id is not None else None,
        haul=haul.view(store(), haul_id) if haul_id is not None else None,
        prep=run.to_prep(store(), haul_id) if haul_id is not None else None,
        cash=limits.cash,
        minutes=None if limits.prep_hours is None else limits.prep_hours * 60,
        earlier=[one for one in run.ended(store()) if one[0] != haul_id],
        stores=run.stores(store()),
        waiting=sum(one.pieces for one in brought.waiting(store()) if one.haul_id == haul_id),
        of_run=of_run(haul_id) if haul_id is not None else None,
    )


def _number() -> int:
    text = request.form.get("haul_id", "").strip()
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(
            gettext("“{text}” is not the number of a run.", text=text[:40]),
            "",
            gettext("Choose it from the list of runs."),
        )
    return int(text)
