"""Look into a zip archive without unpacking it: refuse bombs, tell workbooks from archives, take one member out."""

from __future__ import annotations

import zipfile
from pathlib import Path
from zlib import error as zlib_error

from sourcing.comps.files import limits
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop

_INSTEAD = gettext_noop("Save the table as CSV (UTF-8) and load that.")
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ODS = "application/vnd.oasis.opendocument.spreadsheet"


_WORKBOOK_LARGE = gettext_noop("The workbook is larger than {most}.")
_ARCHIVE_LARGE = gettext_noop("The workbook or zip archive is larger than {most}.")


def check_packed(path: Path, what: str = _WORKBOOK_LARGE) -> None:
    """Refuse a packed file that is larger than 30 MB; ``what`` is said then."""
    if path.stat().st_size > limits.PACKED:
        most = f"{limits.PACKED // 1_000_000} MB"
        raise BadInput(
            gettext(what, most=most),
            gettext("Up to {most}.", most=most),
            gettext(_INSTEAD),
            field="file",
        )


def check_archive(path: Path) -> list[zipfile.ZipInfo]:
    """Return what an archive's directory lists; refuse it when that is too large, too full or too tightly packed.

    Raises
    ------
    BadInput
        Naming the limit that was passed.
    """
    check_packed(path, _ARCHIVE_LARGE)
    entries = _entries(path)
    if len(entries) > limits.ENTRIES:
        raise BadInput(
            gettext("The workbook or zip archive holds {entries} parts.", entries=len(entries)),
            gettext("Up to {entries}.", entries=limits.ENTRIES),
            gettext(_INSTEAD),
        )
    if sum(entry.file_size for entry in entries) > limits.INFLATED:
        most = f"{limits.INFLATED // 1_000_000} MB"
        raise BadInput(
            gettext("The workbook or zip archive unpacks to more than {most}.", most=most),
            gettext("Up to {most}.", most=most),
            gettext(_INSTEAD),
        )
    for entry in entries:
        # Small parts may pack tightly by chance; they cannot fill a memory.
        if entry.file_size > 1_000_000 and entry.file_size > limits.RATIO * entry.compress_size:
            raise BadInput(
                gettext("A part of the workbook or zip archive is packed more than {ratio} times.", ratio=limits.RATIO),
                gettext("Up to {ratio} times.", ratio=limits.RATIO),
                gettext(_INSTEAD),
            )
        if entry.flag_bits & 1:
            raise BadInput(
                gettext("The workbook or zip archive is encrypted."),
                gettext("One without a password."),
                gettext(_INSTEAD),
            )
        if entry.compress_type not in _METHODS:
            raise BadInput(
                gettext("The zip archive is packed in an uncommon way."),
                gettext("Stored or deflated parts."),
                gettext("Pack it again."),
            )
    return entries


def _entries(path: Path) -> list[zipfile.ZipInfo]:
    damaged = BadInput(
        gettext("The workbook or zip archive is cut short or damaged."),
        gettext("A whole file."),
        gettext(_INSTEAD),
        field="file",
    )
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 65_557))
        tail = file.read()
    end = tail.rfind(b"PK\x05\x06")
    # Bytes 12 to 16 of the end record: how long the list of entries is (APPNOTE.TXT, 4.3.16).
    if end < 0 or int.from_bytes(tail[end + 12 : end + 16], "little") > limits.DIRECTORY:
        raise damaged
    try:
        with zipfile.ZipFile(path) as archive:
            return archive.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, EOFError) as error:
        raise damaged from error


def is_workbook(path: Path, entries: list[zipfile.ZipInfo]) -> bool:
    """Tell a workbook from an archive of files.

    Raises
    ------
    BadInput
        It is a document of another kind, or an encrypted one.
    """
    names = {entry.filename for entry in entries}
    if "mimetype" in names and "content.xml" in names:
        with zipfile.ZipFile(path) as archive:
            kind = _start(archive, "mimetype").decode("latin-1").strip()
            manifest = _start(archive, "META-INF/manifest.xml") if "META-INF/manifest.xml" in names else b""
        if kind.removesuffix("-template") != _ODS:
            raise BadInput(
                gettext("It is a document, but no spreadsheet."),
                gettext("An .ods or .xlsx workbook."),
                gettext(_INSTEAD),
            )
        if b"encryption-data" in manifest:
            raise BadInput(
                gettext("The workbook is encrypted."), gettext("A workbook without a password."), gettext(_INSTEAD)
            )
        return True
    if "[Content_Types].xml" in names:
        if "xl/workbook.bin" in names:
            raise BadInput(
                gettext("It is a binary workbook."),
                gettext("An .xlsx or .ods workbook, or CSV."),
                gettext("Save it as .xlsx."),
            )
        if not any(name.startswith("xl/") for name in names):
            raise BadInput(
                gettext("It is a document, but no spreadsheet."),
                gettext("An .ods or .xlsx workbook."),
                gettext(_INSTEAD),
            )
        return True
    return False


def _start(archive: zipfile.ZipFile, name: str) -> bytes:
    try:
        with archive.open(name) as part:
            return part.read(1 << 16)
    except (zipfile.BadZipFile, OSError, EOFError, ValueError, NotImplementedError, RuntimeError, zlib_error) as error:
        raise BadInput(
            gettext("The workbook is cut short or damaged."), gettext("A whole file."), gettext(_INSTEAD), field="file"
        ) from error


def members(entries: list[zipfile.ZipInfo]) -> tuple[str, ...]:
    """Name the files of an archive, leaving out folders and what a system puts beside the user's files."""
    names = [entry.filename for entry in entries if entry.file_size and not entry.filename.endswith("/")]
    return tuple(
        name for name in names if name and not name.startswith("__MACOSX/") and not name.split("/")[-1].startswith(".")
    )


def take_out(path: Path, member: str, target: Path) -> None:
    """Unpack one member to `target`; its name is never used as a path.

    Raises
    ------
    BadInput
        It is not there, damaged, larger than it says, or an archive itself.
    """
    left = limits.INFLATED
    try:
        with zipfile.ZipFile(path) as archive, archive.open(member) as part, target.open("wb") as file:
            while chunk := part.read(1 << 20):
                left -= len(chunk)
                if left < 0:
                    raise BadInput(
                        gettext("The zip archive unpacks to more than it says."),
                        gettext("An archive as a packer writes it."),
                        gettext("Pack it again."),
                        field="file",
                    )
                file.write(chunk)
    except KeyError as error:
        raise BadInput(
            gettext("The zip archive holds no file {name}.", name=repr(member[:200])),
            next_step=gettext("Let it be looked at anew."),
            field="member",
        ) from error
    except (zipfile.BadZipFile, OSError, EOFError, ValueError, NotImplementedError, RuntimeError, zlib_error) as error:
        wrong = gettext("The file {name} of the zip archive is damaged.", name=repr(member[:200]))
        raise BadInput(wrong, gettext("A whole archive."), gettext("Pack it again."), field="file") from error
