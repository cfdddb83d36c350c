"""``sourcing terms show``: a receipt on the screen and as JSON, and what is refused."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from web.cli import main


def run(folder: Path, *words: str) -> tuple[int, str, str]:
    found = CliRunner().invoke(main, ["terms", "show", "--data", str(folder), *words])
    return found.exit_code, found.stdout, found.stderr


def test_a_receipt_adds_up_and_says_how(tmp_path: Path) -> None:
    code, out, _ = run(tmp_path, "--category", "shoes", "--price", "59.99", "--shelf", "3 for 60", "--discount",
                       "30% then 5.00", "--flag", "no_box", "--json")  # fmt: skip
    answer = json.loads(out)
    assert code == 0
    *lines, left = answer["receipt"]
    assert sum(Decimal(line["amount"]) for line in lines) == Decimal(left["amount"])
    by_label = {line["label"]: line for line in lines}
    assert by_label["Fee"]["amount"] == "-8.10"
    assert by_label["Supplies"]["amount"] == "-1.35"  # 0.75 and the flag's 0.60
    assert by_label["Shelf price"]["amount"] == "-20.00"
    assert by_label["Store discount 5.00"]["amount"] == "5.00"
    assert answer["channel"] == "main"


def test_words_on_the_screen(tmp_path: Path) -> None:
    code, out, _ = run(tmp_path, "--price", "20")
    assert code == 0
    assert "13\xa0% of 20 + 0.30 an order; charged on item and shipping" in out
    assert "1.5 min at 18.00 an hour" in out
    assert "rounded half up" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--channel", "bazar"), "sold on channel “bazar”"), (("--flag", "no_bocks"), "There is no flag"),
     (("--price", "-3"), "not an amount"), (("--discount", "all"), "not a discount"),
     (("--shelf", "0 for 3"), "pieces")],
)  # fmt: skip
def test_refused(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    code, out, err = run(tmp_path, *words)
    assert (code, out) == (1, "")
    assert said in err
