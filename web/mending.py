"""Rejected rows of a load: put right on its page, or taken along as a file."""

from __future__ import annotations

import csv
import io
import re

from flask import flash, make_response, redirect, request, url_for
from werkzeug.wrappers import Response

from sourcing.comps.loading import MOST_REJECTS
from sourcing.comps.mend import Rejects, mend, rejects
from sourcing.errors import BadInput
from sourcing.language import gettext
from web import incoming_work as work
from web.comps import load_page
from web.filters import grouped
from web.state import current, store

_CELL = re.compile(r"cell-([0-9]{1,8})-([0-9]{1,4})", re.ASCII)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet may take for the beginning of a formula (source: OWASP, "CSV Injection")."""
LAST_COLUMNS = ("problem", "what to do")


def put_right(batch_id: int) -> Response:
    """Load the rows whose cells were changed; those still wrong stay, with what was typed into them."""
    typed = _typed()
    changed = _changed(_waiting(batch_id, {row for row, _ in typed}), typed)
    report = mend(store(), batch_id, changed)
    if report.new:
        work.learn(current())
    more = " " + gettext("{count} of them were there already.", count=grouped(report.known)) if report.known else ""
    done, read = grouped(report.new + report.known), grouped(report.read)
    flash(gettext("{count} of {read} rows put right and loaded.", count=done, read=read) + more)
    if report.rejected:
        return make_response(load_page(batch_id, typed), 422)
    return redirect(url_for("comps.batch", batch_id=batch_id), 303)


def download(batch_id: int) -> Response:
    """Send the rejected rows as their file had them, with what is wrong and what to do in two last columns."""
    found = rejects(store(), batch_id, most=MOST_REJECTS)
    text = io.StringIO(newline="")
    out = csv.writer(text)
    out.writerow(map(harmless, (*found.header, *LAST_COLUMNS)))
    for one in found.rows:
        wrong = [problem for problem in one.problems if problem.rejected]
        reasons = "; ".join(
            f"{problem.column}: {problem.reason}" if problem.column else problem.reason for problem in wrong
        )
        out.writerow(map(harmless, (*one.cells, reasons, "; ".join(dict.fromkeys(problem.fix for problem in wrong)))))
    answer = make_response(text.getvalue().encode("utf-8-sig"))
    answer.headers["Content-Type"] = "text/csv; charset=utf-8"
    answer.headers["Content-Disposition"] = f'attachment; filename="rejected-{batch_id}.csv"'
    return answer


def harmless(cell: str) -> str:
    """Put an apostrophe before what a spreadsheet would run."""
    return f"'{cell}" if cell.startswith(_FORMULA) else cell


def _typed() -> dict[tuple[int, int], str]:
    found = {}
    for name, text in request.form.items():
        if (match := _CELL.fullmatch(name)) is not None:
            found[int(match[1]), int(match[2])] = text
    return found


def _waiting(batch_id: int, rows: set[int]) -> Rejects:
    if not rows:
        raise BadInput(gettext("No row was put right."), next_step=gettext("Change a cell of one, then try again."))
    return rejects(store(), batch_id, most=max(rows) - min(rows) + 1, after=min(rows) - 1)


def _changed(found: Rejects, typed: dict[tuple[int, int], str]) -> dict[int, dict[int, str]]:
    """Return the cells that say something else than the file did, by row and place."""
    was = {one.row: one.cells for one in found.rows}  # a row put right meanwhile waits no longer
    changed: dict[int, dict[int, str]] = {}
    for (row, place), text in typed.items():
        cells = was.get(row, ())
        if row in was and not (place < len(cells) and cells[place] == text):
            changed.setdefault(row, {})[place] = text
    return changed
