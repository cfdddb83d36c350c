"""One stored value as a cell of a CSV file, and back without a loss.

A number in a column of numbers and a text in a column of texts stand as they are; what else there may be begins with a
backslash: nothing at all, bytes, a text that begins with a backslash itself or that a spreadsheet would take for a
formula, a value of another type than its column's.
"""

from __future__ import annotations

import base64
import binascii

Value = str | int | float | bytes | None
NULL, TEXT, BYTES, WHOLE, REAL = "\\N", "\\t", "\\x", "\\i", "\\f"
_MARKED = ("\\", "=", "+", "-", "@", "\t", "\r")


def written(value: Value, kind: str) -> str:
    """Write a value of a column whose kind is "text", "whole", "real" or "bytes"."""
    if value is None:
        return NULL
    if isinstance(value, bytes):
        return BYTES + base64.b64encode(value).decode()
    if isinstance(value, str):
        return value if kind == "text" and not value.startswith(_MARKED) else TEXT + value
    if isinstance(value, int):
        return str(value) if kind == "whole" else f"{WHOLE}{value}"
    return repr(value) if kind == "real" else f"{REAL}{value!r}"  # repr reads back as the very same number


def read(cell: str, kind: str) -> Value:
    """Read a cell back.

    Raises
    ------
    ValueError
        The cell is none that `written` makes.
    """
    if cell == NULL:
        return None
    mark, rest = cell[:2], cell[2:]
    if mark == TEXT:
        return rest
    if mark == BYTES:
        try:
            return base64.b64decode(rest, validate=True)
        except binascii.Error as error:
            raise ValueError(f"no bytes: {rest[:40]}") from error
    if mark == WHOLE or (kind == "whole" and not cell.startswith("\\")):
        return int(rest if mark == WHOLE else cell)
    if mark == REAL or (kind == "real" and not cell.startswith("\\")):
        return float(rest if mark == REAL else cell)
    if kind == "text" and not cell.startswith("\\"):
        return cell
    raise ValueError(f"no cell of a column of {kind}: {cell[:40]}")


def kind_of(declared: str) -> str:
    """Return the kind of a column by the type it is declared with."""
    plain = declared.upper()
    if "INT" in plain:
        return "whole"
    if "CHAR" in plain or "TEXT" in plain or "CLOB" in plain:
        return "text"
    if "BLOB" in plain or not plain:
        return "bytes"
    return "real"
