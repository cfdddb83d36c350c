"""Look after a folder: load new files that are read like earlier ones, and let the others wait for the user's word."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from sourcing.comps import waiting
from sourcing.comps.incoming import load_seen, look
from sourcing.comps.report import LoadReport
from sourcing.errors import Busy, NotFound, SourcingError
from sourcing.language import gettext
from sourcing.storage import Store

_UNFINISHED = (".part", ".partial", ".crdownload", ".download", ".tmp", ".lock")  # what programs call files they write


@dataclass(frozen=True)
class Arrival:
    """What became of one file: loaded, waiting on the Comps page, there already, useless, or left for want of room."""

    name: str
    became: Literal["loaded", "waiting", "known", "refused", "left"]
    report: LoadReport | None = None
    why: str = ""


@dataclass
class Watch:
    """One folder and what has been seen in it.

    Parameters
    ----------
    store : Store
        Where comps go.
    folder : Path
        The folder that is watched; folders in it are not.
    beside : Path
        The folder beside the data, where files wait.

    Raises
    ------
    NotFound
        There is no such folder.
    """

    store: Store
    folder: Path
    beside: Path
    _sizes: dict[Path, tuple[int, int]] = field(default_factory=dict)
    _done: dict[Path, tuple[int, int]] = field(default_factory=dict)
    _left: dict[Path, tuple[int, int]] = field(default_factory=dict)  # files there was no room for

    def __post_init__(self) -> None:
        if not self.folder.is_dir():
            raise NotFound(
                gettext("There is no folder {folder}.", folder=self.folder),
                next_step=gettext("Make it, or check its name."),
            )

    def look(self, on_progress: Callable[[str, int], None] | None = None) -> list[Arrival]:
        """Take every file that has come to rest since the last look but one: nobody writes to it any more.

        A file that would have to wait while too many wait already is told once, and taken as soon as there is room.
        """
        found = []
        for path, stamp in self._files():
            if self._done.get(path) == stamp:
                continue
            if self._sizes.get(path) != stamp:
                self._sizes[path] = stamp
                continue
            before = self._left.get(path)
            if before == stamp and not waiting.has_room(self.beside):
                continue
            try:
                found.append(self._take(path, on_progress))
            except Busy:  # another load runs: at the next look
                continue
            except waiting.NoRoom as error:
                if before != stamp:
                    found.append(
                        Arrival(path.name, "left", why=f"{error} {gettext('It is taken as soon as there is room.')}")
                    )
                self._left[path] = stamp
                continue
            except SourcingError as error:
                found.append(Arrival(path.name, "refused", why=str(error)))
            except OSError as error:
                why = gettext("It cannot be read: {error}.", error=error.strerror)
                found.append(Arrival(path.name, "refused", why=why))
            self._done[path] = stamp
        return found

    def _files(self) -> list[tuple[Path, tuple[int, int]]]:
        found = []
        try:
            paths = sorted(self.folder.iterdir())
        except OSError as error:  # a drive that is away for a while
            raise NotFound(
                gettext("The folder {folder} cannot be read: {strerror}.", folder=self.folder, strerror=error.strerror)
            ) from error
        for path in paths:
            if path.name.startswith((".", "~$")) or path.suffix.lower() in _UNFINISHED:
                continue
            try:
                stat = path.stat()
            except OSError:
                continue
            if path.is_file() and stat.st_size:
                found.append((path, (stat.st_size, stat.st_mtime_ns)))
        return found

    def _take(self, path: Path, on_progress: Callable[[str, int], None] | None) -> Arrival:
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        # A load that was undone stays undone: the user takes the file in again by hand if they want it.
        if self.store.read("SELECT 1 FROM batch WHERE sha256 = ? LIMIT 1", (digest,)):
            return Arrival(path.name, "known")
        if any(one.sha256 == digest for one in waiting.waiting(self.beside)):
            return Arrival(path.name, "waiting", why=gettext("It waits already."))
        seen = look(self.store, path, path.name)
        if not seen.one_tap:
            waiting.keep(self.beside, waiting.copy_of(path), path.name)
            asked = seen.questions[0].text if seen.questions else seen.sniffed.wrong
            return Arrival(path.name, "waiting", why=asked or gettext("Its columns are to be matched."))
        told = None if on_progress is None else lambda rows: on_progress(path.name, rows)
        report = load_seen(self.store, path, path.name, seen, keep_good=True, on_progress=told)
        return Arrival(path.name, "loaded" if report.batch_id else "known", report)
