"""The haul's figures, worked by hand, and its undo."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
import web_examples

from sourcing import access, haul, history
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.settings import load_settings
from sourcing.storage import Store, open_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(str(tmp_path / "comps.db"))
    yield store
    store.close()


def test_sums_worked_by_hand(store: Store) -> None:
    first = history.record(store, web_examples.verdict())
    second = history.record(store, web_examples.unknown())
    haul.start(store, "  Tannery   Row ")
    haul.take(store, first, 3)
    haul.take(store, second)
    view = haul.current(store)
    minutes = load_settings(store).for_category("shoes").terms.prep_minutes
    assert view.store == "Tannery Row"
    assert view.pieces == 4
    assert view.outlay == Decimal("80.22")  # 3 x 26.74; the unknown one has no landed cost
    assert view.profit_after_labour == Decimal("28.00")  # its copies bring 13.20, 9.40 and 5.40
    assert view.profit_before_labour == Decimal("47.08")  # and 6.36 of labour each
    assert view.prep_minutes == 4 * minutes
    assert view.profit_per_hour == Decimal("47.08") * 60 / (4 * minutes)
    assert view.unpriced == 1


def test_a_second_line_of_the_same_item_goes_on_counting(store: Store) -> None:
    first = history.record(store, web_examples.verdict())
    again = history.record(store, web_examples.verdict())
    haul.take(store, first, 1)
    line = haul.take(store, again, 4)
    later, earlier = haul.current(store).items
    assert earlier.line_after == Decimal("13.20")
    assert later.line_after == Decimal("19.00")  # 9.40, 5.40, 2.10, and 2.10 beyond the last that was looked at
    haul.undo(store, line)
    assert haul.current(store).profit_after_labour == Decimal("13.20")


def test_undo_and_redo_are_exact(store: Store) -> None:
    check_id = history.record(store, web_examples.verdict())
    line = haul.take(store, check_id, 2)
    before = haul.current(store)
    haul.undo(store, line)
    assert haul.current(store).outlay == 0
    assert haul.current(store).items[0].undone
    haul.redo(store, line)
    assert haul.current(store) == before


def test_a_tap_sent_twice_adds_nothing(store: Store) -> None:
    check_id = history.record(store, web_examples.verdict())
    assert haul.take(store, check_id, 1, "tap") == haul.take(store, check_id, 1, "tap")
    assert haul.current(store).pieces == 1


def test_starting_closes_the_open_one(store: Store) -> None:
    check_id = history.record(store, web_examples.verdict())
    line = haul.take(store, check_id)
    haul.start(store, "Next")
    assert haul.current(store).items == ()
    with pytest.raises(Refused, match="closed"):
        haul.undo(store, line)
    assert (haul.close(store), haul.close(store)) == (1, 0)


def test_bad_input(store: Store) -> None:
    for count in (0, -1, 1000):
        with pytest.raises(BadInput, match=str(count)):
            haul.take(store, 1, count)
    with pytest.raises(NotFound):
        haul.take(store, 1)
    with pytest.raises(NotFound):
        haul.undo(store, 1)
    with pytest.raises(BadInput, match="81"):
        haul.start(store, "x" * 81)


def test_access_keys(store: Store) -> None:
    first, second = access.grant(store), access.grant(store)
    assert access.opens(store, first)
    assert not access.opens(store, "")
    assert not access.opens(store, first[:-1])
    assert access.revoke(store, access.keys(store)[-1].id) == 1
    assert not access.opens(store, first)
    assert access.opens(store, second)
    with pytest.raises(NotFound):
        access.revoke(store, 99)
    assert access.revoke(store) == 1
    assert not access.opens(store, second)
