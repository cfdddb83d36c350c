"""The take-along pack as the server keeps and sends it."""

from __future__ import annotations

import gzip
import json
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from made_up_pack import made_up
from supposed import at_others

from sourcing.answer import Query
from sourcing.check import check
from sourcing.errors import BadInput
from sourcing.fitting import current_fit
from sourcing.limits import Outlook, decide, limits
from sourcing.pack import kept
from sourcing.pack.columns import Forecast, foretold, foretold_beyond, planes, zigzag
from sourcing.pack.figures import COLUMNS, OTHERS, Ints
from sourcing.pack.file import START, VERSION, as_bytes, sums
from sourcing.pack.reckoned import OTHER, Group, reckon
from sourcing.purchase import Discounts
from sourcing.settings import Settings, default_settings, from_toml, load_settings, save_settings, undo_settings
from sourcing.storage import Store, open_store
from web.app import create_app
from web.cli import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pack")


@pytest.fixture(scope="module")
def store(sampled: Callable[[Path], Store], folder: Path) -> Iterator[Store]:
    store = sampled(folder / "sourcing.sqlite3")
    yield store
    store.close()


def test_numbers_come_back_from_their_planes() -> None:
    values = np.array([0, -1, 1, 300, -70_000, 12_345_678], dtype=np.int64)
    width, data = planes(zigzag(values))
    assert width == 4
    parts = np.frombuffer(data, dtype=np.uint8).reshape(width, -1).astype(np.int64)
    folded = sum(parts[at] << 8 * at for at in range(width))
    assert np.where(folded % 2, -(folded + 1) // 2, folded // 2).tolist() == values.tolist()
    assert planes(np.zeros(3, dtype=np.int64)) == (0, b"")


def test_the_sums_are_those_of_their_definition() -> None:
    words = [7, 2**32 - 1, 123_456_789, 0, 42]
    first = second = 0
    for word in words:
        first = (first + word) % 2**32
        second = (second + first) % 2**32
    assert sums(np.array(words, dtype="<u4").tobytes()) == (first, second)


def read_back(raw: bytes) -> list[dict[str, Ints]]:
    """Read every group's figures by column, (slots, records), as the description of the format has it."""
    header = kept.header_of(raw)
    at, parts = START.size + START.unpack_from(raw)[3], {}
    for name, size, *widths in header["columns"]:
        parts[name] = (raw[at : at + size], widths)
        at += size
    found: list[dict[str, Ints]] = [{} for _ in header["groups"]]
    sizes = [group["known"] or len(group["brands"]) for group in header["groups"]]
    more = sum(size * (group["slots"] - 1) for size, group in zip(sizes, header["groups"], strict=True))
    for one in COLUMNS:
        data, (usual, others) = parts[one.name]
        end = sum(sizes) * usual
        base, rest = _signed(data[:end], usual, sum(sizes)), _signed(data[end:], others, more)
        for group, size, figures in zip(header["groups"], sizes, found, strict=True):
            how = Forecast(group["usual"], group["ratio"], group["beyond"])
            # The first column is foretold by nothing.
            by = {name: few[0] for name, few in figures.items()} or {"ask": np.zeros(size, dtype=np.int64)}
            slots, base = [base[:size] + foretold(one, by, how)], base[size:]
            for slot in range(1, group["slots"]):
                slots.append(rest[:size] + foretold_beyond(one, slots[0], slot, how))
                rest = rest[size:]
            figures[one.name] = np.stack(slots)
        assert not len(base)
        assert not len(rest)
    return found


def _signed(data: bytes, width: int, count: int) -> Ints:
    if not width:
        return np.zeros(count, dtype=np.int64)
    parts = np.frombuffer(data, dtype=np.uint8).reshape(width, -1).astype(np.int64)
    folded: Ints = sum((parts[at] << 8 * at for at in range(width)), np.zeros(parts.shape[1], dtype=np.int64))
    return np.where(folded % 2, -(folded + 1) // 2, folded // 2)


@pytest.mark.parametrize("each", [3, 300])  # too few to be foretold, and enough
def test_every_figure_comes_back_from_the_bytes(each: int) -> None:
    data, groups = made_up(np.random.default_rng(17), 3, each, default_settings())
    for group, found in zip(groups, read_back(data), strict=True):
        shown = group.figures["others"] == 1
        for name, values in group.figures.items():
            here = shown if name in OTHERS else np.ones_like(shown)
            assert np.array_equal(found[name][here], values[here]), (group.category, name)


def test_nothing_is_written_where_no_limit_at_others_price_is_shown() -> None:
    written = []
    for hidden in (0, 12_345):
        _, groups = made_up(np.random.default_rng(18), 2, 300, default_settings())
        for group in groups:
            for name in OTHERS:
                group.figures[name][group.figures["others"] == 0] = hidden
        written.append(as_bytes(groups, [], [], {"about": {}}))
    assert written[0] == written[1]


# Cheap items belong on the one channel, dear ones on the other; a rule less, and one that asks for more.
TWO_CHANNELS = """
[channel.dear]
fee_rate = 0.05
fee_fixed = 6
[channel.cheap]
fee_rate = 0.20
fee_fixed = 0
[default]
channel = "cheap, dear"
objective = "most profit a day"
least_comps = "off"
most_loss_chance = 0.2
[category]
"""


@pytest.mark.parametrize("settings", [default_settings(), from_toml(TWO_CHANNELS)], ids=["default", "two channels"])
def test_the_limit_at_the_price_others_get_is_the_servers(store: Store, settings: Settings) -> None:
    fit = current_fit(store)
    assert fit is not None
    shown = hidden = 0
    groups = reckon(store, settings, fit)
    assert len({int(place) for group in groups for place in group.figures["channel"].flat}) == len(
        settings.for_category("").channels or "1"
    )
    for group, one, query in some_records(groups):
        for discount in (None, Discounts.parse("30% then 2.00")):
            asked = replace(query, discount=discount)
            there = at_others(store, asked, check(store, asked, settings).as_dict(), settings)
            assert one["others"] == (there is not None), asked
            if there is None:
                assert not any(one[name] for name in OTHERS)
                hidden += 1
                continue
            shown += 1
            wanted = there["decision"], there["binding_rule"], there["most_worth_paying"]
            assert decided(group, one, asked) == wanted, asked
    assert shown > 100
    assert hidden > 20


def some_records(groups: list[Group]) -> Iterator[tuple[Group, dict[str, int], Query]]:
    """Go through every fifth record in every condition: its group, its figures, and a query that leads to it."""
    for group in groups:
        if group.known:
            asked = [Query(code=one.style_code) for one in group.known if one.style_code]
        else:
            asked = [Query(category=group.category, brand=brand) for brand in group.brands if group.category != OTHER]
        for slot, condition in enumerate(group.slots):
            for record in range(0, len(asked), 5):
                one = {name: int(values[slot, record]) for name, values in group.figures.items()}
                yield group, one, replace(asked[record], condition=condition, shelf_price=Decimal("7.50"))


def decided(group: Group, one: dict[str, int], query: Query) -> tuple[str, str, str]:
    """Judge a record at the price others get, by what the pack holds of it."""
    terms = (group.deal.channels or (group.deal.terms,))[one["channel"]]
    chance = one["others_by_target"] / 10_000 if group.speed_basis else None
    outlook = Outlook(one["others_net"] / 100, one["others_tied"] / 10, chance, one["others_loss"] / 100, 1.0)
    found = limits(group.deal.rules, terms, outlook, query.shelf_price, query.discount)
    decision, rule, most = decide(found, query.shelf_price)
    return decision, rule, str(most)


def test_it_holds_every_item_and_says_what_it_stands_on(store: Store, folder: Path) -> None:
    pack = kept.bring_up_to_date(store, folder)
    raw = gzip.decompress(pack.data)
    header = kept.header_of(raw)
    assert header["items"] == store.read("SELECT count(*) FROM product WHERE root = id")[0][0]
    codes = next(one for one in header["columns"] if one[0] == "gtin_step")
    assert codes[1] // codes[2] == store.read("SELECT count(*) FROM code")[0][0]
    assert header["about"]["stamp"] == pack.stamp == kept.stamp(store, load_settings(store))
    assert header["about"]["newest_comp"] == "2026-11-20"
    filled = sum(one[1] for one in header["columns"]) + START.size + START.unpack_from(raw)[3]
    assert 0 <= len(raw) - filled < 4
    again = kept.bring_up_to_date(store, folder)
    assert again.data == pack.data
    assert kept.place_of(folder).stat().st_mode & 0o077 == 0


def test_it_follows_the_settings_and_their_undo(store: Store, folder: Path) -> None:
    before = kept.stamp(store, load_settings(store))
    save_settings(store, replace(load_settings(store), locale="de_DE"), "a test")
    moved = kept.bring_up_to_date(store, folder)
    assert moved.stamp == kept.stamp(store, load_settings(store)) != before
    assert moved.said["about"]["locale"] == "de_DE"
    undo_settings(store)
    assert kept.stamp(store, load_settings(store)) == before


def test_a_damaged_one_is_built_anew(store: Store, folder: Path) -> None:
    good = kept.bring_up_to_date(store, folder)
    raw = bytearray(gzip.decompress(good.data))
    raw[-5] ^= 1
    older = bytearray(gzip.decompress(good.data))
    older[8] = VERSION - 1
    for bad in (
        gzip.compress(bytes(older)),
        good.data[:-9],
        b"",
        b"nothing of the kind",
        gzip.compress(bytes(raw)),
        gzip.compress(bytes(raw)[:20]),
    ):
        kept.place_of(folder).write_bytes(bad)
        assert kept.kept(folder) is None
        assert kept.about(folder) is None
        found = kept.bring_up_to_date(store, folder)
        assert found.stamp == good.stamp
        assert kept.kept(folder) is not None


def test_without_a_sale_there_is_nothing_to_take(tmp_path: Path) -> None:
    empty = open_store(str(tmp_path / "sourcing.sqlite3"))
    assert kept.stamp(empty, load_settings(empty)) is None
    with pytest.raises(BadInput, match="no sale is known yet"):
        kept.build(empty)
    empty.close()
    client = create_app(tmp_path / "sourcing.sqlite3").test_client()
    answer = client.get("/aisle/pack")
    assert answer.status_code == 202
    assert answer.get_json()["state"] == "nothing learnt yet"
    assert client.get("/aisle/pack/state").get_json()["stamp"] is None


def test_the_page_sends_it_once_and_says_when_it_still_holds(store: Store, folder: Path) -> None:
    kept.place_of(folder).unlink(missing_ok=True)
    client = create_app(folder / "sourcing.sqlite3").test_client()
    until = time.monotonic() + 120
    while (answer := client.get("/aisle/pack", headers={"Accept-Encoding": "gzip"})).status_code == 202:
        assert answer.get_json()["state"] == "building"
        assert answer.headers["Retry-After"]
        assert time.monotonic() < until
    assert answer.status_code == 200
    assert answer.headers["Content-Encoding"] == "gzip"
    header = kept.header_of(gzip.decompress(answer.data))
    stamp: str = header["about"]["stamp"]
    assert answer.headers["ETag"] == f'"{stamp}"'
    plain = client.get("/aisle/pack")
    assert "Content-Encoding" not in plain.headers
    assert kept.header_of(plain.data) == header
    assert client.get("/aisle/pack", headers={"If-None-Match": f'"{stamp}"'}).status_code == 304
    assert client.get("/aisle/pack", headers={"If-None-Match": '"another"'}).status_code == 200
    state = client.get("/aisle/pack/state").get_json()
    assert (state["stamp"], state["current"], state["bytes"]) == (stamp, True, len(answer.data))


def test_the_command_writes_it_and_says_what_it_holds(store: Store, folder: Path, tmp_path: Path) -> None:
    run = CliRunner()
    out = tmp_path / "along.gz"
    found = run.invoke(main, ["pack", "--data", str(folder), "--out", str(out), "--json"])
    assert found.exit_code == 0, found.output
    holds: dict[str, Any] = json.loads(found.stdout)
    assert holds["bytes"] == out.stat().st_size
    raw = gzip.decompress(out.read_bytes())
    assert sums(raw[START.size :]) == START.unpack_from(raw)[5:]
    assert holds["items"] == store.read("SELECT count(*) FROM product WHERE root = id")[0][0]
    words = run.invoke(main, ["pack", "--data", str(folder)]).stdout
    assert f"{holds['items']:,} items" in words
    assert run.invoke(main, ["pack", "--data", str(folder), "--out", str(tmp_path / "no" / "x")]).exit_code == 1
