"""Labels: patterns, counters, the check character of ISO/IEC 7064, giving out and reading back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
import web_examples
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from sourcing import haul, history
from sourcing.codes import parse_code
from sourcing.errors import BadInput, Refused
from sourcing.stock import label_pattern, labels, ledger, moves, shelf
from sourcing.stock.bring import bring
from sourcing.storage import Store, open_store

DAY = date(2030, 1, 1)  # a Tuesday of ISO week 1


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(str(tmp_path / "comps.db"))
    store.read("PRAGMA synchronous=OFF")
    number = haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 4)
    bring(store, number)
    yield store
    store.close()


def _labels(store: Store) -> list[str]:
    return [item.label for item in reversed(shelf.find(store))]


def test_counters_go_on_where_they_stopped_for_each_text_around_them(store: Store) -> None:
    labels.give(store, [1, 2], "[store 3]-[year][week]-[count 3]", DAY)
    labels.give(store, [3], "[store 3]-[year][week]-[count 3]", DAY)
    labels.give(store, [4], "[store 3]-[year][week]-[count 3]", date(2030, 1, 8))
    assert _labels(store) == ["TAN-3001-001", "TAN-3001-002", "TAN-3001-003", "TAN-3002-001"]


def test_pieces_that_bear_one_keep_it_and_an_undo_takes_it_off(store: Store) -> None:
    first = labels.give(store, [1], "A[count]", DAY)
    labels.give(store, [1, 2], "A[count]", DAY)
    assert _labels(store)[:2] == ["A1", "A2"]
    with pytest.raises(BadInput, match="Nothing would change"):
        labels.give(store, [1, 2], "A[count]", DAY)
    ledger.undo(store, first)
    assert _labels(store)[:2] == ["", "A2"]


def test_the_check_character_is_that_of_the_standard() -> None:
    # ISO/IEC 7064 MOD 37,36; the example A12425GABC1234002 -> M is that of a global release identifier's guide.
    assert mod_37_36.calc_check_digit("A12425GABC1234002") == "M"
    cut = label_pattern.pattern_of("A12425GABC1234[count 3][check]")
    assert cut.label("A12425GABC1234", 2, "") == "A12425GABC1234002M"


def test_read_back_however_it_is_typed(store: Store) -> None:
    labels.give(store, [1], label_pattern.PATTERN, DAY)
    label = _labels(store)[0]
    bare = label.replace("-", "").lower()
    for typed in (label, label.lower(), f" {label[:4]} {label[4:]} ", label.replace("0", "\uff10"), bare):
        assert [one.id for one in labels.bearers(store, typed, label_pattern.PATTERN)] == [1]
    wrong = label[:-1] + ("A" if label[-1] != "A" else "B")
    unused = "9999-0001" + mod_37_36.calc_check_digit("99990001")
    for typed in (wrong, wrong.replace("-", ""), unused, "9521234567899", "1", ""):
        assert labels.bearers(store, typed, label_pattern.PATTERN) == []
    assert [label_pattern.mistyped(one, label_pattern.PATTERN) for one in (wrong, label, unused, "9521234567899")] == [
        True, False, False, False,
    ]  # fmt: skip


def test_signs_of_any_pattern_may_be_left_out(store: Store) -> None:
    cut = label_pattern.pattern_of("B.7/[store 2]-[count 3][check]")
    label = cut.label("B.7/TA-", 12, "")
    assert cut.spelt(label) == cut.spelt(label.replace(".", "").replace("/", "").replace("-", "")) == label
    assert cut.spelt("C7TA012X") == ""


def test_a_label_by_hand_with_a_wrong_check_character_is_refused(store: Store) -> None:
    label = label_pattern.pattern_of(label_pattern.PATTERN).label("3001-", 7, "")
    with pytest.raises(Refused, match="check character does not fit"):
        labels.set_label(store, 1, label[:-1] + ("A" if label[-1] != "A" else "B"))
    assert _labels(store)[0] == ""
    labels.set_label(store, 1, label)
    assert _labels(store)[0] == label


def test_a_label_by_hand_without_its_signs_is_the_label_with_them(store: Store) -> None:
    cut = label_pattern.pattern_of(label_pattern.PATTERN)
    label, longer = cut.label("3001-", 7, ""), cut.label("3001-", 12345, "")
    with pytest.raises(Refused, match="check character does not fit"):
        labels.set_label(store, 1, label[:-1].replace("-", "") + ("A" if label[-1] != "A" else "B"))
    labels.set_label(store, 1, label.replace("-", "").lower())
    assert _labels(store)[0] == label
    with pytest.raises(Refused, match="on another piece"):
        labels.set_label(store, 2, label.replace("-", ""))
    labels.set_label(store, 2, longer)  # a counter beyond its width
    with pytest.raises(Refused, match="on another piece"):
        labels.set_label(store, 3, longer.replace("-", ""))
    for own in ("952123456786", "9521234567899", "BOX12345"):
        labels.set_label(store, 4, own)
        assert _labels(store)[3] == own


@pytest.mark.parametrize("barcode", ["95212340", "952123456786", "9521234567899"])
def test_a_barcode_is_no_mistyped_label(barcode: str) -> None:
    assert parse_code(barcode).gtin  # GS1 prefix 952
    assert not label_pattern.fits(barcode)
    for pattern in (label_pattern.PATTERN, "[year][week]-[count 3][check]", "[year][month][day]-[count 5][check]"):
        assert not label_pattern.mistyped(barcode, pattern)
    assert not label_pattern.mistyped("BOX12345", "[store]-[count 4][check]")


@given(st.integers(1, 99999), st.integers(0, 8), st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
def test_no_single_wrong_character_passes(number: int, place: int, sign: str) -> None:
    label = label_pattern.pattern_of("3001-[count 5][check]").label("3001-", number, "").replace("-", "")
    wrong = label[:place] + sign + label[place + 1 :]
    assert mod_37_36.is_valid(wrong) == (wrong == label)


def test_a_label_is_on_one_piece_only(store: Store) -> None:
    labels.set_label(store, 1, "box 7")
    assert _labels(store)[0] == "BOX7"
    with pytest.raises(Refused, match="on another piece"):
        labels.set_label(store, 2, "BOX7")
    labels.set_label(store, 1, "")
    labels.set_label(store, 2, "BOX7")
    with pytest.raises(BadInput, match="cannot be a label"):
        labels.set_label(store, 3, "bóx")


@pytest.mark.parametrize(
    ("pattern", "match"),
    [
        ("[colour][count]", r"no field “\[colour\]”"),
        ("A-B", "0 counters"),
        ("[count][count]", "2 counters"),
        ("[check][count]", "comes last"),
        ("ä[count]", "labels do not have"),
        ("[count 4", "labels do not have"),
        ("", "0 counters"),
    ],
)
def test_patterns_that_cannot_be(store: Store, pattern: str, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        labels.give(store, [1], pattern, DAY)


def test_too_long_a_label_says_how_long(store: Store) -> None:
    with pytest.raises(BadInput, match="characters"):
        labels.give(store, [1], "ABCDEFGHIJKLMNOPQRSTU-[count 5]", DAY)
    assert _labels(store) == [""] * 4


def test_the_bin_is_part_of_it_where_asked(store: Store) -> None:
    moves.put_in(store, [2], "Größe B 4")
    labels.give(store, [2], "[bin 4]-[count 2]", DAY)
    assert _labels(store)[1] == "GROS-01"
