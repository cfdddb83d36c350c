"""How one file is to be read: which of its columns feed which field, and how each column writes its values.

A layout is plain data, kept as JSON beside the load it served and under the fingerprint of the file's header, so that
the next file like it needs no questions. It names no source and knows none: columns are told by what they mean.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from sourcing.errors import BadInput
from sourcing.language import gettext

DayOrder = Literal["ymd", "dmy", "mdy", "serial 1900", "serial 1904", "epoch"]
Mark = Literal["", ".", ",", "'", " "]


_BY_PLACE = ("zeros", "total")  # of the words, those that are told by the place of a column


@dataclass(frozen=True)
class FileForm:
    """How the bytes of a file become cells; the parts that do not apply are left as they are."""

    kind: Literal["text", "workbook", "json lines", "parquet"] = "text"
    member: str = ""  # of a zip archive
    encoding: str = "utf-8"
    delimiter: str = ","
    sheet: str = ""  # of a workbook; "" takes the first visible one
    header_row: int = 1  # where the header stands; what is above it is skipped


@dataclass(frozen=True)
class Use:
    """One file column feeding one field.

    Attributes
    ----------
    field : the documented column it feeds, or "listing" or "currency".
    column : its place in the file, from 0.
    extract : the value is found inside the text (a title that holds the size), the rest of the text is left alone.
    """

    field: str
    column: int
    extract: bool = False


@dataclass(frozen=True)
class Money:
    """How a column writes amounts: "1.299,50" has the decimal mark "," and the thousands mark "."."""

    decimal: Mark = "."
    thousands: Mark = ""


@dataclass(frozen=True)
class Layout:
    """All that is needed to read a file, beside the file.

    Attributes
    ----------
    header : the file's own column names, in its order.
    uses : which column feeds which field; at most one plain use a field, and an extract fills only what that leaves
        empty.
    fixed : the text every row has in a field no column feeds, written as the documented format writes it.
    money, days : how columns of amounts and of days are written, by place; left out is the documented way.
    words : for "status" and "condition": the file's folded words and what they stand for.
    zeros : places of code columns whose numbers lost leading zeros or became 7.62E+11, where the user has agreed to the
        repair that the check digit confirms.
    """

    header: tuple[str, ...]
    uses: tuple[Use, ...]
    form: FileForm = FileForm()
    fixed: Mapping[str, str] = field(default_factory=dict)
    money: Mapping[int, Money] = field(default_factory=dict)
    days: Mapping[int, DayOrder] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    zeros: tuple[int, ...] = ()

    def to_json(self) -> str:
        """Write the layout as one line of JSON."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Layout:
        """Read what `to_json` wrote.

        Raises
        ------
        KeyError, TypeError, ValueError
            It is something else.
        """
        said: dict[str, Any] = json.loads(text)
        return cls(
            tuple(said["header"]),
            tuple(Use(**use) for use in said["uses"]),
            FileForm(**said["form"]),
            dict(said["fixed"]),
            {int(place): Money(**marks) for place, marks in said["money"].items()},
            {int(place): order for place, order in said["days"].items()},
            {name: dict(words) for name, words in said["words"].items()},
            tuple(said["zeros"]),
        )


def plain_name(name: str) -> str:
    """Return a column name without what does not tell it from others: case and spaces."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def fingerprint(header: Sequence[str]) -> str:
    """Return what files with the same columns share, whatever the case, the spaces and the order of the columns."""
    return hashlib.blake2b("\x1f".join(sorted(map(plain_name, header))).encode(), digest_size=16).hexdigest()


def used(layout: Layout) -> set[int]:
    """Return the places of the columns a layout reads."""
    return {use.column for use in layout.uses}


def fitted(layout: Layout, header: Sequence[str]) -> Layout:
    """Return a layout for a file whose columns stand in another order, or beside columns it does not know.

    Raises
    ------
    BadInput
        A column that is used is missing.
    """
    if layout.header == tuple(header):
        return layout
    there = {plain_name(name): place for place, name in reversed(list(enumerate(header)))}
    place_of = {old: there.get(plain_name(name)) for old, name in enumerate(layout.header)}
    missing = [layout.header[old] for old in sorted(used(layout)) if place_of[old] is None]
    if missing:
        raise BadInput(
            gettext("The file has no column {missing}.", missing=f"{missing[0]!r}"),
            gettext(
                "A file with the columns {layout}.",
                layout=", ".join(layout.header[old] for old in sorted(used(layout))),
            ),
            gettext("Match its columns anew."),
            field="file",
        )
    move = {old: new for old, new in place_of.items() if new is not None}
    return replace(
        layout,
        header=tuple(header),
        uses=tuple(replace(use, column=move[use.column]) for use in layout.uses),
        money={move[old]: marks for old, marks in layout.money.items() if old in move},
        days={move[old]: order for old, order in layout.days.items() if old in move},
        words={
            kind: {str(move.get(int(old), -1)): said for old, said in words.items()} if kind in _BY_PLACE else words
            for kind, words in layout.words.items()
        },
        zeros=tuple(sorted(move[old] for old in layout.zeros if old in move)),
    )
