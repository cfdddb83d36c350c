"""What a phone asks and sends when the server is in reach again; JSON both ways."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from flask import jsonify, render_template, request
from flask_wtf.csrf import generate_csrf
from werkzeug.wrappers import Response

from sourcing import haul, sent
from sourcing.errors import BadInput, Busy, SourcingError
from sourcing.fitting import current_fit
from sourcing.language import gettext
from web.forms import read_price, read_query
from web.state import settings, store

MOST_ITEMS = 100  # of one sending; a phone sends the rest after it
Item = Mapping[str, Any]


def state() -> Response:
    """Say who answers, what time it is, what the open haul holds; and give a token for sending."""
    return jsonify(
        server=sent.server_name(store()),
        now=datetime.now(UTC).isoformat(timespec="milliseconds"),
        token=generate_csrf(),
        learnt=current_fit(store()) is not None,
        haul=_haul(),
    )


def send() -> tuple[Response, int] | Response:
    """Store what a phone kept, in its order, and say of each thing what became of it."""
    sending = request.get_json(silent=True)
    said: dict[str, Any] = sending if isinstance(sending, dict) else {}
    items = said.get("items")
    if not isinstance(items, list) or len(items) > MOST_ITEMS or not all(isinstance(one, dict) for one in items):
        return jsonify(
            wrong=gettext("That is no list of things to keep."),
            accepted=gettext("Up to {count} of them.", count=MOST_ITEMS),
        ), 400
    if said.get("server") != sent.server_name(store()):
        return jsonify(
            wrong=gettext("That was kept for another server."), next_step=gettext("It waits until that one answers.")
        ), 409
    return jsonify(results=[_result(one, str(said.get("sent_at", ""))) for one in items])


def waiting() -> str:
    """Show what this phone keeps; a script fills it in, for the server does not know."""
    return render_template("aisle/waiting.html", bare=True)


def away() -> str:
    """Stand in for a page that needs the server, when it does not answer."""
    return render_template("aisle/away.html", bare=True)


def _result(item: Item, sent_at: str) -> dict[str, Any]:
    found: dict[str, Any] = {"id": _text(item, "id")}
    keep = _KINDS.get(_text(item, "kind"))
    try:
        if keep is None:
            raise BadInput(
                gettext("That kind of thing is not known here."),
                "",
                gettext("Load the page anew, so that both are alike."),
            )
        outcome = keep(item, sent.moment(_text(item, "at"), sent_at))
        return found | {"state": outcome.state, "target": outcome.target}
    except Busy as error:
        return found | {"state": "later"} | error.as_dict()
    except SourcingError as error:
        return found | {"state": "refused"} | error.as_dict()


def _check(item: Item, when: sent.Moment) -> sent.Outcome:
    return sent.keep_check(store(), _text(item, "id"), read_query(_asked(item)), when, _said(item))


def _take(item: Item, when: sent.Moment) -> sent.Outcome:
    check, count = item.get("check"), item.get("count")
    if not isinstance(count, int) or not isinstance(check, int | str):
        raise BadInput(
            gettext("That names no check, or no number of pieces."), "", gettext("Check the item again and take it.")
        )
    return sent.keep_taking(store(), _text(item, "id"), check, count, when, _said(item))


def _comp(item: Item, when: sent.Moment) -> sent.Outcome:
    from web.table import learn

    price = read_price({"price": _text(item, "seen_price")})
    if price is None:
        raise BadInput(
            gettext("No price was typed."),
            gettext("What it sold for, or is asked for."),
            gettext("Type it in again."),
            field="seen",
        )
    seen = sent.Seen(price, item.get("sold") is not False, _text(item, "seen_condition"))
    outcome = sent.keep_price(store(), _text(item, "id"), read_query(_asked(item)), seen, when, _said(item))
    learn()
    return outcome


def _undo(item: Item, when: sent.Moment) -> sent.Outcome:
    return sent.take_back(store(), _text(item, "of"), when)


_KINDS: dict[str, Callable[[Item, sent.Moment], sent.Outcome]] = {
    "check": _check,
    "take": _take,
    "comp": _comp,
    "undo": _undo,
}


def _asked(item: Item) -> dict[str, str]:
    """Return the fields of the Check form as the phone kept them."""
    asked = item.get("asked")
    found = {str(name): _plain(value) for name, value in asked.items()} if isinstance(asked, dict) else {}
    flags = asked.get("flags") if isinstance(asked, dict) else None
    return found | {"flags": ",".join(map(str, flags)) if isinstance(flags, list) else ""}


def _plain(value: object) -> str:
    return value if isinstance(value, str) else ""


def _said(item: Item) -> dict[str, Any]:
    """Return what the phone had shown, cut to a length nobody minds keeping."""
    shown = item.get("shown")
    return {"shown": shown} if isinstance(shown, dict) and len(json.dumps(shown)) < 4_000 else {}


def _text(item: Item, name: str) -> str:
    return _plain(item.get(name))[:200]


def _haul() -> dict[str, Any]:
    """Return the open haul in whole cents, for the phone's own sums."""
    view, kept = haul.current(store()), settings()
    return {
        "id": view.id,
        "store": view.store,
        "currency": kept.currency,
        "lines": [
            {
                "id": one.id,
                "client_id": one.client_id,
                "check_id": one.check_id,
                "label": " · ".join((one.label, *one.about)),
                "decision": one.decision,
                "count": one.count,
                "landed": _cents(one.landed_cost),
                "profit": _cents(one.line_after),
                "minutes": float(one.prep_minutes),
                "style": one.style_code,
                "category": one.category,
                "undone": one.undone,
            }
            for one in view.items
        ],
    }


def _cents(amount: Any) -> int | None:
    return None if amount is None else round(amount * 100)
