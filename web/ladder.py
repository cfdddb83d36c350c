"""The break-even table: the most worth paying by style, to be printed and pinned at the rack."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, NamedTuple
from urllib.parse import urlencode

from flask import make_response, render_template, request
from werkzeug.wrappers import Response

from sourcing.comps.names import names
from sourcing.errors import BadInput
from sourcing.ladder import GROUPS, SIZES_OF_PAGES, SORTS, STYLE, Ladder, Wanted, ladder
from sourcing.language import gettext
from web.forms import read_discount
from web.ladder_file import as_csv
from web.state import settings, store

FIELDS = ("brand", "category", "group", "discount", "sort", "find", "rows", "page", "part")
MOST_NAMES = 300
LITTLE = "little"


class View(NamedTuple):
    """How a table is looked at."""

    sort: str
    find: str
    rows: int
    page: int
    little: bool  # those there is too little to go on


def show() -> Response:
    """Show one page of the table."""
    kinds = {kind: names(store(), kind)[:MOST_NAMES] for kind in ("category", "brand")}
    given: dict[str, Any] = {
        "kinds": kinds, "values": request.args, "groups": GROUPS, "sorts": SORTS, "sizes": SIZES_OF_PAGES,
        "today": date.today(), "address": address,
    }  # fmt: skip
    try:
        found, view = _read(request.args)
        lines = found.lines(little=view.little, sort=view.sort, find=view.find)
    except BadInput as error:
        return make_response(render_template("ladder/show.html", error=error, **given), 400)
    pages = max(1, -(-len(lines) // view.rows))
    page = min(view.page, pages)
    shown = lines[(page - 1) * view.rows : page * view.rows]
    return make_response(
        render_template(
            "ladder/show.html",
            error=None,
            found=found,
            view=view,
            shown=shown,
            total=len(lines),
            page=page,
            pages=pages,
            **given,
        )
    )


def download() -> Response:
    """Send the whole table as a file, in the order and with the words asked for; both kinds of lines."""
    found, view = _read(request.args)
    text = as_csv(found, sort=view.sort, find=view.find)
    answer = make_response(text.encode("utf-8-sig"))
    answer.headers["Content-Type"] = "text/csv; charset=utf-8"
    answer.headers["Content-Disposition"] = 'attachment; filename="most-worth-paying.csv"'
    return answer


def address(**changes: Any) -> str:
    """Write what is looked at as the end of an address, with changes; what is as usual is left out."""
    said = {name: request.args.get(name, "") for name in FIELDS} | changes
    kept = {
        name: value for name, value in said.items() if value not in ("", None) and (name, str(value)) != ("page", "1")
    }
    return f"?{urlencode(kept)}" if kept else "?"


def _read(values: Mapping[str, str]) -> tuple[Ladder, View]:
    words = {name: " ".join((values.get(name) or "").split())[:200] for name in FIELDS}
    wanted = Wanted(words["brand"], words["category"], words["group"] or STYLE, read_discount(values))
    rows = words["rows"] or str(SIZES_OF_PAGES[0])
    if rows not in map(str, SIZES_OF_PAGES):
        accepted = ", ".join(map(str, SIZES_OF_PAGES))
        raise BadInput(
            gettext("A page of “{rows}” lines cannot be shown.", rows=rows[:20]),
            gettext("One of {accepted}.", accepted=accepted),
            field="rows",
        )
    page = words["page"] or "1"
    if not (page.isascii() and page.isdigit() and int(page[:9]) > 0 and len(page) < 10):
        raise BadInput(
            gettext("There is no page “{page}”.", page=page[:20]), gettext("A whole number from 1."), field="page"
        )
    view = View(words["sort"] or SORTS[0], words["find"], int(rows), int(page), words["part"] == LITTLE)
    return ladder(store(), settings(), wanted), view
