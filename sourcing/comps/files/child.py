"""Run alone, by file name, in a child process with limits: turn one sheet or one Parquet file into CSV.

A hostile file of a few kilobytes can ask for any amount of memory and abort the process that reads it, so the
process that serves pages never does. Imports nothing of the application. What it learnt goes to its standard
output as one line of JSON; what it refuses leaves by exit code 3 with the words there. Words are an English message
and what stands for the names in it, so that the parent can say them in the language of the moment.
"""

from __future__ import annotations

import csv
import json
import os
import re
import resource
import sys
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

MEMORY = 1 << 30
CPU_SECONDS = 60
OUTPUT = 300_000_000
_REFUSED = 3
_SURE_DIGITS = 10**15  # a workbook's numbers are exact below this
_VALUELESS = re.compile(
    rb"<(?:\w+:)?f(?:\s[^>]*)?(?:/>|>[^<]*</(?:\w+:)?f>)\s*(?:<(?:\w+:)?v\s*/>|<v></v>|</(?:\w+:)?c>)"
)
_FORMULAS = (b"<f>", b"<f ", b"<f/>", b":f>", b"table:formula=")
_ERRORS = (b't="e"', b"t='e'", b'calcext:value-type="error"')


class Refusal(Exception):
    """The file is refused; the arguments, each as `said`, are what was wrong, what is accepted, what to do next."""


Said = tuple[str, dict[str, str]]


def gettext_noop(message: str) -> str:
    """Mark a message for the catalogs, as `sourcing.language` does."""
    return message


def said(message: str, **values: str) -> Said:
    """Return a message and what stands for the names in it."""
    return message, values


def cell(value: Any) -> str:
    """Return a cell as the plain text that a reader of the sheet would type: 12.5, 9521234567899, 2026-03-02."""
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, time | timedelta):
        return str(value)
    wrong = gettext_noop("It holds a cell of a kind that is no text, number or date: {kind}.")
    raise Refusal(said(wrong, kind=type(value).__name__))


def _number(value: float) -> str:
    if value.is_integer():
        return f"{value:.0f}"
    if value != value or value in (float("inf"), float("-inf")):
        return ""
    text = repr(round(value, 6))  # 19.99 computed by a formula may arrive as 19.990000000000002
    return f"{Decimal(text):f}" if "e" in text else text


def texts(rows: Iterable[list[Any]], notes: list[Said]) -> Iterator[list[str]]:
    """Yield rows as text and note numbers that had more digits than the file keeps."""
    long = 0
    for row in rows:
        yield [value if type(value) is str else cell(value) for value in row]
        long += sum(type(value) is float and abs(value) >= _SURE_DIGITS for value in row)
    if long:
        words = gettext_noop(
            "Numbers of more than 15 digits: {number}. A number cell keeps no more, so their last digits are lost. "
            "Codes are kept whole in cells formatted as text."
        )
        notes.append(said(words, number=f"{long:,}"))


def sheet(source: str, wanted: str) -> tuple[Iterator[list[str]], dict[str, Any]]:
    """Return the rows of one sheet and what there is to say about the workbook."""
    from python_calamine import CalamineWorkbook, PasswordError, SheetTypeEnum, SheetVisibleEnum

    _no_declarations(source)
    try:
        workbook = CalamineWorkbook.from_path(source)
    except PasswordError:
        raise Refusal(
            said(gettext_noop("The workbook is encrypted.")), said(gettext_noop("A workbook without a password."))
        ) from None
    every = [one.name for one in workbook.sheets_metadata]
    tables = [one for one in workbook.sheets_metadata if one.typ == SheetTypeEnum.WorkSheet]
    visible = [one.name for one in tables if one.visible == SheetVisibleEnum.Visible]
    hidden = [one.name for one in tables if one.visible != SheetVisibleEnum.Visible]
    if wanted and wanted not in visible + hidden:
        raise Refusal(
            said(gettext_noop("The workbook has no sheet {sheet}."), sheet=repr(wanted[:100])),
            said(gettext_noop("Its sheets: {names}."), names=", ".join(visible)[:500]),
        )
    if not wanted and not visible:
        raise Refusal(
            said(gettext_noop("The workbook has no visible sheet.")),
            said(gettext_noop("At least one sheet that is not hidden.")),
        )
    name = wanted or visible[0]
    at = every.index(name)
    picked = workbook.get_sheet_by_index(at)
    notes: list[Said] = []
    before = [""] * picked.start[1] if picked.start else []  # columns left of the table
    rows = (before + row for row in picked.iter_rows()) if before else picked.iter_rows()
    told = {"sheet": name, "sheets": visible, "hidden": hidden, "notes": notes}
    notes += _contents(source, at)
    return texts(rows, notes), told


def _no_declarations(source: str) -> None:
    """Refuse XML that declares a document type: no spreadsheet needs one, entities that grow or fetch do."""
    with zipfile.ZipFile(source) as archive:
        for entry in archive.infolist():
            if entry.filename.lower().endswith((".xml", ".rels")):
                with archive.open(entry) as part:
                    start = part.read(2048).replace(b"\0", b"")
                if b"<!DOCTYPE" in start or b"<!ENTITY" in start:
                    raise Refusal(
                        said(gettext_noop("The workbook declares XML entities.")),
                        said(gettext_noop("A workbook as a spreadsheet writes it.")),
                    )


