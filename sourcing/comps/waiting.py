"""Files that came in and wait for the user's word, kept in a folder beside the data until loaded or dropped."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sourcing.comps.layout import Layout
from sourcing.errors import NotFound, Refused

FOLDER = "waiting"
MOST = 50  # files
_OLDEST = 30 * 86_400  # seconds a file nobody asked about is kept
_FILE, _STATE = "file", "state.json"


@dataclass(frozen=True)
class Waiting:
    """One file that waits: where it is, what the user calls it, what they have said about it so far."""

    token: str
    path: Path
    name: str
    at: float  # when it came, seconds since 1970
    sha256: str
    member: str = ""
    encoding: str = ""
    sheet: str = ""
    layout: Layout | None = None


def keep(folder: Path, save: Callable[[Path], object], name: str) -> Waiting:
    """Keep a file under a random name of ours; ``save`` writes it to the path it is given.

    Raises
    ------
    Refused
        Too many files wait already.
    """
    _sweep(folder)
    if len(waiting(folder)) >= MOST:
        raise Refused(f"{MOST} files wait already.", next_step="Load or drop some of them on the Comps page.")
    token = secrets.token_hex(12)
    place = folder / FOLDER / token
    place.mkdir(mode=0o700, parents=True)
    path = place / _FILE
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        save(path)
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        one = Waiting(token, path, name[:200], time.time(), digest)
        _write(one)
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    return one


def copy_of(source: Path) -> Callable[[Path], object]:
    """Return what copies a file, to be given to `keep`."""
    return lambda path: shutil.copyfile(source, path)


def waiting(folder: Path) -> list[Waiting]:
    """Return the files that wait, the first that came first; one whose notes cannot be read is left out."""
    found = (_read(place) for place in (folder / FOLDER).glob("*"))
    return sorted((one for one in found if one is not None), key=lambda one: one.at)


def take(folder: Path, token: str) -> Waiting:
    """Return the file that waits under a token.

    Raises
    ------
    NotFound
        None does: it was loaded or dropped.
    """
    for one in waiting(folder):  # compared with what is there, never joined to a path
        if secrets.compare_digest(one.token.encode(), token.encode()):
            return one
    raise _gone()


def note(one: Waiting) -> None:
    """Keep what the user has said about a file.

    Raises
    ------
    NotFound
        It is not kept any longer.
    """
    try:
        _write(one)
    except FileNotFoundError as error:  # dropped at the same moment
        raise _gone() from error


def drop(folder: Path, token: str) -> Waiting:
    """Keep a file no longer.

    Raises
    ------
    NotFound
        It is not kept.
    """
    one = take(folder, token)
    shutil.rmtree(one.path.parent, ignore_errors=True)
    return one


def _gone() -> NotFound:
    return NotFound("That file is no longer kept here.", next_step="Choose it again and load it.")


def _write(one: Waiting) -> None:
    said = {
        "name": one.name, "at": one.at, "sha256": one.sha256, "member": one.member, "encoding": one.encoding,
        "sheet": one.sheet, "layout": one.layout.to_json() if one.layout else "",
    }  # fmt: skip
    state = one.path.with_name(_STATE)
    fresh = state.with_suffix(".new")
    fresh.write_text(json.dumps(said))
    fresh.replace(state)


def _read(place: Path) -> Waiting | None:
    try:
        said = json.loads((place / _STATE).read_text())
        layout = Layout.from_json(said.pop("layout")) if said.get("layout") else None
        said.pop("layout", None)
        return Waiting(place.name, place / _FILE, layout=layout, **said)
    except (OSError, KeyError, TypeError, ValueError):
        return None


def _sweep(folder: Path) -> None:
    """Drop what has been forgotten here for long, and what was half written."""
    for place in (folder / FOLDER).glob("*"):
        try:
            old = time.time() - place.stat().st_mtime > _OLDEST
        except OSError:
            continue
        if old:
            shutil.rmtree(place, ignore_errors=True) if place.is_dir() else place.unlink(missing_ok=True)
