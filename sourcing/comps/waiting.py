"""Files that came in and wait for the user's word, kept in a folder beside the data until loaded or dropped.

What the user drops is put aside for a day, so that dropping can be undone.
"""

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
from sourcing.language import gettext

FOLDER, ASIDE = "waiting", "dropped"
MOST = 50  # files
OF_SALES = "sales: "  # before the name of a file of one's own sales, which the Sales page goes on with
MOST_ASIDE, _ASIDE_BYTES = 10, 250_000_000  # dropped files kept for an undo; beyond that the oldest go
_ASIDE_FOR = 86_400  # seconds they are kept
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


class NoRoom(Refused):
    """So many files wait that no other can."""


def keep(folder: Path, save: Callable[[Path], object], name: str) -> Waiting:
    """Keep a file under a random name of ours; ``save`` writes it to the path it is given.

    Raises
    ------
    NoRoom
        Too many files wait already.
    """
    sweep(folder)
    _check_room(folder)
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
    return _in(folder / FOLDER)


def has_room(folder: Path) -> bool:
    """Tell whether another file can wait."""
    return len(waiting(folder)) < MOST


def dropped(folder: Path) -> list[Waiting]:
    """Return the files that were dropped and can be brought back, in the order they came."""
    return _in(folder / ASIDE)


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


def put_aside(folder: Path, token: str) -> Waiting:
    """Let a file wait no longer, but keep it for a day, so that it can be brought back.

    Raises
    ------
    NotFound
        It does not wait.
    """
    one = take(folder, token)
    place = folder / ASIDE / one.token
    place.parent.mkdir(mode=0o700, exist_ok=True)
    try:
        one.path.parent.rename(place)
    except FileNotFoundError as error:  # dropped at the same moment
        raise _gone() from error
    os.utime(place)  # when it was dropped
    sweep(folder)
    return one


def bring_back(folder: Path, token: str) -> Waiting:
    """Let a file wait again that was dropped; what was said about it is there still.

    Raises
    ------
    NotFound
        It is not kept any longer.
    NoRoom
        Too many files wait already.
    """
    one = next((one for one in dropped(folder) if secrets.compare_digest(one.token.encode(), token.encode())), None)
    if one is None:
        raise _gone()
    _check_room(folder)
    place = folder / FOLDER / one.token
    place.parent.mkdir(mode=0o700, exist_ok=True)
    try:
        one.path.parent.rename(place)
    except FileNotFoundError as error:
        raise _gone() from error
    os.utime(place)
    return _read(place) or one


def drop(folder: Path, token: str) -> Waiting:
    """Keep a file no longer, for good: it was loaded, or is none that is read.

    Raises
    ------
    NotFound
        It is not kept.
    """
    one = take(folder, token)
    shutil.rmtree(one.path.parent, ignore_errors=True)
    return one


def _gone() -> NotFound:
    return NotFound(gettext("That file is no longer kept here."), next_step=gettext("Choose it again and load it."))


def _check_room(folder: Path) -> None:
    if not has_room(folder):
        raise NoRoom(
            gettext("{number} files wait already.", number=MOST),
            next_step=gettext("Load or drop some of them on the Comps page."),
        )


def _in(place: Path) -> list[Waiting]:
    found = (_read(one) for one in place.glob("*"))
    return sorted((one for one in found if one is not None), key=lambda one: one.at)


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


def sweep(folder: Path) -> None:
    """Remove what has been forgotten here for long, what was half written, and what was dropped a day ago."""
    for place in (folder / FOLDER).glob("*"):
        if time.time() - _changed(place) > _OLDEST:
            _remove(place)
    taken = 0
    for number, place in enumerate(sorted((folder / ASIDE).glob("*"), key=_changed, reverse=True)):
        taken += _size(place / _FILE)
        last = number == 0  # always kept, however large
        if time.time() - _changed(place) > _ASIDE_FOR or number >= MOST_ASIDE or (taken > _ASIDE_BYTES and not last):
            _remove(place)


def _changed(place: Path) -> float:
    try:
        return place.stat().st_mtime
    except OSError:
        return time.time()


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _remove(place: Path) -> None:
    shutil.rmtree(place, ignore_errors=True) if place.is_dir() else place.unlink(missing_ok=True)
