"""What the buttons of the stock pages do: each one action of the ledger."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from flask import redirect, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.stock import labels, moves, parts, sales, shelf
from web.state import settings, store
from web.stock_forms import needed_amount, read_amount, read_day, read_percent, read_text, tap

Items = Sequence[int]


def together(items: Items) -> int | Response:
    """Do what was asked with some pieces; return the action's number, or where to go for what is none.

    Raises
    ------
    BadInput, NotFound, Refused
        A value cannot be used, or a piece cannot be done so with; nothing was changed.
    """
    if request.form.get("do") == "labels":
        return _labels(items)
    return _asked(_TOGETHER)(items)


def alone(item_id: int) -> int | Response:
    """Do what was asked with one piece; return as `together` does.

    Raises
    ------
    BadInput, NotFound, Refused
        As for `together`.
    """
    name = request.form.get("do", "")
    return _ALONE[name](item_id) if name in _ALONE else together([item_id])


def _asked(known: Mapping[str, Callable[[Items], int]]) -> Callable[[Items], int]:
    name = request.form.get("do", "")
    if name not in known:
        raise BadInput(
            gettext("Nothing was asked for."), gettext("One of the buttons."), gettext("Tap what is to be done.")
        )
    return known[name]


def _list(items: Items) -> int:
    return moves.list_(store(), items, read_amount("asking"), read_day(), read_text("channel"), tap())


def _cut(items: Items) -> int:
    price = read_amount("price")
    if price is not None:
        return moves.ask(store(), items, price, read_day(), tap())
    if not read_text("off"):
        raise BadInput(
            gettext("No new price was typed."), gettext("A price, or by how many percent to cut."), field="price"
        )
    return moves.cut(store(), items, read_percent("off"), read_day(), tap())


def _give_up(items: Items) -> int:
    return moves.give_up(store(), items, read_day(), read_amount("got") or Decimal(0), tap())


def _labels(items: Items) -> Response:
    """Give a label to each piece that has none, and go on to print them all."""
    done = None
    if not all(one.label for one in shelf.some(store(), items)):
        done = labels.give(store(), items, settings().labels.pattern, date.today(), tap())
    return redirect(url_for("stock_labels.show", items=list(items), done=done), 303)


def _sell(item: int) -> int:
    return sales.sell(
        store(), item, needed_amount("paid"), read_day(), fees=read_amount("fees"), postage=read_amount("postage"),
        channel=read_text("channel"), client_id=tap(),
    )  # fmt: skip


def _correct(item: int) -> int:
    told = {name: read_amount(name) for name in ("paid", "fees", "postage")}
    return sales.correct(store(), item, **told, client_id=tap())


def _take_back(item: int) -> int:
    return sales.take_back(
        store(), item, needed_amount("refunded"), read_day(), read_amount("cost") or Decimal(0), tap()
    )  # fmt: skip


def _split(item: int) -> int:
    return parts.split(
        store(), item, [line for line in request.form.get("parts", "").splitlines() if line.strip()], tap()
    )


_TOGETHER: Mapping[str, Callable[[Items], int]] = {
    "ready": lambda items: moves.prepare(store(), items, client_id=tap()),
    "prep": lambda items: moves.prepare(store(), items, ready=False, client_id=tap()),
    "bin": lambda items: moves.put_in(store(), items, read_text("bin"), tap()),
    "list": _list,
    "cut": _cut,
    "down": lambda items: moves.take_down(store(), items, read_day(), tap()),
    "give up": _give_up,
    "join": lambda items: parts.join(store(), items, read_text("what"), tap()),
}
_ALONE: Mapping[str, Callable[[int], int]] = {
    "sell": _sell,
    "correct": _correct,
    "back": _take_back,
    "split": _split,
    "label": lambda item: labels.set_label(store(), item, read_text("label"), tap()),
}
