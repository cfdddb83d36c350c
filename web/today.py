"""What to do today: every listed piece against its plan, the asking price to move to, one tap to record it."""

from __future__ import annotations

import secrets
from datetime import date
from decimal import Decimal

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.language import gettext as _
from sourcing.language import gettext_noop
from sourcing.stock.ledger import undo as undo_action
from sourcing.today import cash, fed
from sourcing.today.board import ORDERS, PLAN
from sourcing.today.day import day
from sourcing.today.move import move
from sourcing.typed_number import bare_number
from web.state import current, settings, store

ORDER_WORDS = {
    ORDERS[0]: gettext_noop("past their plan"), ORDERS[1]: gettext_noop("longest listed"),
    ORDERS[2]: gettext_noop("most cash"),
}  # fmt: skip


def show() -> str:
    """Show a page of what is listed."""
    return _page()


def cut() -> Response:
    """Record new asking prices: of the piece whose button was tapped, or of all that are ticked."""
    one = request.form.get("one", "")
    chosen = [one] if one else request.form.getlist("items")
    try:
        prices = {_number(text): _price(request.form.get(f"price-{text}", "")) for text in chosen}
        action = move(store(), prices, date.today(), request.form.get("client_id", "")[:64])
    except (BadInput, NotFound, Refused) as error:
        return make_response(_page(error), 404 if isinstance(error, NotFound) else 400)
    learn()
    return _back(done=action)


def undo() -> Response:
    """Take moved prices back, or move them again."""
    action = undo_action(store(), _number(request.form.get("action", "")))
    learn()
    return _back(undone=action)


def count() -> Response:
    """Bring one's own listings among the comps up to date, in the background."""
    learn(asked=True)
    flash(_("Your listings are being counted among the comps."))
    return _back()


def learn(*, asked: bool = False) -> None:
    """Tell the comps how one's own listings stand, and keep up what is learnt of them."""
    from sourcing.fitting import keep_up

    kept, today = store(), date.today()

    def work(say: object) -> None:
        if fed.feed(kept, today, asked=asked) is not None:
            keep_up(kept)

    current().task.start(work)


def _page(error: SourcingError | None = None) -> str:
    from web.charts_today import by_age, curve

    today = date.today()
    given = request.values
    order = given.get("order", PLAN)
    found = day(
        store(), settings(), today, order=order if order in ORDERS else PLAN, category=given.get("category", "")[:80],
        late_only=bool(given.get("late")), page=_whole(given.get("page", "1")),
    )  # fmt: skip
    ages, own = cash.by_age(store(), today), cash.own_curve(store(), today)
    return render_template(
        "today/show.html",
        day=found, error=error, orders=ORDER_WORDS, ages=ages, picture=by_age(ages), stay=cash.stay(store(), today),
        own=own, own_picture=curve(own) if own else None, fed=fed.last_fed(store()),
        client_id=secrets.token_urlsafe(9), ticked=set(request.form.getlist("items")),
        done=request.args.get("done", type=int), undone=request.args.get("undone", type=int), sent=request.form,
    )  # fmt: skip


def _back(**more: int) -> Response:
    kept = {name: request.form[name] for name in ("order", "category", "late", "page") if request.form.get(name)}
    return redirect(url_for("today.show", **kept, **more), 303)  # type: ignore[arg-type]


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(_("“{text}” is not the number of a piece.", text=text[:40]), "",
                       _("Choose it from the list."), field="items")  # fmt: skip
    return int(text)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 1


def _price(text: str) -> Decimal:
    kept = settings()
    found = bare_number(" ".join(text.split()), kept.currency, kept.locale)
    if found is None:
        raise BadInput(
            _("“{text}” is no asking price.", text=text.strip()[:40]), _("An amount such as 44.00."),
            _("Type it, or leave the one that stood there."), field="price",
        )  # fmt: skip
    return found
