"""Lists of items seen with a price: what is read of them, and what is refused with its row."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from sourcing.errors import BadInput
from sourcing.storage import Store, open_store
from sourcing.tuning.occasions import from_history
from sourcing.tuning.priced import priced

DAY = date(2026, 3, 1)
NUMBER = (DAY - date(1970, 1, 1)).days


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(str(tmp_path / "comps.db"))
    yield store
    store.close()


def _read(store: Store, text: str, seen_on: date | None = None) -> list[tuple[int, object]]:
    file = io.BytesIO(text.encode())
    file.name = "list.csv"
    return [(day, (query.code, query.shelf_price)) for day, query in priced(store, file, seen_on)]


def test_each_row_is_an_occasion_on_its_day(store: Store) -> None:
    text = "code,shelf_price,seen_on\nAB-1,12.00,2026-03-01\nAB-2,3 for 20,\n"
    assert _read(store, text, DAY + timedelta(1)) == [
        (NUMBER, ("AB-1", Decimal("12.00"))),
        (NUMBER + 1, ("AB-2", Decimal("6.67"))),
    ]


def test_they_stand_beside_the_history(store: Store) -> None:
    file = io.BytesIO(b"code,shelf_price\nAB-1,12.00\n")
    file.name = "list.csv"
    found = from_history(store, NUMBER + 100, priced(store, file, DAY))
    assert [(one.day, one.source, one.shelf) for one in found.occasions] == [(NUMBER, "candidate", Decimal("12.00"))]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("code,shelf_price,seen_on\nAB-1,12.00,2026-03-01\nAB-2,,2026-03-01\n", "Row 3 .* shelf price is missing"),
        ("code,shelf_price\nAB-1,12.00\n", "Row 2 .* on which day"),
        ("code,shelf_price,seen_on\nAB-1,12.00,last week\n", "Row 2 .* “last week” is no day"),
        ("code,shelf_price,seen_on\nAB-1,12.00,2999-01-01\n", "Row 2 .* still to come"),
        ("code,shelf_price,seen_on\nAB-1,12,5o,2026-03-01\n", "Row 2"),
        ("code,shelf_price,seen_on\nAB-1,-4,2026-03-01\n", "Row 2"),
        ("code,shelf_price,seen_on\n", "holds no row"),
        ("colour,seen_on\nred,2026-03-01\n", "no column that says"),
    ],
)
def test_what_cannot_be_used_is_told_with_its_row(store: Store, text: str, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        _read(store, text)
