"""The what-if page: one item at another shelf price, discount, asking price, number of days and channel."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from flask import get_template_attribute, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing import history
from sourcing.answer import Query
from sourcing.errors import BadInput
from sourcing.language import gettext, separated
from sourcing.settings_file import folded
from sourcing.whatif import MOST_DAYS, WhatIf, what_if
from web import charts_whatif
from web.forms import TEXTS, read_price, read_query
from web.state import settings, store

FIELDS = ("price", "discount", "ask", "days", "flags", "channel")


class Supposed(NamedTuple):
    """What the address supposes."""

    query: Query
    ask: Decimal | None
    days: int | None


class Reach(NamedTuple):
    """How far the slider of a field goes, in what steps, and where it stands while the field is empty."""

    low: int
    high: int
    step: str
    value: Decimal | int | None


def show() -> Response:
    """Show the item named in the address as supposed there; nothing is recorded."""
    try:
        found = _answer(request.args)
    except BadInput as error:
        if error.field not in FIELDS:
            raise
        return make_response(render_template("whatif/show.html", values=request.args, error=error, **_item()), 400)
    page = render_template("whatif/show.html", values=request.args, error=None, found=found, **_item(), **_more(found))
    return make_response(page)


def of_check(check_id: int) -> Response:
    """Move on to the item of a past check, as it was asked then; at another asking price where one is named."""
    asked = as_values(history.get(store(), check_id)[0])
    if request.args.get("ask"):
        asked["ask"] = request.args["ask"]
    return redirect(url_for("whatif.show", **asked))


def twin() -> Response:
    """Answer the same in JSON; ``page`` holds the parts of the page that follow, as the page shows them."""
    try:
        found = _answer(request.args)
    except BadInput as error:
        return make_response(error.as_dict(), 400)
    parts = {
        name: get_template_attribute("whatif/_parts.html", name)(found, **more)
        for name, more in (("figures", {}), ("asks", {"picture": charts_whatif.trade_off(found.asks)}), ("receipt", {}))
    }
    return jsonify({**found.as_dict(), "page": {name: str(part) for name, part in parts.items()}})


def as_values(query: Query) -> dict[str, Any]:
    """Write a query as the values of the page's address."""
    texts = {name: getattr(query, name) for name in TEXTS if getattr(query, name)}
    values = {"price": query.shelf_price, "discount": query.discount}
    texts |= {"flags": ",".join(query.flags)} if query.flags else {}
    return texts | {name: str(value) for name, value in values.items() if value is not None}


def _answer(values: Mapping[str, str]) -> WhatIf:
    asked = Supposed(read_query(values), _ask(values), _days(values))
    channel = (values.get("channel") or "").strip()
    terms = settings().all_on(channel) if channel else settings()
    return what_if(store(), asked.query, terms, asked.ask, asked.days)


def _item() -> dict[str, Any]:
    """Return what names the item, to be sent along unseen, the channels and flags there are, and what is chosen."""
    return {
        "channels": list(settings().channels),
        "channel": folded(request.args.get("channel", "")),
        "item": {name: request.args[name] for name in TEXTS if request.args.get(name)},
        "flags": tuple(settings().flags.values()),
        "ticked": {name.strip() for text in request.args.getlist("flags") for name in text.split(",")},
    }


def _more(found: WhatIf) -> dict[str, Any]:
    """Return the picture, and how far the sliders go."""
    answer = found.verdict
    known = [one for one in (answer.most_worth_paying, answer.shelf_price) if one is not None]
    reach = {
        "price": Reach(
            0, int(2 * max([*known, Decimal(10)])) + 1, "0.5", answer.shelf_price or answer.most_worth_paying
        ),
        "days": Reach(1, min(max(found.give_up_day, found.days), MOST_DAYS), "1", found.days),
    }
    if found.asks:
        reach["ask"] = Reach(int(found.asks[0].ask), int(found.asks[-1].ask) + 1, "0.5", answer.asking_price)
    return {"picture": charts_whatif.trade_off(found.asks), "reach": reach}


def _ask(values: Mapping[str, str]) -> Decimal | None:
    text = (values.get("ask") or "").strip()
    try:
        ask = read_price({"price": text})
    except BadInput:
        ask = Decimal(0)
    if ask == 0:
        raise BadInput(
            gettext("“{text}” is not an asking price.", text=text[:40]),
            gettext("An amount above 0, such as {example}; empty takes the advised one.", example=separated("49.90")),
            gettext("Type what you would ask."),
            field="ask",
        )
    return ask


def _days(values: Mapping[str, str]) -> int | None:
    text = (values.get("days") or "").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 6):
        raise BadInput(
            gettext("“{text}” is no number of days.", text=text[:40]),
            gettext("A whole number from 1 to {most_days}.", most_days=MOST_DAYS),
            gettext("Type by when it is to be sold."),
            field="days",
        )
    return int(text)
