"""The Prep page: the stopwatch of each batch, what was learnt of it, and pieces an hour against one's own past."""

from __future__ import annotations

import secrets
from decimal import Decimal
from typing import Any

from flask import flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput
from sourcing.labour import STEPS
from sourcing.language import gettext as _
from sourcing.language import gettext_noop
from sourcing.prep import watch
from sourcing.prep.batch import FINISHED, LEFT_OUT
from sourcing.prep.learnt import words
from sourcing.prep.pace import beside, paces
from sourcing.stock import shelf
from sourcing.stock.item import READY, RETURNED, TO_PREP
from sourcing.typed_number import plain_number
from web.state import settings, store

DOING = {
    "clean": gettext_noop("Clean"), "photograph": gettext_noop("Photograph"), "list": gettext_noop("List"),
    "pack": gettext_noop("Pack"),
}  # fmt: skip
STANDS = {
    "running": gettext_noop("running"), "paused": gettext_noop("paused"), "finished": gettext_noop("finished"),
    "left out": gettext_noop("left out"),
}  # fmt: skip
TAPPED = {
    "start": gettext_noop("The start is undone."), "pause": gettext_noop("The pause is undone."),
    "resume": gettext_noop("It is paused again."), "still": gettext_noop("The answer is undone."),
    "finish": gettext_noop("It is no longer finished."), "correct": gettext_noop("It is as it was before."),
    "leave out": gettext_noop("It counts again."),
}  # fmt: skip
_TICKS, _SHOWN = 40, 12


def show() -> str:
    """Show the watches, and what came of earlier ones."""
    return _page()


def start() -> Response:
    """Start the watch of a batch: one tap on its step."""
    number = watch.start(
        store(), request.form.get("step", ""), category=request.form.get("category", ""),
        flags=request.form.getlist("flags"), items=_numbers("items"), note=request.form.get("note", ""),
        client_id=_once(),
    )  # fmt: skip
    return _back(number)


def tap() -> Response:
    """Pause a watch, let it run on, say that it did so all the while, or leave its batch out."""
    number, kind = _number("batch"), request.form.get("do", "")
    calls = {"pause": watch.pause, "resume": watch.resume, "still": watch.still, "leave out": watch.leave_out}
    if kind not in calls:
        raise BadInput(_("“{kind}” is nothing a watch does.", kind=kind[:40]), ", ".join(calls), field="do")
    calls[kind](store(), number, client_id=_once())
    if kind == "leave out":
        flash(_("Left out: it counts for nothing."))
    return _back(number, undo=kind == "leave out")


def finish() -> Response:
    """Finish a batch; where its watch cannot be believed the page comes back with the question."""
    number = _number("batch")
    try:
        minutes = _minutes(request.form.get("minutes", ""))
        batch = watch.finish(
            store(), number, _pieces(), items=_numbers("items"), minutes=minutes,
            as_is=request.form.get("do") == "as it is", client_id=_once(),
        )  # fmt: skip
    except BadInput as error:
        return make_response(_page(asked=number, error=error), 400)
    per_hour = f"{batch.per_hour:.0f}" if batch.per_hour else "–"
    flash(_("Done: {pieces} in {time}, {per_hour} an hour.", pieces=batch.pieces, time=_time(batch.minutes),
            per_hour=per_hour))  # fmt: skip
    return _back(number, undo=True)


def correct() -> Response:
    """Put the pieces or minutes of a finished batch right."""
    number = _number("batch")
    pieces = _pieces()
    watch.correct(store(), number, pieces=pieces, minutes=_minutes(request.form.get("minutes", "")), client_id=_once())
    flash(_("Put right."))
    return _back(number, undo=True)


def undo() -> Response:
    """Take the last tap on a batch back, or do it again."""
    number = _number("batch")
    if request.form.get("do") == "redo":
        watch.redo(store(), number)
        return _back(number)
    flash(_(TAPPED[watch.undo(store(), number)]))
    return redirect(url_for("prep.show", undone=number), 303)


def _page(asked: int | None = None, error: BadInput | None = None) -> str:
    kept, found = settings(), watch.finished(store())
    pace = paces(found, dict(kept.learnt.say))
    step = request.args.get("step", "")
    if step not in pace:
        step = max(pace, key=lambda name: len(pace[name].points)) if pace else ""
    picture = None
    if step:
        from web.charts_prep import per_hour

        picture = per_hour(pace[step])
    return render_template(
        "prep/show.html",
        doing=DOING, stands=STANDS, steps=STEPS, pace=pace, step=step, picture=picture, beside=beside(pace),
        running=watch.running(store()), asked=asked, error=error, time=_time, once=_new, kept=kept,
        last=[batch for batch in reversed(found) if batch.state in (FINISHED, LEFT_OUT)][:_SHOWN], count=len(found),
        items=_to_tick(), of_batch=_of_batch, learnt=_learnt(kept.learnt.by_category),
        learnt_flags=_learnt(kept.learnt.by_flag), switched={name: _on(name) for name in ("", *kept.categories)},
        done=request.args.get("done", type=int), undone=request.args.get("undone", type=int),
    )  # fmt: skip


def _on(category: str) -> bool:
    kept = settings()
    return bool({**kept.default, **kept.categories.get(category, {})}["learn_minutes"] == "yes")


def _learnt(found: Any) -> list[tuple[str, Any]]:
    return [(name, words(found, name)) for name in dict.fromkeys(name for name, _step in found)]


def _to_tick() -> list[Any]:
    """Return pieces of stock that wait for prep, to be ticked."""
    return [item for state in (TO_PREP, READY, RETURNED) for item in shelf.find(store(), state=state, limit=_TICKS)]


def _of_batch(items: tuple[int, ...]) -> list[Any]:
    return [shelf.get(store(), number) for number in items]


def _time(minutes: float) -> str:
    from sourcing.prep.batch import in_words

    return in_words(minutes)


def _new() -> str:
    return secrets.token_urlsafe(9)


def _once() -> str:
    return request.form.get("client_id", "")[:64]


def _back(number: int, *, undo: bool = False) -> Response:
    return redirect(url_for("prep.show", done=number if undo else None), 303)


def _number(name: str) -> int:
    text = request.form.get(name, "").strip()
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(_("“{text}” is not a whole number.", text=text[:40]), _("A whole number, such as 12."),
                       field=name)  # fmt: skip
    return int(text)


def _pieces() -> int | None:
    return _number("pieces") if request.form.get("pieces", "").strip() else None


def _numbers(name: str) -> list[int]:
    return [int(text) for text in request.form.getlist(name) if text.isascii() and text.isdigit() and len(text) < 10]


def _minutes(text: str) -> Decimal | None:
    if not text.strip():
        return None
    found = plain_number(text.strip())
    if found is None:
        raise BadInput(
            _("“{text}” is no number of minutes.", text=text.strip()[:40]),
            _("Minutes above 0, such as 25 or 12.5."), field="minutes",
        )  # fmt: skip
    return found
