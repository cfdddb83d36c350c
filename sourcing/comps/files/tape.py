"""Read delimited text record by record, going on behind a record that cannot be read.

The csv module raises at a quote that is opened and never closed only after it has swallowed what follows. The lines it
took are kept until a record is whole, so that only the line with that quote is given up.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from itertools import islice

from sourcing.comps.files import limits
from sourcing.comps.files.blocks import Fault
from sourcing.comps.files.encodings import ACCEPTED
from sourcing.comps.lines import Lines
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop

_ESCAPED, _REPLACED = re.compile("[\ud800-\udfff]"), re.compile("\ufffd")  # how undecodable bytes are handed on
_NEVER_CLOSED = gettext_noop("A quote is opened in it and never closed.")
_RULE = gettext_noop(
    "As of RFC 4180 a cell with a delimiter, a quote or a line break stands in double quotes, and a quote inside it is "
    "doubled. Correct that row."
)


class Tape:
    """The records of a text, each a list of cells or the fault that took its place.

    Parameters
    ----------
    lines : Lines
        The text.
    delimiter : str
        What stands between cells.
    doubtful : bool
        The bytes do not all decode; rows with such places are faults.
    encoding : str
        Python's name of it.
    """

    def __init__(self, lines: Lines, delimiter: str, *, doubtful: bool = False, encoding: str = "utf-8") -> None:
        csv.field_size_limit(limits.LARGEST_CELL)
        self._lines = lines
        self._delimiter = delimiter
        self._doubtful = doubtful
        self._encoding = ACCEPTED.get(encoding, encoding)
        self._bad = _ESCAPED if encoding == "utf-8" else _REPLACED
        self._taken: list[str] = []
        self._length = 0

    def take(self, count: int, number: int) -> list[list[str] | Fault]:
        """Return the next records, at most `count`, the first of which is row `number` of the file."""
        if self._doubtful:
            return self._one_by_one(count, number)
        self._taken, self._length = [], 0
        try:
            return list(islice(csv.reader(self._recorded(), delimiter=self._delimiter, strict=True), count))
        except (csv.Error, _TooLong):
            self._lines.put_back(self._taken)
        return self._one_by_one(count, number)

    def _one_by_one(self, count: int, number: int) -> list[list[str] | Fault]:
        records: list[list[str] | Fault] = []
        while len(records) < count:
            record = self._one(number + len(records))
            if record is None:
                break
            records.append(record)
        return records

    def _one(self, number: int) -> list[str] | Fault | None:
        self._taken, self._length = [], 0
        try:
            record = next(csv.reader(self._recorded(), delimiter=self._delimiter, strict=True), None)
        except csv.Error as error:
            self._lines.put_back(self._taken[1:])
            return Fault(number, self._taken[0][:60].strip(), _words(str(error), len(self._taken)), gettext(_RULE))
        except _TooLong as error:
            raise BadInput(
                gettext(
                    "Row {number} goes on for more than {longest_line} characters.",
                    number=number,
                    longest_line=f"{limits.LONGEST_LINE:,}",
                ),
                gettext("A row a line; a quote that is opened is closed."),
                gettext("Correct that row and load the file again."),
                field="file",
            ) from error
        if self._doubtful and record is not None:
            wrong = next((cell for cell in record if self._bad.search(cell)), None)
            if wrong is not None:
                return Fault(
                    number,
                    self._bad.sub("?", wrong)[:60],
                    gettext("It holds bytes that are no {encoding}.", encoding=gettext(self._encoding)),
                    gettext("Write the row again, or choose another encoding for the file."),
                )
        return record

    def _recorded(self) -> Iterator[str]:
        for line in self._lines:
            self._taken.append(line)
            self._length += len(line)
            if self._length > limits.LONGEST_LINE:
                raise _TooLong
            yield line


class _TooLong(Exception):
    """The lines taken are longer than one row may be."""


def _words(error: str, lines: int) -> str:
    if "unexpected end" in error:
        return gettext(_NEVER_CLOSED)
    if "field larger" in error:
        most = f"{limits.LARGEST_CELL:,}"
        if lines == 1:
            return gettext("A cell is longer than {most} characters.", most=most)
        return gettext("A cell is longer than {most} characters, or a quote is never closed.", most=most)
    if "expected after" in error:
        return gettext("Text follows a closing quote.") if lines == 1 else gettext(_NEVER_CLOSED)
    return gettext("It cannot be read: {error}.", error=error)
