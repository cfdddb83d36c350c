"""Look at a file before it is read: what it is, how its bytes become cells, and what the user has to pick."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Literal

from sourcing.comps.files.encodings import Candidate
from sourcing.comps.files.stage import Staged
from sourcing.comps.layout import FileForm
from sourcing.comps.read import records, unpacked
from sourcing.language import gettext, gettext_noop

SHOWN = 20  # rows
_ENDINGS = {
    ".csv": "text",
    ".tsv": "text",
    ".tab": "text",
    ".txt": "text",
    ".xlsx": "workbook",
    ".xlsm": "workbook",
    ".ods": "workbook",
    ".jsonl": "json lines",
    ".ndjson": "json lines",
    ".parquet": "parquet",
    ".zip": "zip",
}
_SAID = {
    "text": gettext_noop("delimited text"),
    "workbook": gettext_noop("a workbook"),
    "json lines": gettext_noop("JSON lines"),
    "parquet": gettext_noop("Parquet"),
    "zip": gettext_noop("a zip archive"),
}


@dataclass(frozen=True)
class Sniffed:
    """What a look at a file tells.

    Attributes
    ----------
    form : how to open it; where `asks` is filled, with that part yet to be picked.
    asks : "member" or "encoding", where the file does not say which; "" when `form` is complete.
    wrong : why it asks.
    members : the files of a zip archive.
    sheets, hidden : the visible and the hidden sheets of a workbook.
    candidates : what encodings it may be in, with rows in which they differ.
    header : the column names, told apart.
    rows, numbers : the first rows below it, and their numbers in the file.
    notes : how the file was understood where that is not plain.
    """

    form: FileForm
    asks: Literal["", "member", "encoding"] = ""
    wrong: str = ""
    members: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    numbers: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()


def sniff(
    source: str | Path | BinaryIO, name: str = "", *, member: str = "", encoding: str = "", sheet: str = ""
) -> Sniffed:
    """Find how a file becomes rows of text, by its content alone.

    Parameters
    ----------
    source : str, Path or binary stream
        The file.
    name : str
        What the user calls it; an ending that says something else than the content is noted.
    member, encoding, sheet : str
        What the user picked of an earlier look's `members`, `candidates`, `sheets` and `hidden`.

    Raises
    ------
    BadInput, NotFound
        It is no file that is read.
    """
    picked = FileForm(member=member, encoding=encoding, sheet=sheet)
    name = name or (Path(source).name if isinstance(source, str | Path) else "")
    with unpacked(source, picked, given=False, name=name) as staged:
        notes = _ending(name, staged)
        form = FileForm(staged.kind, staged.member, staged.encoding, sheet=staged.sheet)
        seen = Sniffed(
            form, staged.asks, staged.wrong, staged.members, staged.sheets, staged.hidden, staged.candidates,
            notes=tuple(notes),
        )  # fmt: skip
        if staged.asks:
            return seen
        found, form = records(staged, None)
        block = next(found.blocks(), None)
        notes += [" ".join(part for part in (one.reason, one.fix) if part) for one in found.notes]
        rows = tuple(map(tuple, block.rows[:SHOWN])) if block else ()
        numbers = tuple(block.numbers[:SHOWN]) if block else ()
        return replace(seen, form=form, header=tuple(found.header), rows=rows, numbers=numbers, notes=tuple(notes))


def _ending(name: str, staged: Staged) -> list[str]:
    """Note a name whose ending says another kind than the content is."""
    ending = Path(name).suffix.lower()
    kind = "zip" if staged.members else staged.kind
    said = _ENDINGS.get(ending, kind)
    if said == kind or staged.asks == "encoding":
        return []
    return [
        gettext(
            "The file's name ends in {ending}, but it is {kind} and was read as that.",
            ending=ending,
            kind=gettext(_SAID[kind]),
        )
    ]
