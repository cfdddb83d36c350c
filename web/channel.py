"""One sales channel: its fees as a price list has them, and the receipt of one example sale beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from flask import make_response, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.answer import ReceiptLine
from sourcing.channels import FEES, SHORT
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.receipt import fee_note
from sourcing.rejudge import Change, change
from sourcing.settings import Settings, load_settings
from sourcing.settings_edit import last_change, last_undone, values_of, with_values
from sourcing.settings_file import folded
from sourcing.settings_table import defaults, of_place
from web.fee_form import Part, blank_part, part_forms, parts_on, read_parts, stated
from web.forms import read_price
from web.haul_limits import both
from web.rule_sheet import keep
from web.settings_form import Field, fields, typed
from web.state import store

EXAMPLE = Decimal("60.00")  # an invented sale


def channel() -> str:
    """Show one channel's fees as they are in force, or an empty price list under a new name."""
    kept, name = load_settings(store()), _name()
    own = values_of(kept, "channel", name)
    day = _day(own)
    return _page(kept, kept, name, day, part_forms(parts_on(own, day)), _rest(own))


def change_channel() -> Response:
    """See what the typed fees change, save them, or take the channel or one day's fees away."""
    kept, name, do = load_settings(store()), _name(), request.form.get("do")
    own = values_of(kept, "channel", name)
    was = _day(own)
    if do == "remove":
        return keep(with_values(kept, [("channel", name, None)]), kept, url_for("rules.show"))
    if do == "drop" and own is not None and was is not None:
        fees = {day: parts for day, parts in own[FEES].items() if day != was}
        return keep(with_values(kept, [("channel", name, {**own, FEES: fees})]), kept, _address(name))
    parts, sent = read_parts(request.form)
    values, rest = typed(request.form, _rest_settings(), _rest(own), _without_fees(own))
    text = request.form.get("since", "").strip()
    errors: dict[str, BadInput] = {}
    day = was
    try:
        day = date.fromisoformat(text) if text else None
    except ValueError:
        errors["since"] = BadInput(
            gettext("“{text}” is no day.", text=text[:40]),
            gettext("A day such as 2026-01-31, or nothing."),
            field="since",
        )
    if not parts:
        errors["parts"] = BadInput(
            gettext("No fee was typed."),
            gettext("At least one; a channel that costs nothing has 0 %."),
            gettext("Type the percentage."),
            field="p0.share",
        )
    wrong = errors or any(part.wrong for part in sent)
    wrong = wrong or any(one.wrong for one in (*rest, *(field for part in sent for field in part.fields)))
    if not wrong:
        try:
            tables: list[Any] = [("channel", name, {**values, **stated(own, parts, was, day)})]
            if "everywhere" in request.form:
                tables.append(("default", "", {**kept.default, "channel": name}))
            settings = with_values(kept, tables)
            if do == "save":
                found = values_of(settings, "channel", name) or {}
                return keep(settings, kept, _address(name, day if day in found.get(FEES, {}) else None))
            seen = change(store(), settings)
            return make_response(_page(kept, settings, name, was, sent, rest, since=text, done=seen))
        except BadInput as error:
            sent, rest = _at_field(sent, rest, errors, error)
    return make_response(_page(kept, kept, name, was, sent, rest, since=text, errors=errors), 400)


def _at_field(
    sent: tuple[Part, ...], rest: tuple[Field, ...], errors: dict[str, BadInput], error: BadInput
) -> tuple[tuple[Part, ...], tuple[Field, ...]]:
    """Put an error of fees that contradict each other or the terms beside the field it is about."""
    setting = {"fee_rate": "share", FEES: "since"}.get(error.field, error.field)
    if setting in of_place("fee"):
        at = next((part.at for part in sent if f"“{part.name}”" in error.wrong), sent[0].at if sent else 0)
        return tuple(
            replace(part, fields=tuple(_with(one, f"p{at}.{setting}", error) for one in part.fields)) for part in sent
        ), rest
    if setting not in [one.name for one in rest]:
        errors[setting if setting == "since" else "parts"] = error
    return sent, tuple(_with(one, setting, error) for one in rest)


