"""What a load of comps did."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one row of a file."""

    row: int  # as a spreadsheet numbers it: the header is row 1
    column: str
    value: str
    reason: str
    fix: str
    rejected: bool = True  # False: the row is kept, this is only a note


@dataclass(frozen=True)
class LoadReport:
    """What a load did: ``read == new + known + rejected`` always holds."""

    file_name: str
    batch_id: int | None  # None: nothing was stored
    read: int
    new: int
    known: int
    rejected: int
    problems: tuple[Problem, ...] = ()
    problems_total: int = 0  # problems beyond the stored list are counted here too
    as_of: date | None = None
    shown: tuple[dict[str, str], ...] = ()  # the first good rows as they would be stored, of a dry run

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping."""
        day = None if self.as_of is None else self.as_of.isoformat()
        problems = [dict(vars(problem)) for problem in self.problems]
        return {**vars(self), "problems": problems, "as_of": day, "shown": list(map(dict, self.shown))}
