"""Match a file's header with the documented columns."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from sourcing.comps.columns import IDENTIFYING, NAMES
from sourcing.comps.report import Problem
from sourcing.errors import BadInput
from sourcing.language import gettext


@dataclass(frozen=True)
class Header:
    """Where each documented column stands in a row."""

    places: dict[str, int]
    notes: tuple[Problem, ...]  # columns that were ignored


def match_header(header: list[str], mapping: Mapping[str, str] | None = None) -> Header:
    """Find the documented columns in a header; case and spaces do not matter, others are noted and ignored.

    Parameters
    ----------
    header : list of str
        The file's header row.
    mapping : mapping of str to str, optional
        The file's own column name to the documented one, tried before the documented names.

    Raises
    ------
    BadInput
        A documented column stands twice, or none is there that could identify an item.
    """
    named = {fold_name(theirs): ours for theirs, ours in (mapping or {}).items()}
    places: dict[str, int] = {}
    notes: list[Problem] = []
    for place, theirs in enumerate(header):
        name = named.get(fold_name(theirs), fold_name(theirs))
        if name not in NAMES:
            fix = _closest(name)
            reason = gettext("It is no documented column; it was ignored.")
            notes.append(Problem(1, theirs[:200], "", reason, fix, False))
        elif name in places:
            raise BadInput(
                gettext("The column {name} stands twice in the header.", name=name),
                next_step=gettext("Remove or rename one."),
            )
        else:
            places[name] = place
    if not any(name in places for name in IDENTIFYING):
        raise BadInput(
            _nothing_identifies(header),
            gettext("The documented names: {names}.", names=", ".join(NAMES)),
            field="header",
        )
    if "status" not in places and "sold_price" not in places:
        raise BadInput(
            gettext("The file has neither a status nor a sold_price column, so no row tells how its listing ended."),
            gettext("At least one of the two."),
            next((f"{note.column}: {note.fix}" for note in notes if note.fix), ""),
            field="header",
        )
    return Header(places, tuple(notes))


def fold_name(name: str) -> str:
    """Return a column name as the documented ones are written."""
    return "_".join(unicodedata.normalize("NFKC", name).casefold().replace("_", " ").split())


def _closest(name: str) -> str:
    from difflib import get_close_matches

    close = get_close_matches(name[:200], NAMES, 1, 0.6)
    return gettext("Rename it {name} if that is what it holds.", name=close[0]) if close else ""


def _nothing_identifies(header: list[str]) -> str:
    from difflib import get_close_matches

    wrong = gettext("The file has no column that says what the item is: gtin, style_code or title.")
    if len(header) == 1 and any(mark in header[0] for mark in ";\t|"):
        return f"{wrong} {gettext('Its columns seem to be separated by something other than a comma.')}"
    close = [(name, get_close_matches(fold_name(name)[:200], IDENTIFYING, 1, 0.5)) for name in header]
    hints = [gettext("{name} looks like {other}", name=name[:60], other=found[0]) for name, found in close if found]
    return f"{wrong} {'; '.join(hints)}." if hints else wrong
