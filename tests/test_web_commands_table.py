"""The commands of the comps table, end to end: each prints what it did, as text and as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from web.cli import main

FILE = """style_code,brand,category,title,sold_price,status,ended_on
KT-1042,Kestrel,shoes,Trail runner grey,60,sold,2026-03-01
KT-1042,Kestrel,shoes,Trail runner grey,64,sold,2026-04-01
KT-1042B,kestrel,shoes,Trail runner gray,66,sold,2026-05-01
,,kitchen,\x1b[31mWalnut pepper mill,18,sold,2026-06-01
"""


@pytest.fixture
def data(tmp_path: Path) -> str:
    file = tmp_path / "invented.csv"
    file.write_text(FILE, encoding="utf-8")
    assert run(str(tmp_path), "load", file).exit_code == 0
    return str(tmp_path)


def run(data: str, *words: object) -> Result:
    return CliRunner().invoke(main, ["--data", data, *map(str, words)])


def told(data: str, *words: object) -> Any:
    result = run(data, "comps", *words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def rows(data: str, *words: object) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = told(data, "search", *words)["rows"]
    return found


def test_search(data: str) -> None:
    assert len(rows(data)) == 4
    assert [row["title"] for row in rows(data, "peper", "wallnut")] == ["[31mWalnut pepper mill"]
    assert len(rows(data, "kt 1042")) == 2
    assert len(rows(data, "--category", "shoes", "--sort", "cheapest")) == 3
    plain = run(data, "comps", "search", "kt1042", "--sort", "cheapest")
    assert plain.stdout.splitlines()[0].endswith("sold  60.00  2026-03-01  KT1042  Trail runner grey")
    assert "\x1b" not in run(data, "comps", "search").stdout
    assert run(data, "comps", "search", "--sort", "up").exit_code == 1


def test_show_says_where_a_row_came_from(data: str) -> None:
    row = rows(data, "kt1042", "--sort", "cheapest")[0]
    shown = told(data, "show", row["id"])
    assert (shown["sold_price"], shown["sources"][0]["file_name"], shown["sources"][0]["row"]) == (
        "60.00",
        "invented.csv",
        2,
    )
    assert "invented.csv, row 2" in run(data, "comps", "show", row["id"]).stdout
    assert run(data, "comps", "show", "9-9").exit_code == 1
    assert run(data, "comps", "show", "nine").exit_code == 1


def test_each_change_and_its_undo(data: str) -> None:
    before = sorted((row["sold_price"], row["item_code"], row["brand"], row["out"]) for row in rows(data))
    first, second = (row["id"] for row in rows(data, "kt1042", "--sort", "cheapest"))
    told(data, "edit", first, "sold_price=61.5", "size=9")
    told(data, "aside", first, second, "--reason", "damaged")
    assert len(rows(data, "--counts", "set aside by you")) == 2
    told(data, "back", second)
    told(data, "merge", "KT-1042B", "KT-1042")
    assert len(rows(data, "kt1042")) == 3
    told(data, "move", second, "--to", "KT-2000")
    told(data, "rename", "brand", "kestrel", "--to", "Kestrel & Tarn")
    made = told(data, "changes")
    assert [one["kind"] for one in made] == ["rename", "split", "merge", "back", "aside", "row"]
    refused = run(data, "comps", "undo-change", 2)
    assert refused.exit_code == 1
    assert "Undo change 3 first" in refused.stderr
    for one in made:
        assert "Undone" in told(data, "undo-change", one["id"])["words"]
    assert sorted((row["sold_price"], row["item_code"], row["brand"], row["out"]) for row in rows(data)) == before
    assert "undone" in run(data, "comps", "changes").stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["edit", "ROW", "sold_price=12,5o"], "12,5o"),
        (["edit", "ROW", "colour=red"], "colour"),
        (["edit", "ROW", "size"], "size=9"),
        (["aside", "ROW", "--reason", ""], "empty"),
        (["merge", "KT-1042", "NOSUCH1"], "NOSUCH1"),
        (["rename", "brand", "Nobody", "--to", "x"], "No row has that brand"),
        (["undo-change", "7"], "no change number 7"),
    ],
)
def test_what_cannot_be_says_why(data: str, words: list[str], says: str) -> None:
    row = rows(data, "kt1042")[0]["id"]
    result = run(data, "comps", *(row if word == "ROW" else word for word in words))
    assert result.exit_code == 1
    assert says in result.stderr
    assert told(data, "changes") == []
