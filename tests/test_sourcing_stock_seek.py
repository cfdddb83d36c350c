"""Finding pieces: a label, a code, words; a boxful; what goes before what, and what is said of what is not found."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

import pytest
import web_examples
from stdnum.iso7064 import mod_37_36

from sourcing import haul, history
from sourcing.errors import BadInput, NotFound
from sourcing.stock import label_pattern, labels, moves, seek
from sourcing.stock.bring import bring
from sourcing.stock.paper import PATTERN
from sourcing.storage import Store

DAY = date(2030, 1, 1)


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Iterator[Store]:
    """Four pieces: two shoes of one style, a jumper, a mill without codes; the first three labelled."""
    store = new_store()
    number = haul.start(store, "Tannery Row")
    for changes, count in (
        ({}, 2),
        ({"label": "Grey jumper", "style_code": "KT1042", "gtin": "", "size": "M"}, 1),
        ({"label": "Pepper mill 100%", "style_code": "", "gtin": "", "size": ""}, 1),
    ):
        answer = web_examples.verdict(item=web_examples.item(**changes))
        haul.take(store, history.record(store, answer), count)
    bring(store, number)
    labels.give(store, [1, 2, 3], PATTERN, DAY)
    yield store
    store.close()


def ids(found: seek.Sought) -> list[int]:
    return [one.id for one in found.items]


@pytest.mark.parametrize(
    ("text", "by", "found"),
    [
        ("3001-0001{check}", "label", [1]),
        (" 3001 - 0001{check} ", "label", [1]),
        ("30010001{check}", "label", [1]),
        ("FWR1042", "code", [2, 1]),
        ("fwr-1042", "code", [2, 1]),
        ("952123456789", "words", [4, 3, 2, 1]),  # what was typed at the rack, no whole barcode
        ("9521234567899", "code", [2, 1]),
        ("mill 100%", "words", [4]),
        ("tannery jumper", "words", [3]),
        ("3001", "words", [3, 2, 1]),
        ("", "", [4, 3, 2, 1]),
        ("nothing of the kind", "words", []),
    ],
)
def test_what_is_typed(store: Store, text: str, by: str, found: list[int]) -> None:
    sought = seek.seek(store, text.format(check=mod_37_36.calc_check_digit("30010001")), PATTERN)
    assert (sought.by, ids(sought)) == (by, found)


def test_a_label_goes_before_a_code_only_where_its_check_character_fits(store: Store) -> None:
    labels.set_label(store, 4, "KT1042")  # the style code of piece 3; its last character is no check character
    assert not label_pattern.fits("KT1042")
    assert (seek.seek(store, "KT1042", PATTERN).by, ids(seek.seek(store, "KT1042", PATTERN))) == ("code", [3])
    code = "KT104" + mod_37_36.calc_check_digit("KT104")
    labels.set_label(store, 4, code)
    with store.write_rows() as raw:
        raw.execute("UPDATE stock_item SET style_code = ? WHERE id = 3", (code,))
    assert (seek.seek(store, code, PATTERN).by, ids(seek.seek(store, code, PATTERN))) == ("label", [4])


def test_a_mistyped_label_is_told_from_words(store: Store) -> None:
    right = mod_37_36.calc_check_digit("30010001")
    wrong = "A" if right != "A" else "B"
    assert "check character does not fit" in seek.seek(store, f"3001-0001{wrong}", PATTERN).note
    assert seek.seek(store, "no such thing", PATTERN).note == ""
    unused = "3001-0099" + mod_37_36.calc_check_digit("30010099")
    assert seek.seek(store, unused, PATTERN).note == ""


def test_pages_follow_each_other(store: Store) -> None:
    first = seek.seek(store, "", PATTERN, limit=3)
    assert (ids(first), first.last) == ([4, 3, 2], 2)
    second = seek.seek(store, "", PATTERN, limit=3, after=first.last)
    assert (ids(second), second.last) == ([1], 0)


def test_one_piece(store: Store) -> None:
    assert seek.piece(store, "#4", PATTERN).id == 4
    assert seek.piece(store, "KT-1042", PATTERN).id == 3
    assert seek.piece(store, f"30010002{mod_37_36.calc_check_digit('30010002')}", PATTERN).id == 2
    with pytest.raises(BadInput, match=r"not one piece alone: #2 \(3001-0002\w\), #1"):
        seek.piece(store, "FWR1042", PATTERN)
    for text in ("#99", "#", "nothing", "#12x"):
        with pytest.raises(NotFound):
            seek.piece(store, text, PATTERN)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("mill", r"#4 \(to prep\)\?"),
        ("1042", r"#3 \(3001-0003\w\), #2 \(3001-0002\w\), #1 \("),  # in their style codes
        ("T1042", r"#3 \(3001-0003\w\)\?"),
        ("0001", r"#1 \(3001-0001\w\)\?"),
        ("4", r"#4 \(to prep\)\?"),  # no hash
        ("Tannery", r"#4 .*, #1 \(3001-0001\w\)\?"),
    ],
)
def test_words_and_bare_numbers_name_no_piece_but_what_they_may_mean(store: Store, text: str, named: str) -> None:
    with pytest.raises(BadInput, match=rf"“{text}” is no label or whole code of a piece. Did you mean {named}"):
        seek.piece(store, text, PATTERN)
    found, wrong = seek.boxful(store, [text, "#2"], PATTERN)
    assert [one.id for one in found] == [2]
    assert len(wrong) == 1
    assert "Did you mean" in wrong[0]


def test_a_bare_number_that_is_a_label_is_that_label(store: Store) -> None:
    labels.set_label(store, 4, "1")
    assert seek.piece(store, "1", PATTERN).id == 4
    assert seek.piece(store, "#1", PATTERN).id == 1


def test_a_mistyped_label_without_its_signs_is_told_too(store: Store) -> None:
    wrong = "A" if mod_37_36.calc_check_digit("30010001") != "A" else "B"
    text = f"30010001{wrong}"
    assert "check character does not fit" in seek.seek(store, text, PATTERN).note
    with pytest.raises(NotFound, match="check character does not fit"):
        seek.piece(store, text, PATTERN)
    found, said = seek.boxful(store, [text], PATTERN)
    assert not found
    assert "check character does not fit" in said[0]


def test_two_that_bear_one_label_but_for_its_signs_are_both_found(store: Store) -> None:
    bare = "30010001" + mod_37_36.calc_check_digit("30010001")
    with store.write_rows() as raw:  # as an earlier version let it be set
        raw.execute("UPDATE stock_item SET label = ? WHERE id = 4", (bare,))
    assert (seek.seek(store, bare, PATTERN).by, ids(seek.seek(store, bare, PATTERN))) == ("label", [4, 1])
    with pytest.raises(BadInput, match="not one piece alone"):
        seek.piece(store, bare, PATTERN)


def test_a_boxful_keeps_its_order_each_once_and_says_what_is_wrong(store: Store) -> None:
    label = "3001-0002" + mod_37_36.calc_check_digit("30010002")
    found, wrong = seek.boxful(store, [label, "", "KT1042", label.lower(), "FWR1042", "no such"], PATTERN)
    assert [one.id for one in found] == [2, 3]
    assert len(wrong) == 2
    with pytest.raises(BadInput, match="301 labels at once"):
        seek.boxful(store, [f"L{at}" for at in range(301)], PATTERN)


def test_a_store_by_its_name(store: Store) -> None:
    assert seek.known_store(store, " tannery  row ") == "Tannery Row"
    assert ids(seek.seek(store, "", PATTERN, bought_at="tannery row")) == [4, 3, 2, 1]
    with pytest.raises(NotFound, match="Did you mean “Tannery Row”"):
        seek.known_store(store, "Tanery Row")
    with pytest.raises(NotFound, match="Known: Tannery Row"):
        seek.known_store(store, "xyz")


def test_examples_are_the_next_labels_and_give_none(store: Store) -> None:
    assert (
        labels.examples(store, "[year][week]-[count 4]", DAY)[0] == "3001-0001"
    )  # check characters are no digits of it
    assert labels.examples(store, "[store 3]-[count 2]", DAY) == ["TAN-01", "TAN-02", "TAN-03"]
    told = labels.examples(store, PATTERN, DAY)
    assert told[0][:9] == "3001-0004"
    assert not [one for one in seek.seek(store, "", PATTERN).items if one.label in told]
    moves.put_in(store, [4], "C2")
    assert labels.examples(store, "[bin][count]", DAY) == ["C21", "1", "2"]
