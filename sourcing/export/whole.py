"""Write everything into one zip of CSV files, their schema and the photos; read such a zip into an empty store.

Kept out is only what opens doors: the hashes of network access keys, which are made anew on another machine.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple

from sourcing.errors import BadInput, Refused
from sourcing.export.cell import kind_of, read, written
from sourcing.language import gettext
from sourcing.photo.kept import FOLDER
from sourcing.storage import Store
from sourcing.storage.migrate import HEAD

FORMAT = 1
LEFT_OUT = ("access", "alembic_version")
_AT_FIRST = ("about", "sqlite_sequence")  # tables of which an empty store has rows too
SCHEMA, README = "schema.json", "README.txt"
_AT_ONCE = 2_000  # rows
_PICTURE = re.compile(rf"{FOLDER}/[0-9a-f]{{2}}/[0-9a-f]{{64}}(-small)?\.jpg")
TABLES = {  # what every table holds
    "about": "what the user said of files that came in",
    "alias": "words and style codes that are read as others",
    "also_in": "comps that more than one load brought",
    "batch": "loads of comps files",
    "caution": "cautions that were dismissed",
    "checked": "every check of an item: what was asked and what was answered",
    "code": "codes seen in comps, and the item each stands for",
    "code_use": "codes that several items carry, and in how many comps of each",
    "comp": "comparable listings; amounts in minor units, days since 1970-01-01",
    "correction": "corrections of forecasts that were taken in",
    "edit": "changes made to the table of comps",
    "fit": "what was learnt from the comps; made anew by itself",
    "haul": "runs",
    "haul_item": "what was taken on a run",
    "layout": "how files of a known header are read",
    "moved": "comps that were given to another item",
    "photo": "photos of pieces and runs; the pictures are in the folder photos",
    "prep_batch": "batches of timed prep",
    "prep_tap": "every tap of the stopwatch of a batch",
    "problem": "problems of rows in loads",
    "product": "items that comps are of",
    "reject": "rows of loads that were rejected, as the file had them",
    "replay": "what was worked out of the history; made anew by itself",
    "sent": "what phones sent",
    "settings_version": "every saved version of the settings, as TOML",
    "sqlite_sequence": "the last number given in each table, so that none is given twice",
    "stock_action": "the ledger of stock: every action, in order",
    "stock_change": "what each action found and what it left",
    "stock_item": "pieces of stock as they stand; amounts in minor units, days since 1970-01-01",
    "stock_listing": "spells of pieces on the market",
    "stock_sale": "sales of pieces, and returns",
    "trip": "minutes and distances of runs, typed",
}
_README = """Everything of one data folder, in open formats.

tables/NAME.csv   one file a table: UTF-8, comma, quotes doubled, CRLF (RFC 4180), names of columns in the first line
schema.json       tables, columns, types, keys, and what each table holds
photos/           the pictures that the table "photo" names

Cells: \\N is nothing at all (NULL); \\t begins a text that would be mistaken otherwise, for a formula or for a mark;
\\x begins bytes in base64; \\i and \\f begin a whole or other number in a column of another type. Everything else is
as it stands. Amounts are whole minor units (cents), days are counted from 1970-01-01, moments are ISO 8601 in UTC.

