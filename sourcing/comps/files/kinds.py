"""What a file is, told by how it begins: text, JSON lines, a packed table, or nothing that is read."""

from __future__ import annotations

import codecs
import json
import re
from typing import BinaryIO, Literal

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop

Kind = Literal["text", "workbook", "json lines", "parquet"]
READ = gettext_noop(
    "A CSV or other delimited text, an XLSX or ODS workbook, JSON lines or Parquet; also inside a zip archive."
)
_REFUSED = (  # by how they start; what is said of them
    (b"\xd0\xcf\x11\xe0", gettext_noop("It is an old or encrypted workbook.")),
    (b"%PDF", gettext_noop("It is a PDF.")),
    (b"\x89PNG", gettext_noop("It is a picture.")),
    (b"\xff\xd8\xff", gettext_noop("It is a picture.")),
    (b"GIF8", gettext_noop("It is a picture.")),
    (b"\x1f\x8b", gettext_noop("It is a gzip archive.")),
    (b"BZh", gettext_noop("It is a bzip2 archive.")),
    (b"7z\xbc\xaf\x27\x1c", gettext_noop("It is a 7z archive.")),
    (b"Rar!", gettext_noop("It is a RAR archive.")),
    (b"\xfd7zXZ", gettext_noop("It is an xz archive.")),
    (b"\x28\xb5\x2f\xfd", gettext_noop("It is a Zstandard archive.")),
    (b"SQLite format 3\0", gettext_noop("It is a database.")),
    (b"{\\rtf", gettext_noop("It is a text document.")),
)
_MARKUP = re.compile(r"\s*<(?:!doctype|html|head|body|table|\?xml)", re.IGNORECASE)
_JSON_LIST = re.compile(r"\s*\[\s*[{\]]")
_JSON_OBJECT = re.compile(r"\s*\{\s*(?:[\"}]|$)", re.MULTILINE)


def first_bytes(file: BinaryIO) -> bytes:
    """Return how a file begins.

    Raises
    ------
    BadInput
        It is empty, or of a kind that is not read.
    """
    file.seek(0)
    start = file.read(64)
    if not start:
        raise BadInput(
            gettext("The file is empty."),
            gettext(READ),
            gettext("Save the table again with its rows and load that."),
            field="file",
        )
    for mark, what in _REFUSED:
        if start.startswith(mark):
            raise BadInput(gettext(what), gettext(READ), gettext("Save the table as CSV UTF-8."), field="file")
    return start


def is_archive(start: bytes) -> bool:
    """Tell a zip archive by its first bytes, as workbooks are too."""
    return start.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def damaged_workbook() -> BadInput:
    """Return what is said of a file that is no workbook though its name says so."""
    return BadInput(
        gettext("It is no workbook, or a damaged one: its name says workbook, its content does not."),
        gettext("A whole .xlsx or .ods file."),
        gettext("Open it in your spreadsheet program and save it anew, or fetch it once more."),
        field="file",
    )


def has_controls(file: BinaryIO) -> bool:
    """Tell bytes from text by its start: control characters that no table has; UTF-16 and UTF-32 have a mark."""
    file.seek(0)
    start = file.read(1 << 16)
    return not start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, codecs.BOM_UTF32_BE)) and any(
        byte < 32 and byte not in b"\t\n\r\f\x1a" for byte in start
    )


def kind_of_text(sample: str, wanted: str) -> Kind:
    """Tell what a text holds, or take the user's word.

    Raises
    ------
    BadInput
        It is no table and no JSON lines.
    """
    if wanted in ("text", "json lines"):
        return "json lines" if wanted == "json lines" else "text"
    if _MARKUP.match(sample):
        raise BadInput(
            gettext("It is a web page or XML."), gettext(READ), gettext("Save the table as CSV UTF-8."), field="file"
        )
    if _JSON_LIST.match(sample):
        raise BadInput(
            gettext("It is one JSON list."),
            gettext("JSON lines: one object a line."),
            gettext("Write each object on a line."),
        )
    if not _JSON_OBJECT.match(sample):
        return "text"
    for line in sample.splitlines()[:20]:
        try:
            if isinstance(json.loads(line), dict):
                return "json lines"
        except (ValueError, RecursionError):
            continue
    raise BadInput(
        gettext("It is JSON that runs over several lines."),
        gettext("JSON lines: one flat object a line."),
        gettext("Write each object on a line."),
    )
