"""Hand out the root certificate, in plain HTTP too: it is public, and a phone needs it before it can come in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Response, render_template

from sourcing.errors import NotFound
from sourcing.language import gettext
from web.reach import reach

if TYPE_CHECKING:
    from sourcing.certificates import Kept


def show() -> str:
    """Show what to fetch, what to compare and where a phone's settings take it in."""
    return render_template("connect/trust.html", kept=_kept())


def der() -> Response:
    """Send the root as phones take it in (DER)."""
    return Response(_kept().der(), mimetype="application/x-x509-ca-cert")


def pem() -> Response:
    """Send the root as text (RFC 7468)."""
    return Response(_kept().pem(), mimetype="application/x-pem-file")


def _kept() -> Kept:
    kept = reach().kept
    if kept is None:
        raise NotFound(
            gettext("This server has no root certificate to hand out."),
            next_step=gettext("It makes one when it is started with: sourcing serve --https"),
        )
    return kept
