"""Take a file apart until it is text: out of its archive, out of its workbook, with its encoding told or asked for."""

from __future__ import annotations

import io
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, Literal, TextIO

from sourcing.comps.files import encodings, limits, process
from sourcing.comps.files.encodings import ACCEPTED, Candidate, Scan
from sourcing.comps.files.kinds import READ, Kind, damaged_workbook, first_bytes, has_controls, is_archive, kind_of_text
from sourcing.errors import BadInput
from sourcing.language import gettext

SAMPLE = 1 << 18  # characters that its shape is told from
_WORKBOOKS = (".xlsx", ".xlsm", ".ods")


@dataclass
class Staged:
    """A file as text, or the question that is open before it can be.

    Attributes
    ----------
    kind : what the file is, inside its archive.
    file, encoding, doubtful : the text, how it is encoded, and whether some bytes of it are not.
    member, members : of a zip archive: the file taken, and all of them.
    sheet, sheets, hidden : of a workbook: the sheet taken, the visible ones, the hidden ones.
    notes : what the user is to know.
    asks : what the user must pick first, with what there is to pick in `members` or `candidates`.
    """

    sha256: str
    file: BinaryIO
    kind: Kind = "text"
    encoding: str = "utf-8"
    doubtful: bool = False
    member: str = ""
    members: tuple[str, ...] = ()
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    notes: tuple[str, ...] = ()
    asks: Literal["", "member", "encoding"] = ""
    wrong: str = ""  # why it asks

    def text(self) -> TextIO:
        """Open the text from its start; line ends are left as they are."""
        self.file.seek(0)
        errors = "strict" if not self.doubtful else "surrogateescape" if self.encoding == "utf-8" else "replace"
        name = "utf-8-sig" if self.encoding == "utf-8" else self.encoding
        buffered = io.BufferedReader(_Unclosed(self.file), 1 << 20)
        return io.TextIOWrapper(buffered, encoding=name, errors=errors, newline="")

    def sample(self) -> tuple[str, bool]:
        """Return whole lines from the start of the text, and whether they are all of it."""
        text = self.text()
        start = text.read(SAMPLE)
        if len(start) < SAMPLE or not text.read(1):
            return start, True
        cut = max(start.rfind("\n"), start.rfind("\r", 0, -1))
        return start[: cut + 1] or start, False


def stage(
    file: BinaryIO,
    place: Path,
    *,
    kind: str = "",
    member: str = "",
    encoding: str = "",
    sheet: str = "",
    name: str = "",
) -> Staged:
    """Take a file apart as far as it says itself how, and as the user picked.

    Parameters
    ----------
    file : binary stream
        Can seek.
    place : Path
        A folder of its own for what is unpacked.
    kind, member, encoding, sheet : str
        What was picked; "" where nothing was.
    name : str
        What it is called: what is no text, and is called a workbook, is told to be a damaged one.

    Raises
    ------
    BadInput
        It is nothing that is read, or passes a limit.
    """
    start = first_bytes(file)
    if is_archive(start) or start.startswith(b"PAR1"):
        from sourcing.comps.files import archive  # delimited text starts quicker without

        sha256 = encodings.digest(file)
        packed = place / "packed"
        _copied(file, packed)
        if is_archive(start):
            entries = archive.check_archive(packed)
            if archive.is_workbook(packed, entries):
                return _workbook(packed, place, sha256, sheet)
            return _member(packed, archive.members(entries), place, sha256, kind, member, encoding, sheet)
        return _parquet(packed, place, sha256)
    damaged = damaged_workbook() if Path(name).suffix.lower() in _WORKBOOKS else None
    if damaged and has_controls(file):
        raise damaged
    return _text(file, encodings.scan(file), kind, encoding, damaged)


def _copied(file: BinaryIO, target: Path) -> None:
    file.seek(0, io.SEEK_END)
    if file.tell() > limits.PACKED:
        most = f"{limits.PACKED // 1_000_000} MB"
        raise BadInput(
            gettext("The workbook, zip archive or Parquet file is larger than {most}.", most=most),
            gettext("Up to {most}.", most=most),
            gettext("Save the table as CSV (UTF-8) and load that."),
            field="file",
        )
    file.seek(0)
    with target.open("wb") as copy:
        shutil.copyfileobj(file, copy)


