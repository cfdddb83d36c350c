"""The pages of stock: what is where, found by label, code or words; one piece; what is done with them; undo."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from flask import make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.language import gettext
from sourcing.stock import bring as brought
from sourcing.stock import ledger, seek, shelf
from sourcing.stock.item import GIVEN_UP, HELD, LISTED, READY, RETURNED, SOLD, STATES, TO_PREP, StockItem
from web import stock_actions
from web.state import settings, store
from web.stock_forms import read_items, read_text, read_whole, tap

PER_PAGE = 50
ERRORS = (BadInput, NotFound, Refused)


def state_words() -> dict[str, str]:
    """Return what each state is called."""
    return {
        TO_PREP: gettext("to prep"), READY: gettext("ready"), LISTED: gettext("listed"), SOLD: gettext("sold"),
        RETURNED: gettext("returned"), GIVEN_UP: gettext("given up"),
    }  # fmt: skip


def show() -> str | Response:
    """Show pieces of a state or found by a text; a label alone leads to its piece."""
    return _listed()


def _listed(error: SourcingError | None = None) -> str | Response:
    text, state, after = read_text("find"), read_text("state"), read_whole("after")
    state = state if state in STATES else ""
    bought_at = read_text("store")
    try:
        bought_at = seek.known_store(store(), bought_at) if bought_at else ""
        pattern = settings().labels.pattern
        found = seek.seek(store(), text, pattern, state=state, bought_at=bought_at, after=after, limit=PER_PAGE)
    except NotFound as wrong:
        found, error = seek.Sought(()), error or wrong
    if found.by == "label" and len(found.items) == 1 and error is None and request.method == "GET":
        return redirect(url_for("stock.piece", item_id=found.items[0].id), 303)
    return _page(found.items, error, found=found, find=text, state=state, bought_at=bought_at)


def box() -> str:
    """Show the pieces of a boxful, their labels typed or scanned one after the other, all of them ticked."""
    return _box()


def _box(error: SourcingError | None = None) -> str:
    text = request.values.get("labels", "")
    try:
        found, wrong = seek.boxful(store(), text.splitlines(), settings().labels.pattern)
    except BadInput as too_many:
        found, wrong, error = [], [], error or too_many
    return _page(found, error, labels=text, wrong=wrong)


def _page(items: Sequence[StockItem], error: SourcingError | None, **more: Any) -> str:
    boxed = "labels" in more
    ticked = set(read_items()) if error is not None else set()
    if (boxed and error is None) or "all" in request.args:
        ticked = {one.id for one in items}
    return render_template(
        "stock/show.html",
        items=[_labelled(one) for one in items],
        ticked=ticked,
        error=error,
        box=boxed,
        held=shelf.held(store()),
        states=state_words(),
        stores=shelf.stores(store()),
        waiting=brought.waiting(store()),
        sales=shelf.sales_of(store(), [one.id for one in items if one.state == SOLD]),
        done=_done(),
        tied_up=HELD,
        **_form(),
        **more,
    )


def _labelled(item: StockItem) -> StockItem:
    """Return a piece with what its flags are called in place of their names; one that is gone keeps its name."""
    known = settings().flags
    return replace(item, flags=tuple(known[name].shown if name in known else name for name in item.flags))


def together() -> Response:
    """Do one thing with all ticked pieces; an undo takes it back from all of them."""
    boxed = "labels" in request.form
    try:
        done = stock_actions.together(read_items())
    except ERRORS as error:
        return make_response(_box(error) if boxed else _listed(error), 400)
    if isinstance(done, Response):
        return done
    if boxed:
        return redirect(url_for("stock.box", done=done), 303)
    kept: dict[str, Any] = {name: read_text(name) or None for name in ("state", "find", "store")}
    return redirect(url_for("stock.show", done=done, **kept), 303)


def piece(item_id: int) -> str:
    """Show one piece and its story."""
    return _piece(item_id)


def _piece(item_id: int, error: SourcingError | None = None) -> str:
    from sourcing.outcomes.sale import explained_sales

    item = shelf.get(store(), item_id)
    sales = shelf.sales_of(store(), [item_id]).get(item_id, ())
    explained = explained_sales(store(), len(sales), [item_id]).sales if sales else ()
    return render_template(
        "stock/piece.html",
        item=_labelled(item),
        explained={one.sale.id: one for one in explained},
        error=error,
        listings=shelf.listings_of(store(), item_id),
        sales=sales,
        story=ledger.actions(store(), 100, item_id),
        states=state_words(),
        done=_done(),
        values=request.form if error else {},
        **_form(),
    )


def change(item_id: int) -> Response:
    """Do one thing with one piece."""
    try:
        done = stock_actions.alone(item_id)
    except (BadInput, Refused) as error:
        return make_response(_piece(item_id, error), 400)
    return done if isinstance(done, Response) else redirect(_home_of(item_id, done), 303)


def _home_of(item_id: int, done: int) -> str:
    """Return the page of a piece, or the list's where the piece is no more: it was split, or its coming was undone."""
    try:
        shelf.get(store(), item_id)
    except NotFound:
        return url_for("stock.show", done=done)
    return url_for("stock.piece", item_id=item_id, done=done)


def bring() -> Response:
    """Take a haul into stock."""
    try:
        done = brought.bring(store(), read_whole("haul_id"), tap(), read_text("store"))
    except ERRORS as error:
        return make_response(_listed(error), 400)
    return redirect(url_for("stock.show", state=TO_PREP, done=done), 303)


def undo() -> Response:
    """Take an action back, or an undoing; go back to where it was asked."""
    number, item = read_whole("action_id"), read_whole("item_id")
    try:
        done = ledger.undo(store(), number, tap())
    except Refused as error:
        return make_response(_actions(error), 409)
    return redirect(_home_of(item, done) if item else url_for("stock.show", done=done), 303)


def actions() -> str:
    """List what was done, newest first."""
    return _actions()


def _actions(error: SourcingError | None = None) -> str:
    before = read_whole("before")
    found = ledger.actions(store(), PER_PAGE + 1, before=before or 1 << 62)
    return render_template(
        "stock/actions.html", actions=found[:PER_PAGE], more=len(found) > PER_PAGE, error=error, **_form()
    )


def _done() -> ledger.Action | None:
    """Return what was just done, for the line that offers its undo."""
    number = request.args.get("done", "")
    if not number.isascii() or not number.isdigit():
        return None
    try:
        return ledger.action(store(), int(number))
    except NotFound:
        return None


def _form() -> dict[str, Any]:
    from datetime import date

    return {"client_id": secrets.token_urlsafe(9), "today": date.today()}
