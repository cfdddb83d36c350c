"""Several channels: each item is judged on the one that is best for it, and the verdict says by how much."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from sourcing.answer import Query, Verdict
from sourcing.best_channel import words
from sourcing.check import check, check_list, forget
from sourcing.comps.lookup import known_codes
from sourcing.settings import Settings, from_toml
from sourcing.storage import Store

D = Decimal
# Low share and a high fixed part, or the other way: cheap items belong on the second, dear ones on the first.
CHANNELS = "[channel.dear]\nfee_rate = 0.05\nfee_fixed = 6\n[channel.cheap]\nfee_rate = 0.20\nfee_fixed = 0\n"


@pytest.fixture(scope="module")
def store(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    kept = sampled(tmp_path_factory.mktemp("channels") / "data.sqlite3")
    yield kept
    forget()
    kept.close()


def sold_on(channel: str, objective: str = "most profit") -> Settings:
    return from_toml(f'{CHANNELS}[default]\nchannel = "{channel}"\nobjective = "{objective}"\n[category]')


@pytest.fixture(scope="module")
def queries(store: Store) -> list[Query]:
    return [Query(code=code, shelf_price=D("9.99")) for code in known_codes(store)[:60]]


@pytest.mark.parametrize("objective", ["most profit", "most profit a day", "dearest in time"])
def test_each_item_is_judged_as_on_its_best_channel_alone(store: Store, queries: list[Query], objective: str) -> None:
    alone = {name: check_list(store, queries, sold_on(name, objective)) for name in ("dear", "cheap")}
    both = check_list(store, queries, sold_on("cheap, dear", objective))
    seen = set()
    for at, verdict in enumerate(both):
        if verdict.expected_proceeds is None:
            assert verdict.channel == ""
            continue
        seen.add(verdict.channel)
        own, other = alone[verdict.channel][at], alone["cheap" if verdict.channel == "dear" else "dear"][at]
        assert bare(verdict) == bare(own)
        assert own.expected_proceeds is not None
        assert other.expected_proceeds is not None
        if objective == "dearest in time":
            assert own.asking_price == other.asking_price  # price and pace are alike, so the ask is too
            assert own.expected_proceeds >= other.expected_proceeds
        gap = own.expected_proceeds - other.expected_proceeds
        assert f"{abs(gap):.2f}" in verdict.channel_words
        assert "alike on each" in verdict.channel_words
    assert seen == {"dear", "cheap"}


def bare(verdict: Verdict) -> Verdict:
    return replace(verdict, channel="", channel_words="")


def test_one_channel_needs_no_words(store: Store, queries: list[Query]) -> None:
    verdict = check(store, queries[0], sold_on("dear"))
    assert (verdict.channel, verdict.channel_words) == ("dear", "")
    assert verdict.receipt[1].label == "Fee"


def test_words() -> None:
    said = words(["a", "b", "c"], [D("10.00"), D("12.50"), D("13.00")], 1, lambda amount: f"{amount:.2f}")
    assert said.startswith("Best sold on b: 2.50 more expected than on a, 0.50 less expected than on c.")
