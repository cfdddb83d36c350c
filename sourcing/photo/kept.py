"""Photos kept of pieces and of receipts: made anew without anything a camera notes beside the picture, and undoable.

Each is a file of its own in a folder beside the data, named by its own checksum and never changed or taken away: a row
of the database says whose it is. So a backup that copies the database first and the folder after it is whole, whatever
is added meanwhile; and the database stays small, of which a copy is made whenever much is written (`storage.earlier`),
and which would be thirty times as large with a few photos of every piece in it.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from sourcing.errors import BadInput, NotFound, Refused
from sourcing.language import gettext
from sourcing.storage import Store

Of = Literal["item", "run"]
ITEM: Of = "item"
RUN: Of = "run"
LARGE, SMALL = 1600, 320  # longest side, pixels
MOST = 12  # of one piece or run
MOST_WORDS = 120
_QUALITY = {LARGE: 82, SMALL: 74}
FOLDER = "photos"


@dataclass(frozen=True)
class Photo:
    """One photo; ``words`` say what it shows, and may be empty."""

    id: int
    of: Of
    number: int
    name: str
    width: int
    height: int
    words: str
    added_at: str
    removed: bool

    def file(self, folder: Path, side: int = LARGE) -> Path:
        """Return where the picture lies; ``side`` chooses the large or the small one."""
        return file_of(folder, self.name, side)


def file_of(folder: Path, name: str, side: int = LARGE) -> Path:
    """Return where a picture of that name lies, in a folder of its first two letters."""
    return folder / FOLDER / name[:2] / f"{name}{'' if side == LARGE else '-small'}.jpg"


def add(store: Store, folder: Path, of: Of, number: int, data: bytes, words: str = "") -> int:
    """Keep a photo of a piece or a run; return its number.

    Parameters
    ----------
    folder : beside the data. data : the file as the camera made it; nothing of it is kept but the picture.

    Raises
    ------
    BadInput, NotFound, Refused
        No photo, or one too large (see `sourcing.photo.picture`); there is no such piece or run; it has twelve already;
        the disk does not take it.
    """
    words = " ".join(words.split())
    if len(words) > MOST_WORDS:
        raise BadInput(
            gettext("That has {count} characters.", count=len(words)), gettext("Up to {most}.", most=MOST_WORDS),
            gettext("Shorten it."), field="words",
        )  # fmt: skip
    _there(store, of, number)
    large, size = encoded(data, LARGE)
    small, _ = encoded(large, SMALL)
    name = hashlib.sha256(large).hexdigest()
    _write(file_of(folder, name, SMALL), small)
    _write(file_of(folder, name), large)
    with store.write_rows() as raw:
        kept = raw.execute(
            'SELECT COUNT(*) FROM photo WHERE "of" = ? AND number = ? AND removed_at IS NULL', (of, number)
        ).fetchone()[0]
        if kept >= MOST:
            raise Refused(
                gettext("There are {count} photos of it already.", count=kept), gettext("Up to {most}.", most=MOST),
                gettext("Remove one first."), field="photo",
            )  # fmt: skip
        cursor = raw.execute(
            'INSERT INTO photo ("of", number, name, width, height, words, added_at) VALUES (?, ?, ?, ?, ?, ?, ?)',
            (of, number, name, *size, words, datetime.now(UTC).isoformat(timespec="seconds")),
        )
    return int(cursor.lastrowid)


def encoded(data: bytes, side: int) -> tuple[bytes, tuple[int, int]]:
    """Return a picture as a fresh upright JPEG of at most so many pixels a side, and its width and height.

    It is drawn anew from its pixels: place, time, camera, thumbnails and comments do not come along, and colours of a
    wider range are brought to sRGB, for the profile that said so stays behind too.

    Raises
    ------
    BadInput
        As for `sourcing.photo.picture.Picture`.
    """
    from PIL import Image

    from sourcing.photo.picture import Picture

    image = Picture(data).coloured(side)
    if max(image.size) > side:
        image.thumbnail((side, side), Image.Resampling.LANCZOS)
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    target = io.BytesIO()
    bare.save(target, "JPEG", quality=_QUALITY[side], optimize=True, progressive=side == LARGE)
    return target.getvalue(), bare.size


def remove(store: Store, number: int, *, back: bool = False) -> Photo:
    """Take a photo away, or with ``back`` bring it back; return it. Its file stays, for the undo and for backups.

    Raises
    ------
    NotFound
        There is no such photo.
    """
    now = None if back else datetime.now(UTC).isoformat(timespec="seconds")
    with store.write_rows() as raw:
        raw.execute("UPDATE photo SET removed_at = ? WHERE id = ?", (now, number))
    return get(store, number)


_COLUMNS = 'id, "of", number, name, width, height, words, added_at, removed_at IS NOT NULL'


def get(store: Store, number: int) -> Photo:
    """Return one photo, removed or not.

    Raises
    ------
    NotFound
        There is none of that number.
    """
    rows = store.read(f"SELECT {_COLUMNS} FROM photo WHERE id = ?", (number,))  # noqa: S608 - names of columns alone
    if not rows:
        raise NotFound(
            gettext("There is no photo number {number}.", number=number), next_step=gettext("Reload the page.")
        )
    return _photo(rows[0])


def photos(store: Store, of: Of, number: int) -> list[Photo]:
    """Return the photos of a piece or run in the order in which they were added; a part has those of its whole too."""
    owners = [number]
    while of == ITEM and (whole := store.read("SELECT part_of FROM stock_item WHERE id = ?", (owners[-1],))):
        if whole[0][0] is None or whole[0][0] in owners:
            break
        owners.append(whole[0][0])
    marks = ", ".join("?" * len(owners))
    return [
        _photo(row)
        for row in store.read(
            f'SELECT {_COLUMNS} FROM photo WHERE "of" = ? AND number IN ({marks}) AND removed_at IS NULL ORDER BY id',  # noqa: S608 - marks alone
            (of, *owners),
        )
    ]


def every(store: Store, of: Of, numbers: Sequence[int] | None = None) -> list[Photo]:
    """Return all photos of some pieces or runs, of all of them by default."""
    rows = store.read(f'SELECT {_COLUMNS} FROM photo WHERE "of" = ? AND removed_at IS NULL ORDER BY id', (of,))  # noqa: S608
    wanted = None if numbers is None else set(numbers)
    return [_photo(row) for row in rows if wanted is None or row[2] in wanted]


def _photo(row: tuple[Any, ...]) -> Photo:
    number, of, owner, name, width, height, words, added_at, removed = row
    return Photo(number, of, owner, name, width, height, words, added_at, bool(removed))


def _there(store: Store, of: Of, number: int) -> None:
    table = {"item": "stock_item", "run": "haul"}[of]
    if not store.read(f"SELECT 1 FROM {table} WHERE id = ?", (number,)):  # noqa: S608 - a name of our own
        raise NotFound(
            gettext("There is no piece number {number}.", number=number)
            if of == ITEM
            else gettext("There is no run number {number}.", number=number),
            next_step=gettext("Reload the page."),
        )


def _write(path: Path, data: bytes) -> None:
    """Put a file in its place whole or not at all; one of the same name has the same bytes."""
    if path.exists() and path.stat().st_size == len(data):
        return
    part = path.with_suffix(f".{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise Refused(
            gettext("The photo cannot be kept: {why}.", why=error.strerror or error),
            next_step=gettext("Free some space on the disk and try again."),
        ) from error


__all__ = ["ITEM", "LARGE", "RUN", "SMALL", "Photo", "add", "encoded", "every", "file_of", "get", "photos", "remove"]
