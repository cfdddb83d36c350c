"""Getting a phone connected: what is missing over a plain line, the QR codes, the ways to a secure address."""

from __future__ import annotations

from flask import current_app, flash, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.language import gettext
from web.reach import from_home, reach, secure
from web.state import current, store

SEEN = "sourcing_reduced_seen"
YEAR = 366 * 24 * 3600


def reduced() -> bool:
    """Say whether this browser has to be told what is missing: a plain line, and not put away yet; for templates."""
    return current().mode == "lan" and not secure() and SEEN not in request.cookies


def show() -> str:
    """Show the QR codes and the ways on the computer that serves; elsewhere say where to look."""
    from web.qr import code

    if not from_home():
        return render_template("connect/elsewhere.html", secure=secure(), put_away=SEEN in request.cookies)
    here, link = reach(), _link()
    return render_template(
        "connect/show.html",
        reach=here,
        link=link,
        enter=code(link) if link else None,
        trust=code(here.trust) if here.trust else None,
    )


def _link() -> str:
    """Return the link that lets a phone in; empty where there is none, or every key was taken back."""
    from sourcing.access import live

    if not reach().link:
        return ""
    key = live(store(), current_app.config["SECRET_KEY"])
    return f"{reach().link}{url_for('enter.enter', key=key)}" if key else ""


def note() -> Response:
    """Put the note about the plain line away in this browser, or show it again."""
    again = request.form.get("show") == "again"
    answer = make_response(redirect(url_for("check.ask"), 303))
    if again:
        answer.delete_cookie(SEEN)
    else:
        flash(gettext("Put away. It stands under Help, “Connect a phone”, and can be shown again there."))
        answer.set_cookie(SEEN, "1", max_age=YEAR, httponly=True, samesite="Lax", secure=request.is_secure)
    return answer
