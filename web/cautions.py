"""Cautions on the pages they matter on: shown, dismissed, brought back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode, urlsplit

from flask import current_app, redirect, request, url_for
from werkzeug.wrappers import Response

from web.state import store

if TYPE_CHECKING:
    from sourcing.cautions import Caution, Shown

DONE = "caution"  # names in an address the one just dismissed, so that its page offers to undo that


def due_here(moment: str, texts: Iterable[str | None] = ()) -> list[Caution]:
    """Return what matters now and was not dismissed; for templates."""
    from sourcing.cautions import due

    return due(store(), moment, [text for text in texts if text])


def just_dismissed() -> Caution | None:
    """Return the one the user dismissed a moment ago, unless it was brought back meanwhile; for templates."""
    from sourcing.cautions import every

    name = request.args.get(DONE)
    return next((one.caution for one in every(store()) if one.caution.name == name and one.dismissed_at), None)


def all_of_them() -> list[Shown]:
    """Return every caution for the Help page."""
    from sourcing.cautions import every

    return every(store())


def dismiss() -> Response:
    """Show one no longer where it matters."""
    from sourcing.cautions import dismiss as put_away

    return _back(put_away(store(), request.form.get("name", "")).name)


def bring_back() -> Response:
    """Show one again where it matters."""
    from sourcing.cautions import bring_back as show_again

    show_again(store(), request.form.get("name", ""))
    return _back("")


def _back(name: str) -> Response:
    """Return to the page the user was on, if it is one of ours, else to Help."""
    said = urlsplit(request.form.get("back", ""))
    ours = not said.scheme and not said.netloc and said.path.startswith("/")
    known = ours and current_app.url_map.bind("").test(said.path, "GET")
    path = said.path if known else url_for("help.show")
    kept = [(key, value) for key, value in parse_qsl(said.query) if known and key != DONE]
    query = urlencode([*kept, (DONE, name)] if name else kept)
    return redirect(f"{path}?{query}#cautions" if query else f"{path}#cautions", 303)
