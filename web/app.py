"""Make the serving application."""

from __future__ import annotations

import mimetypes
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal

from flask import Flask

from web import errors, filters, packed, routes, security, spoken, state
from web.reach import Reach

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
# Said here, for a computer's own table may lack or bend them, and browsers then refuse scripts and readers.
for kind, ending in (("text/javascript", ".js"), ("text/javascript", ".mjs"), ("application/wasm", ".wasm")):
    mimetypes.add_type(kind, ending)


def create_app(
    data: str | Path,
    *,
    mode: Literal["loopback", "lan"] = "loopback",
    hosts: Sequence[str] = LOOPBACK,
    access: Callable[[str], bool] | None = None,
    reach: Reach | None = None,
) -> Flask:
    """Make the application; nothing heavy is imported and the store is not opened until a request needs it.

    Parameters
    ----------
    data : str or Path
        The data file, or any SQLAlchemy URL.
    mode : "loopback" or "lan"
        On "lan" every page asks for an access key and says where the line is not encrypted.
    hosts : sequence of str
        The host names this server answers to, without port; any other is refused.
    access : callable, optional
        Whether a key opens the door; the store's own access keys when left out.
    reach : Reach, optional
        Over which lines it is reached; this computer alone, or the network in plain, when left out.
    """
    app = Flask(__name__)
    app.config.update(
        SECRET_KEY=security.secret_key(data),
        TRUSTED_HOSTS=list(hosts),
        SESSION_COOKIE_SAMESITE="Lax",
        WTF_CSRF_TIME_LIMIT=None,
        MAX_CONTENT_LENGTH=routes.SMALL,
        MAX_FORM_PARTS=routes.FEW,
    )
    app.session_interface = security.Sessions()
    state.keep(app, data, mode=mode, access=access, reach=reach or Reach("plain" if mode == "lan" else "here"))
    filters.add_filters(app)
    spoken.add_language(app)
    errors.add_error_pages(app)
    security.guard(app)
    packed.pack_static(app)
    routes.add_routes(app)
    return app