def _workbook(packed: Path, place: Path, sha256: str, sheet: str) -> Staged:
    told = process.to_csv(packed, place / "sheet.csv", "workbook", sheet)
    notes = list(told.notes)
    others = [name for name in told.sheets if name != told.sheet]
    if others and not sheet:
        notes.append(
            gettext(
                "The sheet {sheet} was read. The workbook has others: {names}.",
                sheet=repr(told.sheet),
                names=", ".join(others)[:300],
            )
        )
    if told.hidden and not sheet:
        notes.append(gettext("Hidden sheets were left out: {names}.", names=", ".join(told.hidden)[:300]))
    return Staged(
        sha256, (place / "sheet.csv").open("rb"), "workbook",
        sheet=told.sheet, sheets=told.sheets, hidden=told.hidden, notes=tuple(notes),
    )  # fmt: skip


def _parquet(packed: Path, place: Path, sha256: str) -> Staged:
    told = process.to_csv(packed, place / "table.csv", "parquet")
    return Staged(sha256, (place / "table.csv").open("rb"), "parquet", notes=told.notes)


def _member(
    packed: Path, names: tuple[str, ...], place: Path, sha256: str, kind: str, member: str, encoding: str, sheet: str
) -> Staged:
    if not names:
        raise BadInput(
            gettext("The zip archive holds no file."),
            gettext(READ),
            gettext("Load the table itself, or pack it again."),
            field="file",
        )
    if len(names) > 1 and not member:
        wrong = gettext("The zip archive holds {number} files.", number=len(names))
        return Staged(sha256, packed.open("rb"), members=names, asks="member", wrong=wrong)
    member = member or names[0]
    if names.count(member) != 1:
        name = repr(member[:200])
        raise BadInput(
            gettext("The zip archive holds no file {name}.", name=name)
            if member not in names
            else gettext("The zip archive holds more than one file {name}.", name=name),
            gettext("One of {names}.", names=", ".join(names)[:500]),
        )
    from sourcing.comps.files import archive

    inner = place / "member"
    archive.take_out(packed, member, inner)
    within = place / "within"
    within.mkdir()
    with inner.open("rb") as file:
        start = first_bytes(file)
    if is_archive(start) and not archive.is_workbook(inner, archive.check_archive(inner)):
        raise BadInput(
            gettext("The zip archive holds another zip archive."),
            gettext(READ),
            gettext("Unpack it first."),
            field="file",
        )
    staged = stage(inner.open("rb"), within, kind=kind, encoding=encoding, sheet=sheet, name=member)
    staged.sha256, staged.member, staged.members = sha256, member, names
    return staged


def _text(file: BinaryIO, found: Scan, kind: str, encoding: str, damaged: BadInput | None) -> Staged:
    if found.size > limits.LARGEST_CSV:
        raise BadInput(
            gettext("The file is larger than {number} MB.", number=limits.LARGEST_CSV // 1_000_000),
            next_step=gettext("Split it into parts."),
            field="file",
        )
    if encoding and encoding not in ACCEPTED:
        raise BadInput(
            gettext("The encoding {encoding} is none that is read.", encoding=f"{encoding[:40]!r}"),
            gettext("One of {names}.", names=", ".join(ACCEPTED)),
        )
    staged = Staged(found.sha256, file, encoding=found.mark or encoding or "utf-8")
    if staged.encoding == "utf-8" or found.mark:
        staged.doubtful = found.bad is not None
    else:
        staged.doubtful = not encodings.stands(file, staged.encoding)
    if not found.mark and not encoding and (found.bad is not None or found.nul):
        return _asking(file, found, damaged)
    sample, _ = staged.sample()
    staged.kind = kind_of_text(sample, kind)
    return staged


def _asking(file: BinaryIO, found: Scan, damaged: BadInput | None) -> Staged:
    told = encodings.candidates(file, found)
    if damaged and not told:
        raise damaged
    if found.nul or found.bad is None:
        wrong = gettext("The file looks like UTF-16 without a byte order mark.")
    else:
        file.seek(0)
        before, at = 0, 0
        while at < found.bad:
            chunk = file.read(min(1 << 20, found.bad - at))
            before, at = before + chunk.count(b"\n"), at + len(chunk)
        byte = file.read(1) or b"\0"
        wrong = gettext(
            "The file is not UTF-8: the byte {byte} in line {number} begins no character.",
            byte=f"{byte[0]:#04x}",
            number=before + 1,
        )
    if not told:
        raise BadInput(
            wrong, gettext("Text in UTF-8 or another encoding."), gettext("Save it again as CSV UTF-8."), field="file"
        )
    return Staged(found.sha256, file, candidates=told, asks="encoding", wrong=wrong)


class _Unclosed(io.RawIOBase):
    """Lend a stream to a text wrapper: uploads lack some methods it asks for, and stay the caller's."""

    def __init__(self, file: Any) -> None:
        self._file = file

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any, /) -> int:
        chunk = self._file.read(len(buffer))
        buffer[: len(chunk)] = chunk
        return len(chunk)
