"""Read JSON lines: one flat object a line, the keys of all lines united into one header."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from decimal import Context, Decimal
from typing import Any, TextIO

from sourcing.comps.files import limits
from sourcing.comps.files.blocks import Block, Fault, Records
from sourcing.comps.files.shape import distinct
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, separated

_ACCEPTED = gettext_noop("One object a line, its values texts, numbers, true, false or null.")


_HALF = re.compile("[\ud800-\udfff]")


_DIGITS = 15  # what a double surely keeps (IEEE 754, binary64); digits beyond them are noise
_ROUNDED = Context(prec=_DIGITS)


class _Number(str):
    """A number as it is written, so that 12.50 and long codes keep every digit."""


class Unreadable(Exception):
    """A line is no flat object; the argument says why."""


def flat(line: str) -> dict[str, str]:
    """Return the object of one line with its values as text.

    Raises
    ------
    Unreadable
        It is something else.
    """
    try:
        said = json.loads(
            line, parse_float=_Number, parse_int=_Number, parse_constant=_no_number, object_pairs_hook=_once
        )
    except RecursionError as error:
        raise Unreadable(gettext("Its values are nested too deep.")) from error
    except json.JSONDecodeError as error:
        raise Unreadable(
            gettext("It is no JSON: {error} at character {number}.", error=error.msg, number=error.pos + 1)
        ) from error
    if not isinstance(said, dict):
        raise Unreadable(gettext("It is no object."))
    cells = {key: _text(key, value) for key, value in said.items()}
    if ("\\u" in line or not line.isascii()) and any(map(_HALF.search, (*cells, *cells.values()))):
        raise Unreadable(gettext("It holds bytes or escapes that are no character."))
    return cells


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    said = dict(pairs)
    if len(said) < len(pairs):
        raise Unreadable(gettext("It names a key twice."))
    return said


def _no_number(word: str) -> str:
    raise Unreadable(gettext("{word} is no number.", word=word))


def _text(key: str, value: Any) -> str:
    if isinstance(value, _Number):
        if "e" in value.lower():
            number = Decimal(value)
            if abs(number.adjusted()) > 30:
                raise Unreadable(gettext("The number {value} is out of reach.", value=value[:40]))
            return f"{number:f}"
        if "." in value and len(value) > _DIGITS + 1:  # 19.99 computed by a program may be 19.990000000000002
            return f"{_ROUNDED.create_decimal(value).normalize():f}"
        return str(value)
    if isinstance(value, str):
        if len(value) > limits.LARGEST_CELL:
            raise Unreadable(
                gettext("A cell is longer than {most} characters.", most=separated(f"{limits.LARGEST_CELL:,}"))
            )
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()  # as a workbook's cells are written
    if isinstance(value, list):
        raise Unreadable(gettext("The value of {key} is a list itself.", key=key[:60]))
    raise Unreadable(gettext("The value of {key} is an object itself.", key=key[:60]))


class JsonRecords(Records):
    """The united keys and the rows of one file of JSON lines; a row is numbered by its line.

    Parameters
    ----------
    text : callable
        Opens the text from its start; it is read twice.
    sha256 : str
        Of the file.
    block, most : int
        Rows handed on together, rows a file may have.
    """

    def __init__(self, text: Callable[[], TextIO], sha256: str, *, block: int, most: int) -> None:
        self.sha256 = sha256
        self._text = text
        self._block = block
        self._most = most
        keys: dict[str, None] = {}
        for _, line in self._lines():
            try:
                keys.update(dict.fromkeys(flat(line)))
            except Unreadable:
                continue
            if len(keys) > limits.MOST_COLUMNS:
                raise BadInput(
                    gettext("The lines name more than {most} keys.", most=limits.MOST_COLUMNS),
                    gettext("Up to {most}.", most=limits.MOST_COLUMNS),
                    gettext("Leave out those that are not needed and load it again."),
                    field="file",
                )
        if not keys:
            raise BadInput(
                gettext("No line of the file is a flat JSON object."),
                gettext(_ACCEPTED),
                gettext("Write each object on a line."),
                field="file",
            )
        self._keys = list(keys)
        self.said = [" ".join(key.split()) for key in keys]
        self.header = distinct(self.said)

    def _lines(self) -> Iterator[tuple[int, str]]:
        for number, line in enumerate(self._text(), 1):
            if number > self._most:
                most = separated(f"{self._most:,}")
                raise BadInput(
                    gettext("The file has more than {most} rows.", most=most),
                    gettext("Up to {most}.", most=most),
                    gettext("Split it."),
                    field="file",
                )
            if line.strip():
                yield number, line

    def blocks(self) -> Iterator[Block]:
        numbers: list[int] = []
        rows: list[list[str]] = []
        faults: list[Fault] = []
        for number, line in self._lines():
            try:
                said = flat(line)
            except Unreadable as error:
                faults.append(Fault(number, line[:60].strip(), str(error), gettext(_ACCEPTED)))
            else:
                row = [said.get(key, "") for key in self._keys]
                if any(row):
                    numbers.append(number)
                    rows.append(row)
            if len(numbers) + len(faults) >= self._block:
                yield self._packed(numbers, rows, faults)
                numbers, rows, faults = [], [], []
        if numbers or faults:
            yield self._packed(numbers, rows, faults)

    def _packed(self, numbers: list[int], rows: list[list[str]], faults: list[Fault]) -> Block:
        columns = list(zip(*rows, strict=True)) or [()] * len(self._keys)
        return Block(numbers, columns, faults=faults)
