"""Stand behind a reverse proxy: believe what it says of the visitor, and nobody else."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from werkzeug.middleware.proxy_fix import ProxyFix

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
_NO = b"403: this server is reached through its reverse proxy alone.\n"


class BehindProxy:
    """Refuse whoever is not the proxy; from the proxy take address, scheme and host of the visitor.

    Werkzeug's `ProxyFix` alone would believe the headers of anyone who reaches the port (OWASP ASVS 5.0, 4.1.3).

    Parameters
    ----------
    app : callable
        The WSGI application.
    proxy : str
        The proxy's own address.
    """

    def __init__(self, app: Application, proxy: str) -> None:
        self.app, self.proxy = ProxyFix(app, x_for=1, x_proto=1, x_host=1), proxy

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer one request."""
        if str(environ.get("REMOTE_ADDR", "")).removeprefix("::ffff:") != self.proxy:
            start_response("403 Forbidden", [("Content-Type", "text/plain"), ("Content-Length", str(len(_NO)))])
            return [_NO]
        return self.app(environ, start_response)
