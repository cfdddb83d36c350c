"""Scripts, styles and readers packed on the way: a phone in a shop's cellar waits for every kilobyte."""

from __future__ import annotations

from flask import Flask
from flask_compress import Compress

STATIC = "static"
KINDS = ["text/css", "text/javascript", "application/json", "application/wasm", "image/svg+xml"]


def pack_static(app: Flask) -> None:
    """Compress the static files for those who ask for it; no page.

    A page holds the token of its forms beside words that a link can put there, and the length of both packed together
    would tell of the token (BREACH, Gluck, Harris and Prado, 2013). Static files hold nothing of anybody.
    """
    app.config.update(
        COMPRESS_REGISTER=False,  # not every answer
        COMPRESS_MIMETYPES=KINDS,
        COMPRESS_ALGORITHM_STREAMING=["br", "zstd", "gzip"],  # files are sent in pieces; plain lines offer gzip alone
    )
    app.view_functions[STATIC] = Compress(app).compressed()(app.view_functions[STATIC])
