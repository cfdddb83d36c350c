"""Which flags a text says, and which it denies."""

from __future__ import annotations

import time

import pytest

from sourcing.flags.words import find_flags, without_flags

PHRASES = {
    "no_box": ("no box", "without box", "box missing", "box not included"),
    "scuffed": ("scuffed", "scuffs", "scuff"),
    "untested": ("untested", "not tested"),
}


def said(text: str, phrases: dict[str, tuple[str, ...]] = PHRASES) -> set[str]:
    bits = find_flags([text], phrases).get(0, 0)
    return {name for k, name in enumerate(phrases) if bits >> k & 1}


@pytest.mark.parametrize(
    ("text", "flags"),
    [
        ("Trail shoe, no box", {"no_box"}),
        ("Trail shoe NO-BOX", {"no_box"}),
        ("box not included", {"no_box"}),
        ("Comes w/o box", {"no_box"}),
        ("Box missing", {"no_box"}),
        ("with box", set()),
        ("box included", set()),
        ("no, box is there", set()),
        ("casino boxes", set()),
        ("scuffed", {"scuffed"}),
        ("Heel scuffs.", {"scuffed"}),
        ("unscuffed", set()),
        ("not scuffed", set()),
        ("isn't scuffed", set()),
        ("isn’t scuffed", set()),
        ("no scuffs", set()),
        ("no visible signs of scuffs", set()),
        ("free of scuffs", set()),
        ("no stains or scuffs", set()),
        ("scuff-free sole", set()),
        ("scuffs: none", set()),
        ("ohne scuffs", set()),
        ("scuffed, free postage", {"scuffed"}),
        ("scuffed free postage", {"scuffed"}),
        ("no box, scuffed", {"no_box", "scuffed"}),
        ("no box scuffed", {"no_box", "scuffed"}),
        ("no scuffs no box", {"no_box"}),
        ("no stains, but scuffed", {"scuffed"}),
        ("not tested", {"untested"}),
        ("tested", set()),
        ("", set()),
    ],
)
def test_a_text_says_a_flag_in_whole_words_unless_it_denies_it(text: str, flags: set[str]) -> None:
    assert said(text) == flags


def test_a_longer_phrase_takes_its_words_from_a_shorter_one() -> None:
    phrases = {"no_box": ("no box",), "box": ("box",)}
    assert said("no box", phrases) == {"no_box"}
    assert said("box", phrases) == {"box"}
    assert said("box missing", phrases) == set()
    assert said("box not included", phrases) == set()


def test_each_text_stands_for_itself() -> None:
    texts = ["with box", "no\nbox", "Straße, No Box", "no", "box", "scuffed; no box"]
    assert find_flags(texts, PHRASES) == {2: 1, 5: 3}


@pytest.mark.parametrize(
    ("condition", "plain", "bits"),
    [("new, no box", "new", 1), ("used with scuffs", "used", 2), ("scuffed", "", 2), ("New", "new", 0),
     ("used, no scuffs", "used no scuffs", 0)],
)  # fmt: skip
def test_a_condition_is_told_apart_from_its_flags(condition: str, plain: str, bits: int) -> None:
    assert without_flags(condition, PHRASES) == (plain, bits)


def test_a_flag_without_words_is_said_by_nothing() -> None:
    assert find_flags(["no box"], {"no_box": ()}) == {}
    assert find_flags(["no box"], {"no_box": ("!?",)}) == {}
    assert find_flags([], PHRASES) == {}


def test_looking_through_a_table_costs_little() -> None:
    texts = [f"Lindarra trail shoe {k} moss, size {k % 12}" for k in range(50_000)] + ["no box"]
    start = time.process_time()
    assert find_flags(texts, PHRASES) == {50_000: 1}
    assert time.process_time() - start < 2.0
