"""The table as it was known on a day of the past."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sourcing.comps.lookup import COLUMNS_READ
from sourcing.tuning.known import EVIDENCE, TABLE, begun_between, known_on

OPEN, SOLD, ENDED = 0, 1, 2


def row(**values: Any) -> tuple[Any, ...]:
    blank = dict.fromkeys(COLUMNS_READ, None) | {"status": OPEN, "ask": 5000, "size": "", "condition": ""}
    return tuple({**blank, **values}[name] for name in COLUMNS_READ)


def told(found: tuple[Any, ...]) -> dict[str, Any]:
    return {name: value for name, value in zip(COLUMNS_READ, found, strict=True) if name in EVIDENCE._fields}


CASES = {
    "sold by then": (
        row(status=SOLD, sold=4000, listed=10, ended=50),
        {"status": SOLD, "sold": 4000, "listed": 10, "ended": 50, "seen": None},
    ),
    "sold later: open, last seen that day": (
        row(status=SOLD, sold=4000, listed=10, ended=51),
        {"status": OPEN, "sold": None, "listed": 10, "ended": None, "seen": 50},
    ),
    "ended unsold later: open": (
        row(status=ENDED, listed=10, ended=90),
        {"status": OPEN, "sold": None, "listed": 10, "ended": None, "seen": 50},
    ),
    "still open today: last seen that day": (
        row(listed=10, seen=90),
        {"status": OPEN, "sold": None, "listed": 10, "ended": None, "seen": 50},
    ),
    "open and not seen since": (
        row(listed=10, seen=30),
        {"status": OPEN, "sold": None, "listed": 10, "ended": None, "seen": 30},
    ),
    "listed later": (row(status=SOLD, sold=4000, listed=51, ended=60), None),
    "sold on a day nobody wrote down": (row(status=SOLD, sold=4000, listed=10), None),
    "sold later, listed who knows when": (row(status=SOLD, sold=4000, ended=60), None),
    "sold by then, listed who knows when": (
        row(status=SOLD, sold=4000, ended=40),
        {"status": SOLD, "sold": 4000, "listed": None, "ended": 40, "seen": None},
    ),
    "open, seen first later": (row(seen=60), None),
}


@pytest.mark.parametrize("case", CASES)
def test_a_row_as_it_was_known_on_day_50(case: str) -> None:
    given_row, expected = CASES[case]
    found = known_on([given_row], 50, EVIDENCE)
    assert [told(one) for one in found] == ([] if expected is None else [expected])


days = st.one_of(st.none(), st.integers(0, 100))


@given(st.sampled_from([OPEN, SOLD, ENDED]), days, days, days, st.integers(1, 9999), st.integers(0, 100))
def test_nothing_of_a_later_day_is_left(
    status: int, listed: int | None, ended: int | None, seen: int | None, sold: int, day: int
) -> None:
    one = row(status=status, listed=listed, ended=ended, seen=seen, sold=sold if status == SOLD else None)
    for found in known_on([one], day, EVIDENCE):
        values = told(found)
        assert all(values[name] is None or values[name] <= day for name in ("listed", "ended", "seen"))
        assert values["sold"] is None or values["ended"] is not None


def test_the_table_of_the_fit_has_its_values_at_the_same_names() -> None:
    from sourcing import fitting

    columns = fitting.TABLE.split("FROM")[0].removeprefix("SELECT").split(",")
    names = [column.strip().split(".")[-1] for column in columns]
    assert {name: names[at] for name, at in TABLE._asdict().items()} == {name: name for name in TABLE._fields}


def test_later_listings_are_those_begun_after_the_day() -> None:
    rows = [row(listed=50), row(listed=51), row(listed=80), row(listed=81), row(status=SOLD, sold=100, ended=70)]
    assert begun_between(rows, 50, 80) == [rows[1], rows[2], rows[4]]
