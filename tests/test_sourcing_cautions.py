"""Cautions: each has its words and whom to ask, shows where it matters, and goes and comes back as asked."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date

import pytest

from sourcing.cautions import CAUTIONS, MOMENTS, VERDICT, bring_back, dismiss, due, every
from sourcing.errors import NotFound
from sourcing.storage import Store


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Store:
    return new_store()


def names(store: Store, moment: str, *texts: str) -> list[str]:
    return [one.name for one in due(store, moment, texts)]


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda one: one.name)
def test_each_is_short_names_whom_to_ask_and_states_no_threshold(caution: object) -> None:
    assert isinstance(caution, type(CAUTIONS[0]))
    assert caution.topic
    assert 20 < len(caution.words) <= 400
    assert caution.ask.endswith(".")
    assert set(caution.moments) <= set(MOMENTS)
    assert caution.checked_on <= date.today()
    assert not re.search(r"\d", caution.words)  # thresholds differ by place and change
    assert not re.search(r"[$€£%]", caution.words + caution.ask)


def test_names_are_told_apart() -> None:
    assert len({one.name for one in CAUTIONS}) == len(CAUTIONS)


def test_solvents_are_said_to_burn(store: Store) -> None:
    (ink,) = (one for one in CAUTIONS if one.name == "ink")
    for word in ("flammable", "label", "open windows", "flames"):
        assert word in ink.words


def test_what_is_said_of_the_item_decides_which_matter(store: Store) -> None:
    plain = ["recalls", "counterfeits"]
    assert names(store, VERDICT, "shoes", "Ridge trail shoe") == plain
    assert names(store, VERDICT, "Toys", "") == ["children", "batteries", *plain]
    assert names(store, VERDICT, "shoes", "", "price_ink") == ["ink", *plain]
    assert names(store, VERDICT, "", "Cordless drill") == ["batteries", *plain]
    assert names(store, VERDICT, "shoes", "Inkwell toyshop print") == plain  # whole words alone


def test_dismissed_is_gone_where_it_matters_alone_and_comes_back(store: Store) -> None:
    assert dismiss(store, "recalls").topic == "Recalls"
    dismiss(store, "recalls")
    assert names(store, VERDICT, "shoes") == ["counterfeits"]
    assert [one.caution for one in every(store)] == list(CAUTIONS)
    assert [one.caution.name for one in every(store) if one.dismissed_at] == ["recalls"]
    bring_back(store, "recalls")
    bring_back(store, "recalls")
    assert names(store, VERDICT, "shoes") == ["recalls", "counterfeits"]


def test_every_moment_has_one(store: Store) -> None:
    assert all(names(store, moment) for moment in MOMENTS)


@pytest.mark.parametrize("change", [dismiss, bring_back])
def test_an_unknown_name_is_refused(store: Store, change: Callable[[Store, str], object]) -> None:
    with pytest.raises(NotFound, match="no caution"):
        change(store, "dragons")
