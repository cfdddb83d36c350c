"""The take-along pack as the server keeps and sends it."""

from __future__ import annotations

import gzip
import json
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from sourcing.errors import BadInput
from sourcing.pack import kept
from sourcing.pack.columns import planes, zigzag
from sourcing.pack.file import START, sums
from sourcing.settings import load_settings, save_settings, undo_settings
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
    for bad in (good.data[:-9], b"", b"nothing of the kind", gzip.compress(bytes(raw)), gzip.compress(bytes(raw)[:20])):
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
