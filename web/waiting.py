"""Keep one uploaded file on disk while the user decides about its bad rows."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from urllib.parse import quote, unquote

from werkzeug.datastructures import FileStorage

from sourcing.errors import NotFound

FOLDER = "waiting"


def keep(folder: Path, upload: FileStorage) -> Path:
    """Store an upload under a random name of ours, in place of the one that waited before."""
    drop(folder)
    place = folder / FOLDER
    place.mkdir(mode=0o700, exist_ok=True)
    ending = ".xlsx" if (upload.filename or "").lower().endswith(".xlsx") else ".csv"
    path = place / f"{secrets.token_urlsafe(16)}{ending}"
    with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
        upload.save(file)
    path.with_suffix(".name").write_text(quote((upload.filename or "")[:200]))
    return path


def take(folder: Path, token: str) -> tuple[Path, str]:
    """Return the file that waits under a token, and the name it came with.

    Raises
    ------
    NotFound
        No file waits under it: another one was loaded since.
    """
    for path in (folder / FOLDER).glob("*"):  # compared with what is there, never joined to a path
        if path.suffix != ".name" and path.name == token:
            return path, unquote(path.with_suffix(".name").read_text())
    raise NotFound("That file is no longer kept here.", next_step="Choose it again and load it.")


def drop(folder: Path) -> None:
    """Forget the file that waits."""
    for path in (folder / FOLDER).glob("*"):
        path.unlink(missing_ok=True)
