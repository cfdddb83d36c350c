"""Serve HTTPS with Cheroot, and beside it the plain line that hands out the root."""

from __future__ import annotations

import logging
import socket
import ssl
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cheroot.server import HTTPConnection
from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server

from sourcing.certificates import Kept
from sourcing.errors import Refused

log = logging.getLogger(__name__)
THREADS = 12  # a browser opens connections ahead, and each holds a thread until it speaks or times out
HEADERS = 64 * 1024  # bytes
HANDSHAKE = 22  # first byte of a TLS connection (RFC 8446, section 5.1)
PLAIN = b"This port speaks HTTPS alone: begin the address with https://\n"
ANSWER = b"HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain\r\nContent-Length: %d\r\nConnection: close\r\n\r\n%s"


class RenewingAdapter(BuiltinSSLAdapter):
    """Show the leaf of the day, so that a server which runs for years never shows one that ended."""

    def __init__(self, kept: Kept, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.kept, self.clock = kept, clock
        self.shown, _ = kept.serving(clock())
        self._lock = threading.Lock()
        super().__init__(str(self.shown), str(self.shown))
        self._server_env: dict[str, str] = {}
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2
        self.context.set_alpn_protocols(["http/1.1"])

    def wrap(self, sock: socket.socket) -> tuple[socket.socket, dict[str, str]]:
        """Leave the handshake to the thread that answers: in the loop that accepts, one mute visitor stops all."""
        return sock, {}

    def encrypt(self, sock: socket.socket) -> ssl.SSLSocket:
        """Return the connection as one that will show the leaf of the day; the handshake is still to be made."""
        context: ssl.SSLContext = self.context
        with self._lock, suppress(Refused):  # the clock went wrong meanwhile: the leaf shown so far stays
            path: Path = self.kept.serving(self.clock())[0]
            if path != self.shown:
                context.load_cert_chain(path)
                self.shown = path
                log.info("The certificate was renewed: %s", path.name)
        return context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)


class Connection(HTTPConnection):
    """A connection whose handshake is made by the thread that answers."""

    def communicate(self) -> bool:
        """Read a request and answer it; whether the connection stays open."""
        adapter = self.server.ssl_adapter
        if adapter is not None and not self.ssl_env:
            try:
                first = self.socket.recv(1, socket.MSG_PEEK)
                if first and first[0] != HANDSHAKE:
                    self.socket.sendall(ANSWER % (len(PLAIN), PLAIN))
                    return False
                self.socket = adapter.encrypt(self.socket)
                self.socket.settimeout(self.server.timeout)
                self.socket.do_handshake()
            except OSError:  # gone, mute, or one that does not trust the root: nobody is left to be told
                return False
            self.ssl_env = adapter.get_environ(self.socket)
            self.rfile = adapter.makefile(self.socket, "rb", self.rbufsize)
            self.wfile = adapter.makefile(self.socket, "wb", self.wbufsize)
        return bool(super().communicate())  # type: ignore[no-untyped-call]

    def close(self) -> None:
        """Close the connection; one that is broken already may not end the server, as it would in Cheroot."""
        with suppress(OSError):
            super().close()


class Line(Server):
    """One port that is listened on."""

    ConnectionClass = Connection
    max_request_header_size = HEADERS

    def __init__(self, host: str, port: int, app: Any, largest_body: int, adapter: RenewingAdapter | None) -> None:
        super().__init__((host, port), app, numthreads=THREADS if adapter else 4, request_queue_size=64)
        self.server_name = self.software = ""  # nobody needs to know what it runs on
        self.max_request_body_size = largest_body
        self.ssl_adapter = adapter

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        """Log by Python's own means; Cheroot's words hold no address of a page."""
        log.log(level, msg, exc_info=traceback)


class SecureServer:
    """Both lines together: HTTPS on one port, plain HTTP on another.

    Raises
    ------
    OSError
        A port cannot be listened on.
    Refused
        No leaf holds now.
    """

    def __init__(self, app: Any, kept: Kept, host: str, port: int, plain_port: int, largest_body: int) -> None:
        self.lines = [
            Line(host, port, app, largest_body, RenewingAdapter(kept)),
            Line(host, plain_port, app, largest_body, None),
        ]
        for place, line in enumerate(self.lines):
            try:
                line.prepare()
            except OSError:
                for before in self.lines[:place]:
                    before.stop()
                raise

    def run(self) -> None:
        """Serve until Ctrl-C or SystemExit; the answers under way are given out first."""
        secure, plain = self.lines
        beside = threading.Thread(target=plain.serve, name="plain line", daemon=True)
        beside.start()
        try:
            with suppress(KeyboardInterrupt, SystemExit):
                secure.serve()
        finally:
            for line in self.lines:
                line.stop()
            beside.join(5)
