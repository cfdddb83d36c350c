"""The commands of stock, end to end: each prints what it did, as text and as JSON, and refuses in plain words."""

from __future__ import annotations

import json
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import web_examples
from click.testing import CliRunner, Result

from sourcing import haul, history
from sourcing.storage import open_store
from web.cli import main


@pytest.fixture
def data(empty: Path, tmp_path: Path) -> str:
    """A folder with a haul of three pieces and one of a single piece, neither in stock."""
    shutil.copy(empty, tmp_path / "sourcing.sqlite3")
    store = open_store(str(tmp_path / "sourcing.sqlite3"))
    for name, count in (("Tannery Row", 3), ("", 1)):
        haul.start(store, name)
        haul.take(store, history.record(store, web_examples.verdict()), count)
    store.close()
    return str(tmp_path)


def run(data: str, *words: object) -> Result:
    return CliRunner().invoke(main, ["--data", data, "stock", *map(str, words)])


def told(data: str, *words: object) -> Any:
    result = run(data, *words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_from_the_haul_to_a_return_and_back(data: str) -> None:
    assert told(data, "bring", 1)["pieces"] == [1, 2, 3]
    assert run(data, "bring", "--store", "Mill Lane").stdout == "1 piece brought in from Mill Lane. Action 2.\n"
    assert told(data, "list", "--store", "mill lane")["pieces"][0]["id"] == 4
    out = Path(data) / "labels.pdf"
    labels = [one["label"] for one in told(data, "labels", "#1", "#2", "--out", out, "--start", 24)["pieces"]]
    assert len(pypdfium2.PdfDocument(out)) == 2
    assert told(data, "move", *labels, "--bin", "B4")["pieces"] == [1, 2]
    assert told(data, "move", "#3", "--to", "ready")["words"] == "1 piece ready"
    assert told(data, "move", *labels, "--asking", "plan")["kind"] == "listed"
    assert told(data, "move", labels[0], "--asking", "60")["kind"] == "cut"
    assert told(data, "move", *labels, "--off", "10")["words"] == "2 pieces cut by 10 %"
    piece = told(data, "show", labels[0])
    assert (piece["asking_price"], piece["state"], piece["bin"]) == ("54.00", "listed", "B4")
    assert [one["kind"] for one in piece["story"]] == ["cut", "cut", "listed", "bin", "labelled", "brought in"]
    assert piece["forecast"]["asking_price"] == "64.00"
    assert told(data, "sell", labels[0], "--paid", "52,50", "--postage", "8.10")["kind"] == "sold"
    assert told(data, "return", labels[0], "--refunded", "52.50", "--cost", "4")["kind"] == "returned"
    assert told(data, "give-up", "#4", "--got", "2")["pieces"] == [4]
    held = {one["state"]: one["pieces"] for one in told(data, "list")["held"]}
    assert held == {"ready": 1, "listed": 1, "returned": 1, "given up": 1}
    assert run(data, "undo").stdout.startswith("Undone: 1 piece given up. Action ")
    assert told(data, "move", labels[1], "--to", "down")["words"] == "1 piece taken down"
    assert "  (undone)" not in run(data, "show", "#3").stdout
    assert run(data, "list", "--state", "returned").stdout.startswith(
        f"#1  {labels[0]}  returned  26.74  B4  Tannery Row"
    )


def test_pages_of_a_list(data: str) -> None:
    run(data, "bring", 1)
    assert [one["id"] for one in told(data, "list", "trail", "--after", 3)["pieces"]] == [2, 1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("bring", 9), "There is no haul number 9."),
        (("list", "--state", "gone"), "There is no state “gone”. to prep, ready"),
        (("list", "--store", "Tanery Row"), "Did you mean “Tannery Row”?"),
        (("show", "#9"), "There is no piece number 9."),
        (("show", "FWR1042"), "“FWR1042” is not one piece alone: #3"),
        (("sell", "042", "--paid", "45"), "Did you mean #3 (to prep), #2 (to prep), #1 (to prep)?"),
        (
            ("sell", "3", "--paid", "45"),
            "Did you mean #3 (to prep)? A label, a piece's number with its hash, such as #12",
        ),
        (("give-up", "trail"), "is no label or whole code of a piece"),
        (("move", "26480001X", "--bin", "B4"), "check character does not fit"),
        (("move", "#1", "--asking", "dear"), "“dear” is not an amount."),
        (("move", "#1", "--asking", "nan"), "“nan” is not an amount."),
        (("move", "#1", "--to", "moon"), "not moved to “moon”"),
        (("move", "#1", "--to", "down"), "is to prep and cannot be taken down"),
        (("sell", "#1", "--paid", "5", "--on", "2020-01-01"), "it was bought on"),
        (("sell", "#1", "--paid", "5", "--on", "2020-31-01"), "is not a day"),
        (("sell", "#1", "--paid", "5", "--on", (date.today() + timedelta(1)).isoformat()), "is still to come"),
        (("return", "#1", "--refunded", "5"), "cannot come back"),
        (("undo", 99), "There is no action number 99."),
        (("labels", "#1", "--out", "{data}/l.pdf", "--start", 25), "The page has no place 25."),
    ],
)
def test_what_is_refused_and_why(data: str, words: tuple[object, ...], said: str) -> None:
    run(data, "bring", 1)
    before = told(data, "list")
    result = run(data, *(str(word).format(data=data) for word in words))
    assert (result.exit_code, said in result.stderr) == (1, True), result.output
    assert told(data, "list") == before


def test_wrong_usage(data: str) -> None:
    run(data, "bring", 1)
    for words in (("move", "#1"), ("move", "#1", "--to", "ready", "--bin", "B"), ("sell", "#1")):
        assert run(data, *words).exit_code == 2
    assert run(data, "bring").exit_code == 0
    assert "No haul waits" in run(data, "bring").stderr
    for _ in range(2):
        assert run(data, "undo").exit_code == 0
    assert "Nothing is left to undo" in run(data, "undo").stderr


def test_a_label_that_would_steer_a_terminal_does_not(data: str) -> None:
    store = open_store(f"{data}/sourcing.sqlite3")
    answer = web_examples.verdict(item=web_examples.item(label="\x1b[31mred"))
    haul.take(store, history.record(store, answer))
    store.close()
    run(data, "bring")
    assert "\x1b" not in run(data, "list").stdout + run(data, "show", "#1").stdout
