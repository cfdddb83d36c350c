"""One Rules page: its fields, what was typed into them, what that would change, and keeping it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import make_response, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput
from sourcing.labour import StepMinutes
from sourcing.prep.learnt import words
from sourcing.rejudge import RULES, Change, Effect, change, effects, kept_cases
from sourcing.settings import Settings, load_settings, save_settings
from sourcing.settings_edit import Table, differences, last_change, last_undone, values_of, with_values
from web.haul_limits import both
from web.settings_form import Field, fields, typed
from web.settings_words import told
from web.sheets import Piece, Sheet
from web.state import store

Pieces = list[tuple[Piece, tuple[Field, ...]]]


def show_sheet(sheet: Sheet) -> str:
    """Show a page as the settings in force have it."""
    kept = load_settings(store())
    return _page(sheet, kept, _pieces(sheet, kept))


def take_sheet(sheet: Sheet) -> Response:
    """Read what was typed: show what it changes, save it, or take the page's own table away."""
    kept = load_settings(store())
    if request.form.get("do") == "remove" and sheet.named is not None:
        return keep(with_values(kept, [(*sheet.named, None)]), kept, _address(done="1"))
    tables: dict[tuple[Table, str], dict[str, Any]] = {}
    sent: Pieces = []
    for piece, shown in _pieces(sheet, kept):
        own = tables.get((piece.table, piece.name), values_of(kept, piece.table, piece.name) or {})
        tables[piece.table, piece.name], back = typed(request.form, piece.settings, shown, own)
        sent.append((piece, back))
    if any(field.wrong for _, back in sent for field in back):
        return make_response(_page(sheet, kept, sent, wrong=True), 400)
    try:
        settings = with_values(kept, [(*key, values) for key, values in tables.items()])
        if request.form.get("do") == "save":
            return keep(settings, kept, _address(done="1"))
        return make_response(_page(sheet, settings, sent, done=change(store(), settings)))
    except BadInput as error:
        return make_response(_page(sheet, kept, _with_error(sent, error), wrong=True, error=error), 400)


def _pieces(sheet: Sheet, settings: Settings) -> Pieces:
    found = []
    for piece in sheet.pieces:
        own = values_of(settings, piece.table, piece.name)
        inherited: Mapping[str, Any] | None = settings.default if piece.table == "category" else None
        if own is None:  # a new one: a category inherits all, others start from the defaults
            own = {} if inherited is not None else {one.name: one.default for one in piece.settings}
        found.append((piece, fields(piece.settings, own, inherited, {"channel": tuple(settings.channels)})))
    return found


def _with_error(sent: Pieces, error: BadInput) -> Pieces:
    """Put an error of settings that contradict each other beside the field it names, where the page has it."""
    return [
        (piece, tuple(replace(one, wrong=error) if one.name == error.field else one for one in back))
        for piece, back in sent
    ]


def keep(settings: Settings, kept: Settings, target: str) -> Response:
    """Save settings where they differ, named by what was changed, and go on to a page."""
    from web.rules import after_change

    found = differences(kept, settings)
    return after_change(bool(found) and save_settings(store(), settings, told(found)), target)


def _address(**more: str) -> str:
    """Return the address of the page itself, which is the one that was posted to."""
    values: dict[str, Any] = {**(request.view_args or {}), **more}
    if "name" in request.args:
        values["name"] = request.args["name"]
    return url_for(str(request.endpoint).replace(".change_", "."), **values)


def _page(
    sheet: Sheet,
    settings: Settings,
    pieces: Pieces,
    *,
    wrong: bool = False,
    error: BadInput | None = None,
    done: Change | None = None,
) -> str:
    first = next((field.name for _, back in pieces for field in back if field.wrong), None)
    category = sheet.named[1] if sheet.named and sheet.named[0] == "category" else None
    rules = any(one.name in RULES for piece in sheet.pieces for one in piece.settings)
    found = _effects(settings, category) if rules and not wrong else {}
    return render_template(
        "rules/sheet.html",
        sheet=sheet,
        pieces=pieces,
        wrong=wrong,
        first=first,
        error=error if first is None else None,
        change=done,
        limits=both(done),
        effects={rule: one for rule, one in found.items() if one.checks},
        unseen=bool(found) and not any(one.checks for one in found.values()),
        stands=sheet.named is None or values_of(load_settings(store()), *sheet.named) is not None,
        target=_address(),
        learnt=_learnt(sheet),
        last=last_change(store()),
        undone=last_undone(store()) if "undone" in request.args else None,
    )


def _learnt(sheet: Sheet) -> list[tuple[str, StepMinutes]]:
    """Return what the user's own timed batches tell of the minutes on this page, by step."""
    found, where = load_settings(store()).learnt, sheet.named or ("default", "")
    if not any(one.name == "learn_minutes" for piece in sheet.pieces for one in piece.settings) and where[0] != "flag":
        return []
    return words(found.by_flag if where[0] == "flag" else found.by_category, where[1])


def _effects(settings: Settings, category: str | None) -> dict[str, Effect]:
    """Count what each rule does to the last checks: of one category, or of all that inherit it."""
    checks, _ = kept_cases(store())
    by_category = effects(checks.standings(settings))
    found = {}
    for rule in RULES:
        mine = [
            each[rule]
            for name, each in by_category.items()
            if (name == category if category is not None else rule not in settings.categories.get(name, {}))
        ]
        found[rule] = sum(mine, Effect())
    return found
