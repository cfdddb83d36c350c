"""The tuning page: what each setting of a rule would have brought, and one tap to take the best."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

from flask import flash, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response

from sourcing import tuning
from sourcing.errors import Refused
from sourcing.language import gettext, gettext_noop, separated
from sourcing.settings import load_settings, undo_settings
from sourcing.storage import Store
from sourcing.tuning.words import threshold
from web.charts_tuning import AGAINST, picture
from web.settings_words import label
from web.state import current, store

_NAMES = {
    "buys": gettext_noop("number of buys"),
    "cash": gettext_noop("cash tied up on average"),
    "hours": gettext_noop("hours of prep"),
}


def show() -> str:
    """Show the frontiers, or offer the replay they rest on, or how far it is."""
    work, asked, kept = current().replay, _asked(request.args), store()
    values: dict[str, Any] = {"work": work, "asked": asked, "still": request.args.get("still"), "bench": None}
    if work.running or not tuning.is_prepared(kept):
        return render_template("tune/show.html", **values)
    bench = tuning.tune(kept, asked["category"], asked["rule"], asked["objective"])
    which = AGAINST if asked["category"] else AGAINST[:1]
    names = {
        "threshold": label(bench.rule),
        **{name: gettext(text) for name, text in _NAMES.items()},
    }
    shown = []
    for one in bench.frontiers:
        write = _writer(one.rule)
        pictures = [found for against in which if (found := picture(one, against, names, write))]
        shown.append((one, pictures, write))
    values |= {"bench": bench, "label": label, "shown": shown, "rules": tuning.RULES, "objectives": tuning.OBJECTIVES,
               "categories": sorted(load_settings(kept).categories), "write_value": threshold,
               "tuned": session.pop("tuned", "")}  # fmt: skip
    return render_template("tune/show.html", **values)


def start() -> Response:
    """Start the replay in the background."""
    work, kept = current().replay, store()
    if not work.running:
        work.start(lambda say: _replay(kept, say))
    return redirect(url_for("tune.show"), 303)


def stop() -> Response:
    """Cancel the replay; nothing is kept of it."""
    current().replay.stop()
    return redirect(url_for("tune.show", still=1), 303)


def accept() -> Response:
    """Take over a suggestion, worked out again so that nothing of the form is trusted."""
    asked, kept = _asked(request.form), store()
    found = tuning.suggestion_of(kept, request.form.get("of", ""), asked["rule"], asked["objective"])
    if found is None:
        raise Refused(
            gettext("There is no such suggestion any longer."), next_step=gettext("Look at the figures again.")
        )
    tuning.accept(kept, found)
    session["tuned"] = found.why
    return redirect(url_for("tune.show", **asked), 303)


def undo() -> Response:
    """Go back to the settings before."""
    undo_settings(store())
    flash(gettext("The rule is as it was."))
    return redirect(url_for("tune.show", **_asked(request.form)), 303)


def _replay(kept: Store, say: Callable[..., None]) -> None:
    began = time.monotonic()

    def tell(share: float, words: str) -> None:
        gone = time.monotonic() - began
        said = f"{separated(f'{share:.0%}')} {words}"
        if share > 0.02 and gone > 2:
            said = gettext("{said}, about {count} s left", said=said, count=max(1, round(gone * (1 - share) / share)))
        say(said)

    tuning.prepare(kept, tell)


def _asked(form: Mapping[str, str]) -> dict[str, Any]:
    return {
        "category": form.get("category", "").strip(),
        "rule": form.get("rule", "") or "least_profit",
        "objective": form.get("objective", "") or "profit",
    }


def _writer(rule: str) -> Callable[[tuning.Point], str]:
    return lambda point: threshold(rule, point.threshold)
