"""The page about the comps file says what the code does."""

from __future__ import annotations

import re
from dataclasses import astuple
from io import BytesIO
from pathlib import Path

from sourcing.comps import load_file, overview, values
from sourcing.comps.columns import COLUMNS, NAMES
from sourcing.comps.files import child, limits
from sourcing.storage import open_store

PAGE = (Path(__file__).parent.parent / "docs" / "comps_format.md").read_text(encoding="utf-8")


def test_every_column_has_its_row_word_for_word() -> None:
    rows = [
        tuple(cell.strip().strip("`") for cell in line.strip("|").split("|"))
        for line in PAGE.splitlines()
        if line.startswith("| `")
    ]
    assert rows == [astuple(column) for column in COLUMNS]


def test_the_example_loads_without_a_problem() -> None:
    example = re.search(r"```csv\n(.*?)```", PAGE, re.S)
    assert example is not None
    store = open_store("sqlite://")
    report = load_file(store, BytesIO(example[1].encode()), name="example.csv")
    assert report.problems == ()
    seen = overview(store)
    assert (seen.sold, seen.open, seen.ended_unsold) == (1, 1, 1)
    assert example[1].splitlines()[0] == ",".join(NAMES)


def test_limits_are_the_ones_in_force() -> None:
    flat = " ".join(PAGE.split())
    for words in (
        f"{limits.LARGEST_CSV // 10**6} MB, {limits.MOST_ROWS:,} rows, {limits.MOST_COLUMNS} columns and "
        f"{limits.LARGEST_CELL:,} characters",
        f"{limits.PACKED // 10**6} MB, {limits.ENTRIES} parts, {limits.INFLATED // 10**6} MB unpacked, "
        f"no part packed more than {limits.RATIO} times",
        f"{child.MEMORY >> 30} GiB of memory, {child.CPU_SECONDS} seconds of computing or "
        f"{limits.WALL_SECONDS:.0f} seconds",
        f"at most {values.LARGEST:,}",
        f"from {values.EARLIEST.year} on",
    ):
        assert words in flat, words