def _with(field: Field, name: str, error: BadInput) -> Field:
    return replace(field, wrong=error) if field.name == name else field


def _name() -> str:
    name = folded(request.args.get("name", ""))
    if not name or len(name) > 80 or "," in name:
        raise BadInput(
            gettext("“{name}” is no name for a channel.", name=name[:40])
            if name
            else gettext("The channel has no name."),
            gettext("From 1 to 80 characters, no comma."),
            gettext("Go back to Rules and type one."),
            field="name",
        )
    return name


def _day(own: Mapping[str, Any] | None) -> date | None:
    """Return which day's fees are shown: the one asked for, else those in force; None: the short form, or new ones."""
    days: list[date] = list((own or {}).get(FEES, {}))
    asked = request.args.get("day", "")
    if asked == "new" or not days:
        return None
    return next((day for day in days if day.isoformat() == asked), None) or max(
        (day for day in days if day <= date.today()), default=days[0]
    )


def _rest_settings() -> tuple[Any, ...]:
    return tuple(one for one in of_place("channel").values() if one.name not in SHORT)


def _rest(own: Mapping[str, Any] | None) -> tuple[Field, ...]:
    return fields(_rest_settings(), {**defaults("channel"), **(own or {})})


def _without_fees(own: Mapping[str, Any] | None) -> dict[str, Any]:
    return {name: value for name, value in (own or {}).items() if name not in (*SHORT, FEES)}


def _address(name: str, day: date | None = None) -> str:
    return url_for("channel.channel", name=name, done=1, **({"day": day.isoformat()} if day else {}))  # type: ignore[arg-type]


def _page(
    kept: Settings,
    settings: Settings,
    name: str,
    day: date | None,
    parts: tuple[Part, ...],
    rest: tuple[Field, ...],
    *,
    since: str | None = None,
    errors: Mapping[str, BadInput] | None = None,
    done: Change | None = None,
) -> str:
    own = values_of(kept, "channel", name)
    named = own is not None
    if request.args.get("day") == "new" and since is None:  # they begin as the newest ones
        parts = part_forms(parts_on(own, max((own or {}).get(FEES, {}), default=None)))
    parts = (*parts, blank_part(max((part.at for part in parts), default=-1) + 1))
    wrong = [one.name for part in parts for one in part.fields if one.wrong] + [one.name for one in rest if one.wrong]
    lines, note, total = _example(settings, name, _since(since) or day)
    return render_template(
        "rules/channel.html",
        name=name,
        parts=parts,
        rest=rest,
        errors=errors or {},
        wrong=bool(errors or wrong or any(part.wrong for part in parts)),
        first=wrong[0] if wrong else None,
        since=since if since is not None else day.isoformat() if day else "",
        day=day,
        days=list((own or {}).get(FEES, {})),
        named=named,
        everywhere=name not in str(kept.default["channel"]).split(","),
        ticked="everywhere" in request.form or not named,
        change=done,
        limits=both(done),
        receipt=lines,
        note=note,
        total=total,
        categories=list(kept.categories),
        category=_category(kept),
        last=last_change(store()),
        undone=last_undone(store()) if "undone" in request.args else None,
        target=request.full_path.rstrip("?")
        if not {"done", "undone"} & {*request.args}
        else url_for("channel.channel", name=name),
        back=url_for("channel.channel", name=name),
    )


def _since(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None


def _category(settings: Settings) -> str:
    asked = request.values.get("ex_category", "shoes")
    return asked if asked in settings.categories else ""


def _example(settings: Settings, name: str, day: date | None) -> tuple[tuple[ReceiptLine, ...], str, Decimal]:
    """Work out one sale on this channel, whatever channel the category is sold on."""
    try:
        total = read_price({"price": request.values.get("ex_total", "")}) or EXAMPLE
    except BadInput:
        total = EXAMPLE
    if name not in settings.channels:
        return (), "", total
    category = _category(settings)
    own = {**settings.categories.get(category, {}), "channel": name}
    moved = replace(settings, categories={**settings.categories, category or "any": own})
    try:
        terms = moved.for_category(category or "any", day).terms
    except BadInput:
        return (), "", total
    return terms.receipt(total), fee_note(terms), total