def _contents(source: str, at: int) -> Iterator[Said]:
    """Say what the workbook holds beside values: formulas, errors, macros, links."""
    with zipfile.ZipFile(source) as archive:
        names = archive.namelist()
        part = _part(archive, at)
        if part:
            yield from _counted(archive, part)
    if any(name.lower().endswith("vbaproject.bin") or name.startswith("Basic/") for name in names):
        yield said(gettext_noop("The workbook holds macros; none was run."))
    if any(name.startswith("xl/externalLinks/") for name in names):
        yield said(gettext_noop("The workbook links to other files; none was opened."))


def _part(archive: zipfile.ZipFile, at: int) -> str:
    """Name the part of the archive that holds the sheet at a place among all sheets, or ""."""
    names = set(archive.namelist())
    if "content.xml" in names:
        return "content.xml"
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names:
        return ""
    book, links = archive.read("xl/workbook.xml"), archive.read("xl/_rels/workbook.xml.rels")
    sheets = re.findall(rb"<(?:\w+:)?sheet\s([^>]*)>", book)
    if at >= len(sheets):
        return ""
    link = re.search(rb"""\br:id\s*=\s*["']([^"']*)""", sheets[at])
    for entry in re.findall(rb"<(?:\w+:)?Relationship\s([^>]*)>", links) if link else ():
        link_said = dict(re.findall(rb"""(\w+)\s*=\s*["']([^"']*)""", entry))
        if link and link_said.get(b"Id") == link[1]:
            target = link_said.get(b"Target", b"").decode("utf-8", "replace")
            path = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
            return path if path in names else ""
    return ""


def _counted(archive: zipfile.ZipFile, part: str) -> Iterator[Said]:
    formulas = valueless = errors = 0
    rest = b""
    with archive.open(part) as stream:
        while chunk := stream.read(1 << 20):
            # Cut where a cell begins, so that none is seen by halves.
            chunk = rest + chunk
            cut = max(chunk.rfind(b"<c "), chunk.rfind(b"<table:table-cell"), 0)
            if not cut and len(chunk) < 1 << 22:
                rest = chunk
                continue
            cut = cut or len(chunk)
            chunk, rest = chunk[:cut], chunk[cut:]
            found, wrong, empty = _counts(chunk)
            formulas, errors, valueless = formulas + found, errors + wrong, valueless + empty
    found, wrong, empty = _counts(rest)
    formulas, errors, valueless = formulas + found, errors + wrong, valueless + empty
    if formulas:
        words = gettext_noop("Formulas: {number}. The values saved with them were read; nothing was calculated anew.")
        yield said(words, number=f"{formulas:,}")
    if valueless:
        words = gettext_noop(
            "Formulas without a saved value, read as empty: {number}. Open the workbook in a spreadsheet and save it, "
            "so that it holds them."
        )
        yield said(words, number=f"{valueless:,}")
    if errors:
        words = gettext_noop("Cells that hold an error such as #N/A, read as empty: {number}.")
        yield said(words, number=f"{errors:,}")


def _counts(chunk: bytes) -> tuple[int, int, int]:
    formulas = sum(map(chunk.count, _FORMULAS))
    return formulas, sum(map(chunk.count, _ERRORS)), len(_VALUELESS.findall(chunk)) if formulas else 0


def parquet(source: str, _: str) -> tuple[Iterator[list[str]], dict[str, Any]]:
    """Return the header and the rows of a Parquet file."""
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    import pyarrow
    from pyarrow import parquet

    file = parquet.ParquetFile(source)
    schema = file.schema_arrow
    for field in schema:
        kind = field.type
        kind = kind.value_type if pyarrow.types.is_dictionary(kind) else kind
        if pyarrow.types.is_nested(kind) or "binary" in str(kind):
            raise Refusal(
                said(gettext_noop("The column {column} holds {kind}."), column=field.name[:100], kind=str(kind)),
                said(gettext_noop("Columns of texts, numbers, dates, yes or no.")),
                said(gettext_noop("Leave it out or write it as text.")),
            )
    notes: list[Said] = []

    def rows() -> Iterator[list[Any]]:
        yield list(schema.names)
        for batch in file.iter_batches(batch_size=2_000, use_threads=False):
            yield from map(list, zip(*(column.to_pylist() for column in batch.columns), strict=True))

    return texts(rows(), notes), {"notes": notes}


def main(kind: str, source: str, target: str, wanted: str) -> int:
    """Read the file at `source` and write CSV to `target`; return the exit code."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (OUTPUT, OUTPUT))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        rows, told = (parquet if kind == "parquet" else sheet)(source, wanted)
        with open(target, "w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\r\n").writerows(rows)
    except Refusal as refusal:
        print(json.dumps({"refused": refusal.args}))
        return _REFUSED
    print(json.dumps(told))
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
