"""The command that tunes: what it prints, what it saves, and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sourcing.comps import load_file
from sourcing.fitting import refit
from sourcing.storage import open_store
from sourcing.tuning import past, prepare
from web.cli import FAILED, main

SAMPLES = Path(__file__).parent.parent / "sample_comps"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tune")
    store = open_store(str(folder / "sourcing.sqlite3"))
    load_file(store, SAMPLES / "spring_sales.csv")
    load_file(store, SAMPLES / "summer_and_autumn.csv")
    refit(store)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(past, "_MOST", 1)  # one fit of the past: the words are the same
        prepare(store)
    store.close()
    return folder


def run(data: Path, *words: str) -> Result:
    return CliRunner().invoke(main, ["tune", "--data", str(data), *words])


def test_it_prints_the_frontier_and_what_it_rests_on(data: Path) -> None:
    found = run(data, "--category", "shoes")
    assert found.exit_code == 0, found.stderr
    for word in ("shoes: least_profit", "today", "buys", "drawn", "were left out", "USD"):
        assert word in found.stdout
    assert found.stderr == ""


def test_json_holds_every_point(data: Path) -> None:
    found = json.loads(run(data, "--json", "--objective", "per hour").stdout)
    assert found["objective"] == "per hour"
    assert {"shoes", "toys"} <= {one["category"] for one in found["frontiers"]}
    point = found["frontiers"][0]["points"][0]
    assert point["threshold"] is None
    assert point["profit"]["low"] <= point["profit"]["mid"] <= point["profit"]["high"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--category", "shoos"), FAILED, "Did you mean shoes"),
        (("--rule", "least"), FAILED, "least_profit"),
        (("--objective", "fun"), FAILED, "per hour"),
        (("--accept",), 2, "--category"),
    ],
)
def test_what_cannot_be_is_said(data: Path, words: tuple[str, ...], code: int, said: str) -> None:
    found = run(data, *words)
    assert found.exit_code == code
    assert said in found.stderr
    assert found.stdout == ""


def test_accepting_saves_the_suggestion_or_says_that_there_is_none(data: Path) -> None:
    """Under each objective: saved is what was suggested, and nothing where nothing was."""
    for objective in ("profit", "per hour", "per cash"):
        asked = ("--category", "shoes", "--objective", objective)
        suggestion = json.loads(run(data, *asked, "--json").stdout)["frontiers"][0]["suggestion"]
        found = run(data, *asked, "--accept")
        assert found.exit_code == 0
        shown = CliRunner().invoke(main, ["settings", "show", "--data", str(data)]).stdout
        if suggestion is None:
            assert "there is no suggestion" in found.stderr
            continue
        assert f"least_profit = {suggestion['value']}" in shown
        assert "sourcing settings undo" in found.stderr
        undone = CliRunner().invoke(main, ["settings", "undo", "--data", str(data)])
        assert undone.exit_code == 0


def test_its_days_are_written_as_the_language_writes_them(data: Path) -> None:
    lines = "\n".join(line for line in run(data, "--category", "shoes").stdout.splitlines() if " to " in line)
    assert re.search(
        r"\d{1,2}\N{NO-BREAK SPACE}[A-Z][a-z]{2} \d{4} to \d{1,2}\N{NO-BREAK SPACE}[A-Z][a-z]{2} \d{4}\.", lines
    )
    assert not re.search(r"\d{4}-\d{2}-\d{2}", lines)
