"""Everything written and read back: an identical logical dump, photos byte for byte, and what is refused."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_sourcing_books import START, Shop, buy
from test_sourcing_photo_kept import jpeg, picture

from sourcing.errors import BadInput, Refused
from sourcing.export.cell import Value, read, written
from sourcing.export.whole import TABLES, read_everything, write_everything
from sourcing.photo import kept
from sourcing.settings import default_settings, save_settings
from sourcing.storage import Store
from sourcing.storage.schema import metadata

VALUES = st.one_of(
    st.none(), st.integers(-(1 << 63), (1 << 63) - 1), st.floats(allow_nan=False), st.binary(max_size=40),
    st.text(st.characters(codec="utf-8"), max_size=40),
)  # fmt: skip


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Iterator[Store]:
    store = new_store()
    yield store
    store.close()


def dump(store: Store) -> dict[str, list[str]]:
    tables = [row[0] for row in store.read("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return {name: sorted(map(repr, store.read(f"SELECT * FROM {name}"))) for name in tables if name != "access"}


@given(value=VALUES, kind=st.sampled_from(["text", "whole", "real", "bytes"]))
def test_any_value_comes_back_as_it_was(value: Value, kind: str) -> None:
    target = io.StringIO(newline="")
    csv.writer(target).writerow([written(value, kind), "next"])
    ((cell, _),) = csv.reader(io.StringIO(target.getvalue(), newline=""), strict=True)
    back = read(cell, kind)
    assert (back, type(back)) == (value, type(value))
    assert not written(value, kind).startswith(("=", "+", "@", "\t", "\r")), "a spreadsheet would reckon it"


def test_every_table_has_its_line() -> None:
    assert set(TABLES) >= set(metadata.tables) - {"access"}


def test_a_whole_store_comes_back_the_same(
    sampled: Callable[[Path], Store], new_store: Callable[[], Store], tmp_path: Path
) -> None:
    store = sampled(tmp_path / "comps.db")
    shop = Shop(store, 7)
    shop.run(60)
    piece = shop.held()[0]
    store.read("UPDATE stock_item SET what = '=1+1', note = '' || char(10) || 'x', bin = '\\N' WHERE id = ?", (piece,))
    kept.add(store, tmp_path, "item", piece, jpeg(picture()), "front")
    save_settings(store, default_settings(), "a test")
    counts = write_everything(store, tmp_path, tmp_path / "all.zip")
    assert counts["comp"] > 100
    assert counts["stock_item"] == len(store.read("SELECT 1 FROM stock_item"))
    other = new_store()
    assert read_everything(other, tmp_path / "again", tmp_path / "all.zip") == counts
    assert dump(other) == dump(store)
    (photo,) = kept.photos(other, "item", piece)
    for side in (kept.LARGE, kept.SMALL):
        assert photo.file(tmp_path / "again", side).read_bytes() == photo.file(tmp_path, side).read_bytes()
    # Numbers are given on from where they were, none twice.
    assert buy(other, START + timedelta(900), "1.00")[0] > max(
        row[0] for row in store.read("SELECT id FROM stock_item")
    )
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        schema = json.loads(archive.read("schema.json"))["tables"]
        assert "access" not in schema
        assert schema["stock_sale"]["primary_key"] == ["id"]
        assert all(one["holds"] for one in schema.values())
        head = archive.read("tables/stock_item.csv").decode().splitlines()[0].split(",")
        assert head == [one["name"] for one in schema["stock_item"]["columns"]]
    store.close()
    other.close()


def test_what_is_refused(store: Store, new_store: Callable[[], Store], tmp_path: Path) -> None:
    buy(store, date(2027, 1, 1), "10.00")
    target = tmp_path / "all.zip"
    write_everything(store, tmp_path, target)
    with pytest.raises(Refused, match="not empty"):
        read_everything(store, tmp_path, target)
    other = new_store()
    for name, data in (("text.zip", b"no zip"), ("cut.zip", target.read_bytes()[:-200])):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(BadInput, match="no export"):
            read_everything(other, tmp_path, tmp_path / name)
    for changed, error in (
        ("schema.json", Refused),
        ("tables/stock_item.csv", BadInput),
        ("photos/../../x.jpg", BadInput),
    ):
        with zipfile.ZipFile(target) as old, zipfile.ZipFile(tmp_path / "changed.zip", "w") as new:
            for name in old.namelist():
                data = old.read(name)
                if name == changed:
                    data = (
                        data.replace(b'"schema_version": "', b'"schema_version": "9')
                        if "json" in name
                        else data + b"x,y\r\n"
                    )
                new.writestr(name, data)
            if changed.startswith("photos"):
                new.writestr(changed, b"x")
        with pytest.raises(error):
            read_everything(other, tmp_path / "to", tmp_path / "changed.zip")
        assert not other.read("SELECT * FROM stock_item"), "nothing of a broken one is kept"
    other.close()


def test_a_place_that_cannot_be_written(store: Store, tmp_path: Path) -> None:
    with pytest.raises(Refused, match="cannot be written"):
        write_everything(store, tmp_path, tmp_path / "none" / "all.zip")
