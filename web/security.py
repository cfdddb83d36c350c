"""Who may knock and what goes out with every answer: hosts, access key, CSRF, sizes, headers, secret."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request, url_for
from flask.sessions import SecureCookieSessionInterface
from flask.typing import ResponseReturnValue
from flask_wtf import CSRFProtect

from sourcing.errors import NoAccess
from sourcing.language import gettext
from web.reach import only_the_root, reach
from web.routes import FEW, MOST, SMALL
from web.spoken import speak
from web.state import current, folder_of

ACCESS_COOKIE = "sourcing_access"
FIXED = "__Host-"  # no plain page and no other host can set a cookie of this prefix (RFC 6265bis, section 4.1.3.2)
OPEN = ("static", "enter.enter")  # asked for before a device has its key
OF_THE_ROOT = ("static", "trust.show", "trust.der", "trust.pem")
READER = "scan/reader.js"  # the one script that runs WebAssembly: a worker, which obeys the policy it is sent with
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; object-src 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}


def guard(app: Flask) -> None:
    """Put every check ahead of the views, in this order, and the headers on every answer."""
    app.before_request(refuse_foreign_hosts)
    app.before_request(speak)
    app.before_request(refuse_foreign_pages)
    app.before_request(keep_to_the_root)
    app.before_request(ask_for_key)
    app.before_request(limit_size)
    CSRFProtect(app)  # reads the form, so it comes after the size limit
    app.after_request(add_headers)


def refuse_foreign_hosts() -> None:
    """Refuse a host name that is not ours before anything else runs (DNS rebinding)."""
    _ = request.host  # reading it raises where it is not on the list; routing alone would check it later


def refuse_foreign_pages() -> None:
    """Refuse an unsafe request that says it comes from another site, beside the CSRF token."""
    if request.method in ("GET", "HEAD", "OPTIONS"):
        return
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        abort(400)
    if origin is not None and request.is_secure and not origin.startswith("https://"):
        abort(400)  # a plain page of the same name may be anybody's
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        abort(400)


def keep_to_the_root() -> ResponseReturnValue | None:
    """Give out nothing but the root on the plain line beside HTTPS: no key, no form and no page goes over it."""
    if not only_the_root() or request.endpoint in OF_THE_ROOT:
        return None
    if request.path == "/":
        return redirect(url_for("trust.show"), 303)
    raise NoAccess(
        gettext("This address is not encrypted, so it hands out the certificate alone."),
        next_step=gettext("Scan the second QR code on the home computer; its link begins with https://."),
    )


def ask_for_key() -> None:
    """Refuse every page on the home network to a device that did not come in with a live access key."""
    if current().mode != "lan" or request.endpoint in OPEN:
        return
    if request.endpoint in OF_THE_ROOT and reach().kept is not None:
        return
    if not current().opens(request.cookies.get(access_cookie(), "")):
        abort(403)


def access_cookie() -> str:
    """Return the name of the cookie that holds the access key on this line."""
    return FIXED + ACCESS_COOKIE if request.is_secure else ACCESS_COOKIE


class Sessions(SecureCookieSessionInterface):
    """Mark the session's cookie secure on every line that is, for one server may have a plain one too."""

    def get_cookie_name(self, app: Flask) -> str:
        """Return the cookie's name on this line."""
        return f"{FIXED if request.is_secure else ''}sourcing_session"

    def get_cookie_secure(self, app: Flask) -> bool:
        """Return whether the cookie may go over encrypted lines alone."""
        return request.is_secure


def limit_size() -> None:
    """Give each route its own limit on what may be sent to it, and in how many fields."""
    most_bytes, most_parts = MOST.get(request.endpoint or "", (SMALL, FEW))
    request.max_content_length, request.max_form_parts = most_bytes, most_parts
    if most_parts > FEW:
        request.max_form_memory_size = most_bytes  # Flask's own is half a megabyte


def add_headers(response: Response) -> Response:
    """Add the headers every answer carries, errors and static files too."""
    response.headers.update(HEADERS)
    if request.endpoint == "static" and (request.view_args or {}).get("filename") == READER:
        policy = HEADERS["Content-Security-Policy"]
        response.headers["Content-Security-Policy"] = policy.replace(
            "script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'"
        )
    if request.path.startswith("/enter/"):
        response.headers["Referrer-Policy"] = "no-referrer"  # its address holds the key
    if request.endpoint != "static" or response.status_code >= 400:
        response.headers["Cache-Control"] = "no-store"
    return response


def secret_key(data: str | Path) -> str:
    """Return the signing key kept beside the data, made at first use, readable by its owner alone."""
    path = folder_of(data) / "secret_key"
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        path.chmod(0o600)
        key = path.read_text().strip()
        if len(key) >= 43:
            return key
        handle = os.open(path, os.O_TRUNC | os.O_WRONLY)  # cut short by a full disk: make a new one
    key = secrets.token_urlsafe(32)
    with os.fdopen(handle, "w") as file:
        file.write(key)
    return key
