"""The service worker's script: its source, with the list of what it keeps and a version made from all of that."""

from __future__ import annotations

import hashlib
import json
import re
from functools import lru_cache
from pathlib import Path

from flask import Response

from sourcing.language import spoken
from web import aisle, check, haul

STATIC = Path(__file__).parent / "static"
SOURCE = STATIC / "aisle" / "worker.js"
FOLDERS = ("aisle", "scan", "vendor")  # fetched by scripts, so that no page names them
KINDS = (".js", ".mjs", ".wasm", ".css", ".svg", ".png", ".webmanifest")
PAGES = {"/": "/aisle/check", "/haul": "/aisle/haul", "/waiting": "/waiting"}  # address: what stands in for it


def script() -> Response:
    """Return the script; any change of a file or page it keeps changes it, and so makes the browser fetch anew."""
    pages = "".join([check.bare(), haul.bare(), aisle.waiting(), aisle.away()])
    names = files(pages)
    version = hashlib.blake2b(pages.encode(), digest_size=8)
    version.update(_digest(tuple((name, *_stamp(name)) for name in (*names, "aisle/worker.js"))))
    head = {"VERSION": version.hexdigest(), "PAGES": PAGES, "FILES": [f"/static/{name}" for name in names]}
    ahead = "".join(f"const {name} = {json.dumps(value)};\n" for name, value in head.items())
    return Response(ahead + SOURCE.read_text(encoding="utf-8"), mimetype="text/javascript")


def files(pages: str) -> list[str]:
    """Return the files that the pages name, with all of the folders that scripts fetch from."""
    named = set(re.findall(r'(?:src|href)="/static/([^"?#]+)', pages))
    fetched = {
        path.relative_to(STATIC).as_posix()
        for folder in FOLDERS
        for path in (STATIC / folder).rglob("*")
        if path.suffix in KINDS and path != SOURCE
    }
    icons = {path.name for path in STATIC.glob("mark-*.png")}
    return sorted(named | fetched | icons | _words())


def _words() -> set[str]:
    """Return what the scripts say their words with; English ones are in the scripts themselves."""
    return {"language.js"} | {f"languages/{name}.json" for name in (spoken(),) if name != "en"}


def _stamp(name: str) -> tuple[int, int]:
    found = (STATIC / name).stat()
    return found.st_mtime_ns, found.st_size


@lru_cache(maxsize=2)
def _digest(stamped: tuple[tuple[str, int, int], ...]) -> bytes:
    """Return a digest of the files' bytes; it is made anew only when one of them was written since."""
    found = hashlib.blake2b()
    for name, _at, _size in stamped:
        found.update(f"{name}\0".encode() + (STATIC / name).read_bytes())
    return found.digest()
