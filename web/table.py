"""The pages of the comps table: look rows up, change them, merge and rename, take changes back."""

from __future__ import annotations

from collections.abc import Callable

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import comps
from sourcing.comps import comp as one_comp
from sourcing.comps import edits, gaps, lookup
from sourcing.comps.change import Edit
from sourcing.comps.columns import COLUMNS, OUT, STATUSES
from sourcing.comps.comp import row_id
from sourcing.comps.names import KINDS, names
from sourcing.comps.search import NONE, SORTS, Filter, find_items, item_of, root_of, search
from sourcing.comps.take_back import edits as all_edits
from sourcing.comps.take_back import undo_edit
from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.fitting import keep_up
from sourcing.language import gettext_noop
from web import charts_evidence
from web.state import current, store
from web.table_forms import as_address, read_cells, read_filter, read_number, read_rows

MOST_SHOWN = 300  # rows of an item, names of a kind
CHOICES = {
    name: [(word, word) for word in words]
    for name, words in {"status": STATUSES, "counts": (gettext_noop("counted"), *OUT[1:]), "sort": SORTS}.items()
}


def show() -> str:
    """Show the rows wanted, page by page."""
    wanted = read_filter(request.args)
    kinds = {kind: names(store(), kind) for kind in KINDS}
    return render_template(
        "table/show.html",
        wanted=wanted,
        found=search(store(), wanted),
        kinds=kinds,
        pairs=CHOICES,
        none_named=NONE,
        batches=[one for one in comps.batches(store()) if one.undone_at is None],
        address=as_address,
    )


def row() -> str:
    """Show one row, where it came from, and the form to change it."""
    return _row(request.args.get("row", ""))


def edit() -> Response:
    """Change fields of one row."""
    at = request.form.get("row", "")
    try:
        made = edits.edit_row(store(), row_id(at), read_cells())
    except BadInput as error:
        return make_response(_row(at, error, read_cells()), 400)
    return _changed(made, "table.row", row=at)


def aside() -> Response:
    """Set rows aside."""
    return _on_rows(lambda: edits.set_aside(store(), read_rows(), request.form.get("reason", "")))


def back() -> Response:
    """Bring rows back."""
    return _on_rows(lambda: edits.bring_back(store(), read_rows()))


def move() -> Response:
    """Give rows to another style code."""
    return _on_rows(lambda: edits.split(store(), read_rows(), request.form.get("style_code", "")))


def item() -> str:
    """Show all rows of one item, and what it may be one with."""
    return _item(read_number(request.args, "item"))


def merge() -> Response:
    """Make two items one."""
    gone = read_number(request.form, "item")
    try:
        stays = item_of(store(), request.form.get("into", ""))
        made = edits.merge(store(), gone, stays)
    except (BadInput, NotFound) as error:
        return make_response(_item(gone, error), 400)
    return _changed(made, "table.item", item=stays)


def all_names() -> str:
    """Show brands and categories with their counts."""
    return _names()


def rename() -> Response:
    """Give brands or categories another name."""
    kind = request.form.get("kind", "")
    try:
        made = edits.rename(store(), kind, request.form.getlist("name"), request.form.get("to", ""))
    except BadInput as error:
        return make_response(_names(error), 400)
    return _changed(made, "table.all_names")


def changes() -> str:
    """List the edits."""
    return render_template("table/changes.html", edits=all_edits(store()), error=None)


def undo() -> Response:
    """Take one edit back."""
    try:
        done = undo_edit(store(), read_number(request.form, "edit_id"))
    except Refused as error:
        return make_response(render_template("table/changes.html", edits=all_edits(store()), error=error), 409)
    flash(done.words)
    learn()
    return redirect(url_for("table.changes"), 303)


def evidence() -> str:
    """Show how old and thick the evidence is, and what was asked for in vain."""
    found = gaps.thickness(store())
    picture = charts_evidence.ages(found)
    return render_template(
        "table/evidence.html", found=found, picture=picture, ages=gaps.AGE_WORDS, wanted=gaps.most_wanted(store())
    )


def learn() -> None:
    """Bring the fit up to date in the background."""
    kept = store()
    current().task.start(lambda say: keep_up(kept, say))


def _changed(made: Edit, endpoint: str, **values: object) -> Response:
    learn()
    return redirect(url_for(endpoint, done=made.id, **values), 303)  # type: ignore[arg-type]


def _done() -> Edit | None:
    """Return the edit that led to this page, so that the page offers to undo it."""
    number = request.args.get("done", "")
    return next((one for one in all_edits(store(), 20) if str(one.id) == number and one.undone_at is None), None)


def _row(at: str, error: BadInput | None = None, typed: dict[str, str] | None = None) -> str:
    found = one_comp.comp(store(), row_id(at))
    return render_template(
        "table/row.html",
        row=found,
        sources=one_comp.sources(store(), found.id),
        cells=one_comp.cells(found) | (typed or {}),
        columns=COLUMNS,
        statuses=STATUSES,
        kinds={kind: names(store(), kind)[:MOST_SHOWN] for kind in KINDS},
        error=error,
        done=_done(),
    )


def _item(number: int, error: SourcingError | None = None) -> str:
    product = lookup.product_of(store(), root_of(store(), number))
    assert product is not None
    found = search(store(), Filter(item=product.root), per_page=MOST_SHOWN)
    words = " ".join(filter(None, (product.brand, product.title)))
    near = [root for root in find_items(store(), words)[1][:6] if root != product.root] if words else []
    alike = [one for root in near[:4] if (one := lookup.product_of(store(), root)) is not None]
    return render_template(
        "table/item.html", product=product, found=found, alike=alike, error=error, done=_done(), address=as_address
    )


def _names(error: BadInput | None = None) -> str:
    looked = request.values.get("find", "")[:100]
    shown = {
        kind: [one for one in names(store(), kind) if looked.casefold() in one.shown.casefold()] for kind in edits.KINDS
    }
    return render_template(
        "table/names.html", kinds=shown, most=MOST_SHOWN, looked=looked, error=error, done=_done(), values=request.form
    )


def _on_rows(change: Callable[[], Edit]) -> Response:
    """Change the ticked rows of an item, or the one row of its page, and show that again."""
    rows = request.form.getlist("row")
    try:
        made = change()
    except BadInput as error:
        if "item" in request.form:
            return make_response(_item(read_number(request.form, "item"), error), 400)
        return make_response(_row(rows[0] if rows else "", error), 400)
    if "item" in request.form:  # all its rows may have gone to another
        return _changed(made, "table.item", item=one_comp.comp(store(), row_id(rows[0])).root)
    return _changed(made, "table.row", row=rows[0])
