"""The break-even table as a CSV file, of the page and of the command alike."""

from __future__ import annotations

import csv
import io

from sourcing.ladder import COLUMNS, Ladder, as_row
from web.commands.check import inert


def as_csv(found: Ladder, *, sort: str, find: str = "") -> str:
    """Write every line, those with too little to go on last; no cell of text is taken for a formula."""
    text = io.StringIO(newline="")
    out = csv.writer(text)
    out.writerow(COLUMNS)
    for little in (False, True):
        for one in found.lines(little=little, sort=sort, find=find):
            out.writerow(map(inert, as_row(one).values()))
    return text.getvalue()
