"""What the open haul holds of an item, and how many more are worth taking."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
import web_examples

from sourcing import haul, history
from sourcing.alike import alike, thing
from sourcing.answer import Verdict
from sourcing.held import NONE, Held, held
from sourcing.stock.bring import bring
from sourcing.stock.moves import give_up
from sourcing.stock.shelf import find
from sourcing.storage import Store


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Store:
    return new_store()


def told(store: Store, check_id: int, verdict: Verdict) -> Held:
    return held(store, check_id, json.loads(json.dumps(verdict.as_dict())))


def test_pieces_taken_by_another_check_of_the_item_count(store: Store) -> None:
    verdict = web_examples.verdict()
    assert verdict.worth_taking == 2
    first, again = history.record(store, verdict), history.record(store, verdict)
    assert told(store, again, verdict) == NONE
    line = haul.take(store, first)
    assert told(store, first, verdict) == Held(1, 0, line, 1, "In the haul: 1. 1 more is worth taking.")
    assert told(store, again, verdict) == Held(1, 0, None, 0, "In the haul: 1. 1 more is worth taking.")
    own = haul.take(store, again, 3)
    assert told(store, again, verdict) == Held(
        4, 0, own, 3, "In the haul: 4. No more are worth taking: 2 are.", True, True
    )
    haul.undo(store, line)
    assert told(store, first, verdict).line is None
    assert told(store, first, verdict).pieces == 3


def test_other_items_and_hauls_that_were_closed_do_not(store: Store) -> None:
    verdict, other = web_examples.verdict(), web_examples.unknown()
    check_id, another = history.record(store, verdict), history.record(store, other)
    haul.take(store, another, 4)
    assert told(store, check_id, verdict) == NONE
    assert told(store, another, other).words == "In the haul: 4."  # without a forecast no number is worth taking
    haul.take(store, check_id)
    haul.start(store, "Next")
    assert told(store, check_id, verdict) == NONE


def test_no_number_is_named_where_none_was_looked_for(store: Store) -> None:
    verdict = web_examples.verdict().but({"worth_taking": 8})
    check_id = history.record(store, verdict)
    haul.take(store, check_id, 8)
    words = "In the haul: 8. Whether more are worth taking was not looked at."
    found = told(store, check_id, verdict)
    assert (found.words, found.enough, found.no_more) == (words, True, False)
    old = web_examples.verdict().but({"worth_taking": None})
    assert told(store, check_id, old).words == "In the haul: 8."


def test_unsold_pieces_in_stock_count_too(store: Store) -> None:
    verdict = web_examples.verdict()
    check_id = history.record(store, verdict)
    haul.take(store, check_id, 3)
    haul_id = haul.current(store).id
    assert haul_id is not None
    bring(store, haul_id, place="Tannery Row")
    assert told(store, check_id, verdict) == Held(
        0, 3, None, 0, "In stock, unsold: 3. No more are worth taking: 2 are.", True, True
    )
    (newest, *_rest) = find(store)
    give_up(store, [newest.id], date.today())
    haul.take(store, history.record(store, verdict))
    assert told(store, check_id, verdict).words == (
        "In the haul: 1. In stock, unsold: 2. No more are worth taking: 2 are."
    )
    other = verdict.but({"item": replace(verdict.item, root=99, gtin="", style_code="ZZ1", label="Another")})
    assert told(store, history.record(store, other), other) == NONE


ITEM = {"root": 7, "label": "Loafer", "gtin": "", "style_code": "OS954107", "size": "", "condition": ""}
BARCODE, ANOTHER = "09520000010737", "09520000010744"


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ({"gtin": BARCODE}, {}, True),  # by its barcode, and by its style code alone
        ({"gtin": BARCODE}, {"gtin": BARCODE, "size": "9"}, True),
        ({"gtin": BARCODE}, {"gtin": ANOTHER}, False),
        ({"gtin": BARCODE}, {"size": "9"}, False),  # which may be another
        ({"size": "9"}, {"size": " 9 "}, True),
        ({"size": "9"}, {"size": "10"}, False),
        ({"size": "9"}, {}, True),
        ({"condition": "used"}, {"condition": "New"}, False),
        ({"condition": "used"}, {"condition": ""}, True),
        ({"flags": ["no_box"]}, {}, True),  # boxed or not, its buyers are the same
        ({}, {"root": 8}, False),
        ({"root": None}, {"root": None, "label": "LOAFER"}, True),
        ({"root": None}, {"root": None, "label": "Boot"}, False),
    ],
)
def test_copies_of_one_item(one: dict[str, Any], other: dict[str, Any], same: bool) -> None:
    first, second = thing({**ITEM, **one}), thing({**ITEM, **other})
    assert alike(first, second) is alike(second, first) is same