"sourcing restore FILE --data FOLDER" reads it back into an empty folder. Hashes of network keys are left out.
"""


class Column(NamedTuple):
    """One column as the database declares it."""

    name: str
    kind: str
    required: bool
    key: int  # its place in the primary key, 0 outside of it


def write_everything(store: Store, folder: Path, target: Path) -> dict[str, int]:
    """Write the zip, whole or not at all; return how many rows each table has.

    Parameters
    ----------
    folder : where the photos lie, beside the data.

    Raises
    ------
    Refused
        The data is not in SQLite; the target cannot be written.
    """
    if not store.is_sqlite:
        raise Refused(
            gettext("Only a data folder can be exported."), next_step=gettext("Use the database's own tools.")
        )
    part = target.with_name(target.name + ".part")
    counts: dict[str, int] = {}
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive, store.write_rows() as raw:
            # Inside a transaction that writes nothing: no table is older than another.
            schema: dict[str, Any] = {}
            for table in _tables(raw):
                columns = _columns(raw, table)
                with archive.open(f"tables/{table}.csv", "w", force_zip64=True) as file:
                    counts[table] = _write_table(raw, table, columns, file)
                schema[table] = _described(raw, table, columns, counts[table])
            archive.writestr(SCHEMA, json.dumps(
                {"format": FORMAT, "schema_version": HEAD, "tables": schema}, indent=1, ensure_ascii=False,
            ))  # fmt: skip
            archive.writestr(README, _README)
            for picture in sorted((folder / FOLDER).glob("*/*.jpg")):
                archive.write(picture, f"{FOLDER}/{picture.parent.name}/{picture.name}", zipfile.ZIP_STORED)
        part.replace(target)
    except OSError as error:
        raise Refused(
            gettext("{name} cannot be written: {why}.", name=target.name, why=error.strerror or error),
            next_step=gettext("Name another file, or free some space."),
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return counts


def read_everything(store: Store, folder: Path, source: Path) -> dict[str, int]:
    """Read a zip into a store that holds nothing yet; return how many rows each table got.

    Raises
    ------
    BadInput, Refused
        The file is no such zip or was changed; it is of another version; the store holds something already.
    """
    try:
        archive = zipfile.ZipFile(source)
    except (OSError, zipfile.BadZipFile) as error:
        raise _no_export(source) from error
    with archive, store.write_rows() as raw:
        try:
            said = json.loads(archive.read(SCHEMA))
            format_, version, tables = said["format"], said["schema_version"], said["tables"]
        except (KeyError, ValueError, TypeError, zipfile.BadZipFile) as error:
            raise _no_export(source) from error
        if (format_, version) != (FORMAT, HEAD):
            raise Refused(
                gettext("{name} was written by another version of this application.", name=source.name),
                next_step=gettext("Read it back with the version that wrote it, then update."),
            )
        here = _tables(raw)
        full = [one for one in here if one not in _AT_FIRST and raw.execute(f"SELECT 1 FROM {one}").fetchone()]  # noqa: S608
        if full:
            raise Refused(
                gettext("The data folder is not empty: there are rows in {tables}.", tables=", ".join(full[:5])),
                next_step=gettext("Name a new folder with --data."),
            )
        raw.execute("PRAGMA defer_foreign_keys=ON")
        try:
            counts = {name: _read_table(raw, archive, name) for name in here if name in tables}
            _read_photos(archive, folder)
        except (KeyError, ValueError, csv.Error, zipfile.BadZipFile) as error:
            raise _no_export(source) from error
    return counts


def _tables(raw: Any) -> list[str]:
    rows = raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name").fetchall()
    return [row[0] for row in rows if row[0] not in LEFT_OUT and (row[0] in TABLES or not row[0].startswith("sqlite_"))]


def _columns(raw: Any, table: str) -> list[Column]:
    rows = raw.execute(f"PRAGMA table_info({table})").fetchall()
    kinds = {"name": "text", "seq": "whole"} if table == "sqlite_sequence" else {}
    return [Column(row[1], kinds.get(row[1], kind_of(row[2])), bool(row[3]), row[5]) for row in rows]


def _described(raw: Any, table: str, columns: list[Column], rows: int) -> dict[str, Any]:
    keys = raw.execute(f"PRAGMA foreign_key_list({table})").fetchall()
    return {
        "holds": TABLES.get(table, ""),
        "rows": rows,
        "primary_key": [one.name for one in sorted(columns, key=lambda one: one.key) if one.key],
        "columns": [{"name": one.name, "type": one.kind, "required": one.required} for one in columns],
        "refers_to": [{"column": key[3], "table": key[2], "its_column": key[4]} for key in keys],
    }


def _write_table(raw: Any, table: str, columns: list[Column], file: Any) -> int:
    text = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
    out = csv.writer(text)
    out.writerow([one.name for one in columns])
    names = ", ".join(f'"{one.name}"' for one in columns)
    keys = ", ".join(f'"{one.name}"' for one in sorted(columns, key=lambda one: one.key) if one.key) or "rowid"
    kinds = [one.kind for one in columns]
    count = 0
    for row in raw.execute(f"SELECT {names} FROM {table} ORDER BY {keys}"):  # noqa: S608 - names of our own tables
        out.writerow([written(value, kind) for value, kind in zip(row, kinds, strict=True)])
        count += 1
    text.flush()
    text.detach()
    return count


def _read_table(raw: Any, archive: zipfile.ZipFile, table: str) -> int:
    columns = {one.name: one.kind for one in _columns(raw, table)}
    csv.field_size_limit(1 << 30)  # a fit or a replay may be megabytes
    count = 0
    with archive.open(f"tables/{table}.csv") as file:
        rows = csv.reader(io.TextIOWrapper(file, encoding="utf-8", newline=""), strict=True)
        names = next(rows)
        if set(names) != set(columns):
            raise ValueError(table)
        if table in _AT_FIRST:
            raw.execute(f"DELETE FROM {table}")  # noqa: S608 - a name of our own
        into = ", ".join(f'"{name}"' for name in names)
        statement = f"INSERT INTO {table} ({into}) VALUES ({', '.join('?' * len(names))})"  # noqa: S608
        kinds = [columns[name] for name in names]
        for some in _in_parts(rows):
            values = [[read(cell, kind) for cell, kind in zip(row, kinds, strict=True)] for row in some]
            raw.executemany(statement, values)
            count += len(values)
    return count


def _in_parts(rows: Iterator[list[str]]) -> Iterator[list[list[str]]]:
    part: list[list[str]] = []
    for row in rows:
        part.append(row)
        if len(part) == _AT_ONCE:
            yield part
            part = []
    if part:
        yield part


def _read_photos(archive: zipfile.ZipFile, folder: Path) -> None:
    for name in archive.namelist():
        parts = PurePosixPath(name).parts
        if parts[0] != FOLDER or not name.endswith(".jpg"):
            continue
        if not _PICTURE.fullmatch(name):
            raise ValueError(name)  # a name that may lead elsewhere
        target = folder.joinpath(*parts)
        target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        target.write_bytes(archive.read(name))
        target.chmod(0o600)


def _no_export(source: Path) -> BadInput:
    return BadInput(
        gettext("{name} is no export of this application, or it is damaged.", name=source.name),
        gettext("A zip as “sourcing export” writes it."),
        gettext("Choose another file."),
        field="file",
    )
