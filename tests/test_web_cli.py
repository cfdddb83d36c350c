"""The command line end to end on the sample files."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from web.cli import main

SAMPLES = Path(__file__).parent.parent / "sample_comps"


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = str(tmp_path_factory.mktemp("cli"))
    result = CliRunner().invoke(main, ["--data", folder, "load", str(SAMPLES / "spring_sales.csv"), "--json"])
    assert result.exit_code == 0, result.output
    report = json.loads(result.stdout)[0]
    assert report["read"] == report["new"] + report["known"] + report["rejected"] == 1200
    return folder


def test_a_list_gets_one_answer_a_row_in_order(data: str, tmp_path: Path) -> None:
    out = tmp_path / "answers.csv"
    asked = SAMPLES / "shelf_list.csv"
    result = CliRunner().invoke(main, ["--data", data, "check", "--list", str(asked), "--out", str(out)])
    assert result.exit_code == 4
    with out.open(newline="") as file, asked.open(newline="") as source:
        answers, rows = list(csv.DictReader(file)), list(csv.DictReader(source))
    assert [row["code"] for row in answers] == [row["code"] for row in rows]
    assert {row["decision"] for row in answers} >= {"buy", "pass", "too little to go on"}
    assert "12,5o" in next(row["problem"] for row in answers if row["shelf_price"] == "12,5o")
    for row in answers:
        assert bool(row["decision"]) != bool(row["problem"])


def test_one_check_as_json(data: str) -> None:
    with (SAMPLES / "shelf_list.csv").open(newline="") as file:
        code = next(csv.DictReader(file))["code"]
    result = CliRunner().invoke(main, ["--data", data, "check", code, "--price", "9.99", "--json"])
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["shelf_price"] == "9.99"


@pytest.mark.parametrize("price", ["12,5o", "-3", "1e308", "nan"])
def test_a_bad_price_says_what_is_accepted(data: str, price: str) -> None:
    result = CliRunner().invoke(main, ["--data", data, "check", "AB1", f"--price={price}"])
    assert result.exit_code == 1
    assert price in result.stderr
    assert "12.50" in result.stderr


def test_a_broken_file_stores_nothing_and_the_good_rows_can_be_kept(tmp_path: Path) -> None:
    broken = str(SAMPLES / "broken_on_purpose.csv")
    result = CliRunner().invoke(main, ["--data", str(tmp_path), "load", broken])
    assert result.exit_code == 3
    assert "12,5o" in result.stderr
    kept = CliRunner().invoke(main, ["--data", str(tmp_path), "load", broken, "--keep-good"])
    assert kept.exit_code == 0
    assert CliRunner().invoke(main, ["--data", str(tmp_path), "undo"]).exit_code == 0
    assert CliRunner().invoke(main, ["--data", str(tmp_path), "undo"]).exit_code == 1


def test_settings_travel_by_file(tmp_path: Path) -> None:
    run, file = CliRunner(), str(tmp_path / "rules.toml")
    assert run.invoke(main, ["--data", str(tmp_path), "settings", "export", file]).exit_code == 0
    assert run.invoke(main, ["--data", str(tmp_path), "settings", "import", file]).exit_code == 0
    assert run.invoke(main, ["--data", str(tmp_path), "settings", "undo"]).exit_code == 0
    (tmp_path / "rules.toml").write_text("[default]\nfee_rat = 1\n", encoding="utf-8")
    refused = run.invoke(main, ["--data", str(tmp_path), "settings", "import", file])
    assert refused.exit_code == 1
    assert "fee_rate" in refused.stderr
