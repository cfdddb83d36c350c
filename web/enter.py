"""Let a device in that followed the link of the QR code."""

from __future__ import annotations

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from web.security import access_cookie
from web.state import current

QUARTER = 90 * 24 * 3600


def enter(key: str) -> Response:
    """Set the access cookie and move on to a page whose address does not hold the key.

    The answer is a redirect without a page of its own, so the address with the key is no entry of the browser's
    back list. ``history.replaceState`` on the next page takes out nothing more: tried in Chromium, whose record of
    the link as it was followed stays the same.
    """
    if not current().opens(key):
        abort(403)
    answer = redirect(url_for("check.ask"), 303)
    answer.set_cookie(access_cookie(), key, max_age=QUARTER, httponly=True, samesite="Lax", secure=request.is_secure)
    return answer
