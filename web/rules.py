"""The Rules pages: where to change what, what a change would do, saving, undoing, the settings file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from flask import Response, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from sourcing.channels import fees_on
from sourcing.comps.names import names
from sourcing.errors import BadInput
from sourcing.fees import FeePart
from sourcing.language import gettext, gettext_noop
from sourcing.rejudge import kept_cases
from sourcing.settings import Settings, from_toml, load_settings, redo_settings, save_settings, to_toml, undo_settings
from sourcing.settings_edit import Table, last_change, last_undone, place_of, values_of
from sourcing.settings_file import folded
from sourcing.settings_table import defaults, of_place
from web import sheets
from web.filters import money
from web.rule_sheet import show_sheet, take_sheet
from web.settings_words import shown
from web.state import current, store

_OWN_PATH = re.compile(r"/rules(?:/[\w-]+)*(?:\?name=[\w%+.~-]{0,400})?")


def show() -> str:
    """Show the cards: what is set where, in a line each."""
    kept = load_settings(store())
    spelt = [folded(one.shown) for one in names(store(), "category") if one.shown.strip()]
    categories = list(dict.fromkeys([*kept.categories, *spelt]))[:60]
    return render_template(
        "rules/show.html",
        kept=kept,
        categories=categories,
        lines=_lines(kept, categories),
        parts=[(part, sheets.part_name(part)) for part in (sheets.BUYING, sheets.POSTAGE, sheets.WORK, sheets.SELLING)],
        last=last_change(store()),
        undone=last_undone(store()),
        done=request.args.get("done"),
    )


_TOLD = {  # what a card says of its page: settings, and the word before each
    sheets.BUYING: (("purchase_tax", gettext_noop("tax")), ("store_discount", gettext_noop("discount"))),
    sheets.POSTAGE: (("packed_weight", gettext_noop("one item")),),
    sheets.WORK: (("hourly_value", gettext_noop("an hour")), ("supplies", gettext_noop("supplies"))),
    sheets.SELLING: (("give_up_day", gettext_noop("given up after")), ("return_rate", gettext_noop("returns"))),
    sheets.RULES: (("least_profit", gettext_noop("least profit")),),
    "haul": (("cash", gettext_noop("cash")), ("prep_hours", gettext_noop("prep"))),
}


def _lines(kept: Settings, categories: list[str]) -> dict[tuple[str, str], str]:
    """Say in a line what each page sets."""
    found = {}
    for part, told in _TOLD.items():
        table: Table = "haul" if part == "haul" else "default"
        found["part", part] = _line(values_of(kept, table) or {}, told, table)
    for name in kept.channels:
        own = {**defaults("channel"), **(values_of(kept, "channel", name) or {})}
        found["channel", name] = _fees(fees_on(own, date.today())[0])
    checks, _ = kept_cases(store())
    asked: dict[str, list[str]] = {}
    for standing in checks.standings(kept):
        asked.setdefault(standing.category, []).append(standing.decision)
    for name in categories:
        own = {**kept.default, **(values_of(kept, "category", name) or {})}
        line, past = _line(own, _TOLD[sheets.RULES], "category"), asked.get(name, [])
        found["category", name] = (
            gettext("{line}; {count} of {checks} checks a buy", line=line, count=past.count("buy"), checks=len(past))
            if past
            else line
        )
    return found


def _fees(parts: tuple[FeePart, ...]) -> str:
    first, known = parts[0], of_place("fee")
    line = shown(known["share"], first.share) + (f" + {money(first.fixed)}" if first.fixed else "")
    return line + (gettext(", and {count} more", count=len(parts) - 1) if len(parts) > 1 else "")


def _line(own: Mapping[str, Any], told: Iterable[tuple[str, str]], table: Table) -> str:
    known = of_place(place_of(table))
    return ", ".join(f"{gettext(word)} {shown(known[name], own[name])}".strip() for name, word in told)


def part(part: str) -> str:
    """Show what holds everywhere of one subject."""
    return show_sheet(_part(part))


def change_part(part: str) -> AnyResponse:
    """See what a change of it does, or save it."""
    return take_sheet(_part(part))


def _part(part: str) -> sheets.Sheet:
    if part not in sheets.PARTS:
        abort(404)
    return sheets.part_sheet(part)


def category() -> str:
    """Show one category's rules and terms; one without a table of its own inherits them all."""
    return show_sheet(sheets.category_sheet(_name("category")))


def change_category() -> AnyResponse:
    """See what a change of it does, save it, or let the category inherit everything again."""
    return take_sheet(sheets.category_sheet(_name("category")))


def flag() -> str:
    """Show one condition flag."""
    return show_sheet(sheets.flag_sheet(_name("flag")))


def change_flag() -> AnyResponse:
    """See what a change of it does, save it, or remove the flag."""
    return take_sheet(sheets.flag_sheet(_name("flag")))


def _name(what: str) -> str:
    name = folded(request.args.get("name", ""))
    if not name or len(name) > 80:
        unnamed = gettext("The flag has no name.") if what == "flag" else gettext("The category has no name.")
        raise BadInput(
            gettext("The name has {count} characters.", count=len(name)) if name else unnamed,
            gettext("From 1 to 80 characters."),
            gettext("Go back to Rules and type one."),
            field="name",
        )
    return name


def undo() -> AnyResponse:
    """Go back to the settings before the last change, or forth again, and to the page it was done on."""
    again = request.form.get("do") == "redo"
    others_count = redo_settings(store()) if again else undo_settings(store())
    flash(gettext("Done again: the change is in force.") if again else gettext("Undone: the settings are as before."))
    back = request.form.get("back", "")
    target = back if _OWN_PATH.fullmatch(back) else url_for("rules.show")
    return after_change(others_count, f"{target}{'&' if '?' in target else '?'}{'done' if again else 'undone'}=1")


def export() -> Response:
    """Hand out the settings file."""
    name = {"Content-Disposition": "attachment; filename=settings.toml"}
    return Response(to_toml(load_settings(store())), content_type="application/toml; charset=utf-8", headers=name)


def bring_in() -> AnyResponse:
    """Take the settings of an uploaded file."""
    upload = request.files.get("file")
    if upload is None or not upload.filename:
        raise BadInput(
            gettext("No file was chosen."),
            gettext("A settings file that this page handed out."),
            gettext("Choose one."),
        )
    try:
        text = upload.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput(
            gettext("The file is not text."), gettext("A settings file in UTF-8."), gettext("Choose another.")
        ) from error
    brought: Settings = from_toml(text)
    for note in brought.notes:
        flash(note)
    return after_change(
        save_settings(store(), brought, gettext("brought in from a file")), url_for("rules.show", done=1)
    )


def after_change(others_count: bool, target: str) -> AnyResponse:
    """Go on to a page; learn anew where other comps, or other words in them, count now."""
    if others_count:
        from sourcing.fitting import refit

        kept = store()
        current().task.start(lambda say: refit(kept, say))
        flash(gettext("Other comps count now, or other words in them: learning from them has begun."))
    return redirect(target, 303)
