"""The Plan page: what to take of the haul, of past checks and of a shelf list within cash and prep time."""

from __future__ import annotations

import io
import secrets
from decimal import Decimal
from typing import NamedTuple

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response

from sourcing import history, planner
from sourcing.check import check
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.money import money_writer
from web.filters import grouped
from web.state import settings, store

LIMITS = ("cash", "prep_hours", "most_of_style", "most_in_category")
RECENT = 30
MOST_LIST = 200_000  # characters of a list that goes along with the form


class Choosing(NamedTuple):
    """What there is to choose from, and what was chosen."""

    asked: list[planner.Asked]
    rows: str  # the shelf list as text
    list_name: str
    problems: list[tuple[int, str]]


def show() -> Response:
    """Plan with the limits of the settings and the open haul; ``?check=12`` chooses past checks too."""
    return _page(request.args)


def work_out() -> Response:
    """Plan with what was typed; nothing is changed."""
    return _page(request.form)


def take() -> Response:
    """Make the haul what the plan said; the form's own id makes a second tap harmless."""
    form, kept = request.form, store()
    token = form.get("token", "")[:32] or secrets.token_urlsafe(12)
    if not planner.is_taken(kept, token):
        wanted = [planner.Wanted(*_pair(text)) for text in form.getlist("take")]
        rows = dict(_pair(text) for text in form.getlist("row"))
        listed = {one.key: one for one in _listed(form.get("rows", ""))[0]} if rows else {}
        for row, count in rows.items():
            number = history.record(kept, check(kept, _of_row(listed, row).query))
            wanted.append(planner.Wanted(number, count))
        if planner.take_plan(kept, wanted, token) is None:
            flash(gettext("The haul is what the plan says already."))
    return redirect(url_for("haul.show"), 303)


def undo() -> Response:
    """Make the haul what it was before the plan was taken."""
    planner.undo_taking(store(), request.form.get("moment", ""))
    flash(gettext("The plan was taken back."))
    return redirect(url_for("haul.show"), 303)


def _page(values: MultiDict[str, str]) -> Response:
    """Show the form and, where there is anything to choose from, the plan."""
    error: BadInput | None = None
    found: planner.Plan | None = None
    labels: dict[str, str] = {}
    kept = settings()
    choosing = Choosing(planner.of_haul(store()), "", "", [])
    try:
        choosing = _choosing(values)
        limits = planner.read_limits(
            {name: values[name] for name in LIMITS if name in values}, kept.haul, kept.currency
        )
        if choosing.asked:
            candidates = planner.judged(store(), choosing.asked, kept)
            labels = {one.key: candidate.label for candidate in candidates for one in candidate.all_asked}
            write = money_writer(kept.currency, kept.locale)
            every = "every" in values
            found = planner.plan(candidates, limits, every=every, currency=kept.currency, write=write)
    except BadInput as wrong:
        error = wrong
    page = render_template(
        "plan/show.html",
        values={name: values.get(name, _typed(getattr(kept.haul, name))) for name in LIMITS},
        every="every" in values,
        choosing=choosing,
        ticked={text for text in values.getlist("check") if text.isdigit()},
        stock={one.key: _typed(one.stock) for one in choosing.asked},
        sent=values,
        labels=labels,
        recent=_recent(choosing.asked),
        plan=found,
        error=error,
        token_of_plan=secrets.token_urlsafe(12),
        changes=_changes(found) if found else [],
        time=_time,
        part=_part,
    )
    return make_response(page, 400 if error else 200)


def _choosing(values: MultiDict[str, str]) -> Choosing:
    """Read what was chosen: the haul always, ticked checks, the list that came along or is brought now."""
    name, rows, problems = values.get("list_name", "")[:80], values.get("rows", ""), []
    if "drop" in values:
        name, rows = "", ""
    upload = request.files.get("list")
    if upload is not None and upload.filename:
        name, data = upload.filename[-80:], upload.read()
        rows = planner.as_text(io.BytesIO(data))
        problems = planner.of_list(io.BytesIO(data), settings())[1]
    listed = _listed(rows)[0] if rows else []
    ticked = [int(text) for text in values.getlist("check") if text.isascii() and text.isdigit() and len(text) < 10]
    asked = planner.joined(planner.of_haul(store()), planner.of_checks(store(), ticked), listed)
    stock = {one.key: planner.stock_of(values[_field(one)], _field(one)) for one in asked if _field(one) in values}
    return Choosing(planner.joined(asked, stock=stock), rows, name, problems)


def _listed(rows: str) -> tuple[list[planner.Asked], list[tuple[int, str]]]:
    if len(rows) > MOST_LIST:
        raise BadInput(
            gettext("The list has {count} characters.", count=grouped(len(rows))),
            gettext("Up to {most}.", most=grouped(MOST_LIST)),
            gettext("Leave out what you would not buy."),
            field="list",
        )
    return planner.of_list(io.BytesIO(rows.encode()), settings())


def _of_row(listed: dict[str, planner.Asked], row: int) -> planner.Asked:
    found = listed.get(f"row {row}")
    if found is None:
        raise BadInput(
            gettext("The list has no row {row} that can be judged.", row=row), "", gettext("Plan again."), field="list"
        )
    return found


def _recent(asked: list[planner.Asked]) -> list[history.PastCheck]:
    """Return past checks with a shelf price that are no line of the haul, newest first."""
    held = {one.check_id for one in asked if one.source == "haul"}
    return [one for one in history.recent(store(), RECENT) if one.shelf_price is not None and one.id not in held]


def _changes(found: planner.Plan) -> list[tuple[str, str]]:
    """Return the fields of the form that takes the plan: name and value."""
    fields: list[tuple[str, str]] = []
    for line in (*found.taken, *found.left):
        counts = {part.asked.key: part.count for part in line.parts}
        for asked in line.candidate.all_asked:
            count = counts.get(asked.key, 0)
            if asked.check_id is not None and count != asked.held:
                fields.append(("take", f"{asked.check_id}:{count}"))
            elif asked.check_id is None and count:
                fields.append(("row", f"{asked.key.removeprefix('row ')}:{count}"))
    return fields


def _field(asked: planner.Asked) -> str:
    return f"stock {asked.key}"


def _pair(text: str) -> tuple[int, int]:
    parts = text.split(":")
    if len(parts) != 2 or not all(part.isascii() and part.isdigit() and len(part) < 10 for part in parts):
        raise BadInput(
            gettext("“{text}” is no line of a plan.", text=text[:40]), "", gettext("Plan again."), field="plan"
        )
    return int(parts[0]), int(parts[1])


def _typed(value: Decimal | int | None) -> str:
    return "" if value is None else f"{value:f}" if isinstance(value, Decimal) else str(value)


def _time(minutes: Decimal) -> str:
    """Return minutes as hours and minutes."""
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return gettext("{count} min", count=rest)
    return gettext("{hours} h {minutes} min", hours=hours, minutes=rest)


def _part(value: Decimal, whole: Decimal) -> str:
    """Return a share of a bar that is 100 long."""
    return f"{min(float(value) / float(whole), 1.0) * 100:.1f}" if whole else "0"
