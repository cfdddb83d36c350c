"""The sample files are what their README and their generator say."""

from __future__ import annotations

import csv
import re
import runpy
import shutil
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from PIL import Image

from sourcing.codes import parse_code
from sourcing.comps import load_file
from sourcing.comps.columns import COLUMNS
from sourcing.photo import read_photo
from sourcing.samples import SAMPLES, is_empty, load_samples, sample_file
from sourcing.storage import open_store

HERE = Path(__file__).parent.parent / "sample_comps"
README = (HERE / "README.md").read_text(encoding="utf-8")
COMPS = ("spring_sales.csv", "summer_and_autumn.csv", "housewares.xlsx")


def cells(name: str) -> list[list[str]]:
    if name.endswith(".xlsx"):
        rows = openpyxl.load_workbook(HERE / name).active.values
        return [["" if value is None else str(value) for value in row] for row in rows]
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        return list(csv.reader(file))


def comps(name: str) -> list[dict[str, str]]:
    header, *rows = cells(name)
    return [dict(zip(header, row, strict=True)) for row in rows]


def test_the_generator_writes_the_same_bytes_again(tmp_path: Path) -> None:
    shutil.copy(HERE / "generate.py", tmp_path)
    runpy.run_path(str(tmp_path / "generate.py"), run_name="__main__")
    made = {path.relative_to(tmp_path) for path in tmp_path.rglob("*.*")}
    assert made == {path.relative_to(HERE) for path in HERE.rglob("*.*") if path.suffix not in (".md", ".pyc")}
    for path in made:
        if path.suffix in (".jpg", ".png"):  # the packing of a picture is the library's affair, its look is ours
            new, old = (np.asarray(Image.open(root / path).convert("L"), float) for root in (tmp_path, HERE))
            assert new.shape == old.shape
            assert np.abs(new - old).mean() < 2
        else:
            assert (tmp_path / path).read_bytes() == (HERE / path).read_bytes(), path


def test_the_readme_names_the_rows_and_the_columns() -> None:
    rows = dict(re.findall(r"^\| `([\w.]+)` \| (\d+) \|", README, re.M))
    assert set(rows) == {path.name for path in HERE.iterdir() if path.suffix in (".csv", ".xlsx")}
    for name, count in rows.items():
        assert len(cells(name)) - 1 == int(count), name
    below = README[README.index("Columns of the comps") : README.index("Columns of the list")]
    named = re.findall(r"^\| `(\w+)` \|", below, re.M)
    # The source of the samples gives its listings no numbers, and names no currency.
    assert named == [column.name for column in COLUMNS if column.name not in ("listing", "currency")]
    assert all(cells(name)[0] == named for name in (*COMPS, "broken_on_purpose.csv"))
    listed = re.findall(r"`(\w+)`", README[README.index("Columns of the list") : README.index("Pictures to scan")])
    assert listed == cells("shelf_list.csv")[0]
    assert {path.name for path in (HERE / "barcodes").iterdir()} == set(re.findall(r"`(\w+\.(?:jpg|png))`", README))


def test_the_readme_counts_what_is_there() -> None:
    first, second, third = (comps(name) for name in COMPS)
    assert first[-100:] == second[:100]
    every = first + second[100:] + third
    counts = {status: sum(row["status"] == status for row in every) for status in ("sold", "ended unsold", "open")}
    words = " ".join(README.split())
    assert f"{len(every)} different comps" in words
    assert all(f"{count} {status}" in words for status, count in counts.items())
    codes = [re.sub("[- ]", "", row["style_code"]).upper() for row in every if row["style_code"]]
    assert 30 <= max(codes.count(code) for code in set(codes)) <= 45
    assert len(set(codes)) < 300  # some styles were never listed
    assert sum("Lot of 3" in row["title"] for row in every) > 20
    assert sum("damaged" in row["note"] for row in every) > 20
    assert any(not row["gtin"] and not row["style_code"] for row in every)
    assert all(any(not row[name] for row in every) for name in ("gtin", "asking_price", "listed_on"))


def test_a_lower_asking_price_sells_sooner() -> None:
    """Within a style and condition, the half asked lower sells more often per day on the market."""
    groups: dict[tuple[str, str], list[tuple[float, int, bool]]] = {}
    for name in COMPS:
        for row in comps(name):
            if row["listed_on"] and row["asking_price"] and row["style_code"] and "Lot" not in row["title"]:
                ended = np.datetime64((row["ended_on"] or "2026-11-20")[:10])
                days = int((ended - np.datetime64(row["listed_on"][:10])).astype(int))
                paid = float(row["asking_price"]) + float(row["shipping_charged"])
                key = (re.sub("[- ]", "", row["style_code"]).upper(), row["condition"])
                groups.setdefault(key, []).append((paid, days, row["status"] == "sold"))
    sold, time = np.zeros(2), np.zeros(2)
    for rows in groups.values():
        rows.sort()
        half = len(rows) // 2
        for at, part in enumerate((rows[:half], rows[len(rows) - half :])):
            sold[at] += sum(row[2] for row in part)
            time[at] += sum(row[1] for row in part)
    low, high = sold / time
    assert low > 1.3 * high


def test_the_codes_are_demonstration_codes() -> None:
    known = [row["gtin"] for name in COMPS for row in comps(name) if row["gtin"]]
    assert all(code.startswith("952") and len(code) == 13 for code in known)


@pytest.mark.parametrize("name", ["upright.jpg", "turned.jpg", "on_its_side.jpg", "upside_down.png", "dark.jpg",
                                  "a_little_blurred.jpg", "with_store_tag.jpg"])  # fmt: skip
def test_the_pictures_can_be_read(name: str) -> None:
    found = read_photo((HERE / "barcodes" / name).read_bytes())
    assert found.chosen is not None
    known = {parse_code(row["gtin"]).gtin for row in comps("spring_sales.csv") if _good(row["gtin"])}
    assert found.chosen.gtin in known  # so that a scan leads to a verdict
    assert ("in-store tag" in found.note) == (name == "with_store_tag.jpg")


def test_one_picture_is_past_reading() -> None:
    assert read_photo((HERE / "barcodes/unreadable.jpg").read_bytes()).chosen is None


def test_the_samples_load_without_a_rejected_row_and_are_fitted(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "samples.sqlite3"))
    assert is_empty(store)
    with sample_file(SAMPLES[0]) as path:
        assert load_file(store, path, name=SAMPLES[0]).rejected == 0
    assert is_empty(store)  # stopped halfway: the next start goes on
    assert load_samples(store) == 2500 - 1200
    assert not is_empty(store)
    store.close()


def _good(code: str) -> bool:
    from sourcing.errors import BadInput

    try:
        return bool(parse_code(code).gtin)
    except BadInput:
        return False
