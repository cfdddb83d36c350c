"""Open tables of prices, in dialects of their own, told by what the columns mean: at most one put right by hand."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from tables import TABLES, Table

from sourcing.comps.meaning.questions import Known, Question, Sample, answered, fill, questions
from sourcing.comps.meaning.recognise import recognise
from sourcing.comps.read import opened
from sourcing.comps.sniff import sniff

pytestmark = pytest.mark.published
MOST_ASKED, MOST_WRONG = 3, 1


def outcome(table: Table, folder: Path, whole: bool = False) -> tuple[list[str], list[str]]:
    """Return the ids of the questions asked, and the columns that must be put right when they are answered.

    What is looked at is the first look's rows, or with `whole` all rows of the file.
    """
    path = folder / "table"
    path.write_bytes(table.content())
    seen = sniff(path)
    if seen.asks:  # an encoding that the bytes leave open is picked before any column is looked at
        seen = sniff(path, encoding=table.encoding)
    assert seen.header == table.header
    rows: Sequence[Sequence[str]] = seen.rows
    if whole:
        with opened(path, seen.form) as read:
            rows = [row for block in read.blocks() for row in block.rows]
    found = recognise(seen.header, rows, Known(), form=seen.form)
    sample = Sample.of(seen.header, rows)
    layout, asked, left = found.layout, list[str](), found.questions
    while left and len(asked) <= MOST_ASKED + 3:
        asked += [one.id for one in left]
        layout = fill(answered(layout, {one.id: _answer(table, one) for one in left}), sample, Known())
        left = tuple(one for one in questions(layout, sample, Known()) if one.id not in asked)
    wrong = []
    for place, name in enumerate(seen.header):
        fields = {use.field for use in layout.uses if use.column == place and not use.extract}
        right = {one.rstrip("?") for one in table.means.get(name, "").split("|")} - {""}
        missing = bool(right) and "?" not in table.means[name] and not fields
        if missing or len(fields) > 1 or not fields <= right:
            wrong.append(f"{name}: {', '.join(sorted(fields)) or 'nothing'}")
    return asked, wrong


def _answer(table: Table, asked: Question) -> str:
    kind = asked.id.partition(":")[0]
    if kind == "item":
        return str(table.header.index(table.answers["item"]))
    said = table.answers.get("currency", "") if kind == "currency" else table.answers.get(kind, "")
    values = [choice.value for choice in asked.choices]
    return said if said in values else values[-1]


@pytest.mark.parametrize("whole", [False, True], ids=["first rows", "all rows"])
@pytest.mark.parametrize("table", TABLES, ids=lambda one: f"{one.source}, {one.kind}")
def test_at_most_one_column_to_put_right(table: Table, whole: bool, tmp_path: Path) -> None:
    asked, wrong = outcome(table, tmp_path, whole)
    assert len(wrong) <= MOST_WRONG, wrong
    assert len(asked) <= MOST_ASKED, asked
